"""The library as a user types it."""

import json
import shutil
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from ergo.cli import ergo
from ergo.cli.library import profile_of
from ergo.errors import LibraryError, OutputError
from ergo.notes.notes import Notes
from ergo.session.session import Settings

FIRST = Path(__file__).parents[1] / "storage" / "first_library"
SESSION = next((FIRST / "sessions").iterdir())


@pytest.fixture
def typed(tmp_path, monkeypatch):
    """Run a command line on a library of its own; give what it printed."""
    monkeypatch.setenv("ERGO_LIBRARY", str(tmp_path / "library"))
    monkeypatch.delenv("ERGO_DATABASE_URL", raising=False)

    def run(*words, answer=None):
        done = CliRunner().invoke(ergo, list(map(str, words)), input=answer, standalone_mode=False)
        if done.exception is not None:
            raise done.exception
        return done.stdout

    return run


def test_what_is_added_is_listed_and_shown(typed):
    typed("sessions", "add", SESSION, "--name", "before", "--tag", "room 1", "--operator", "KF",
          "--recorded", "2026-03-04")  # fmt: skip
    assert typed("sessions", "list") == "2026-03-04  before  KF  [room 1]\n"
    shown = json.loads(typed("sessions", "show", "before", "--json"))["session"]
    assert (shown["recorded_on"], shown["tags"]) == ("2026-03-04", ["room 1"])
    assert (Path(shown["folder"]) / "session.json").is_file()


def test_a_list_is_narrowed_by_tag(typed):
    typed("sessions", "add", SESSION, "--name", "a", "--tag", "x")
    typed("sessions", "add", SESSION, "--name", "b")
    typed("sessions", "tag", "b", "y", "z", "--remove", "z")
    found = json.loads(typed("sessions", "list", "--tag", "y", "--json"))["sessions"]
    assert [(each["name"], each["tags"]) for each in found] == [("b", ["y"])]


def test_a_session_is_renamed_described_exported_deleted_and_imported(typed, tmp_path):
    typed("sessions", "add", SESSION, "--name", "a")
    typed("sessions", "rename", "a", "b")
    typed("sessions", "describe", "b", "--recorded", "2026-02-01", "--operator", "RO")
    typed("sessions", "export", "b", "--out", tmp_path / "b.zip")
    typed("sessions", "delete", "b", "--yes")
    assert json.loads(typed("sessions", "list", "--json"))["sessions"] == []
    typed("sessions", "import", tmp_path / "b.zip", "--name", "c")
    assert typed("sessions", "list") == "2026-02-01  c  RO\n"


def test_deleting_asks_first(typed):
    typed("sessions", "add", SESSION, "--name", "a")
    with pytest.raises(click.Abort):
        typed("sessions", "delete", "a", answer="n\n")
    assert "a" in typed("sessions", "list")


def test_an_export_replaces_a_file_only_when_asked(typed, tmp_path):
    typed("sessions", "add", SESSION, "--name", "a")
    (tmp_path / "a.zip").write_text("mine")
    with pytest.raises(OutputError, match="exists already"):
        typed("sessions", "export", "a", "--out", tmp_path / "a.zip")
    assert (tmp_path / "a.zip").read_text() == "mine"
    typed("sessions", "export", "a", "--out", tmp_path / "a.zip", "--force")


def test_another_library_can_be_named(typed, tmp_path):
    shutil.copytree(FIRST, tmp_path / "other")
    assert "first" in typed("sessions", "list", "--library", tmp_path / "other")
    assert typed("sessions", "list") == ""


def test_a_name_that_is_not_there_is_one_line(typed):
    with pytest.raises(LibraryError, match='"x" is not the name of a session'):
        typed("sessions", "show", "x")


def test_a_profile_is_set_step_by_step(typed):
    typed("operators", "set", "KF", "--handed", "left", "--stature", "164")
    typed("operators", "set", "KF", "--loupes", "38")
    (known,) = json.loads(typed("operators", "list", "--json"))["operators"]
    assert (known["handed"], known["stature_cm"], known["loupes_declination_deg"]) == (
        "left",
        164.0,
        38.0,
    )
    typed("operators", "delete", "KF")
    assert typed("operators", "list") == ""


def test_all_that_a_profile_keeps_stands_in_for_notes(typed, tmp_path):
    typed("operators", "set", "KF", "--handed", "left", "--stature", "164", "--loupes", "38")
    (kept,) = json.loads(typed("operators", "list", "--json"))["operators"]
    stated = profile_of("KF", tmp_path / "library")
    assert len(stated) == len(kept) - 1  # all but the pseudonym
    settings = Settings(operator="KF", profile=stated)
    notes = settings.completed(Notes(operator_height_cm=170))
    assert (notes.handed, notes.operator_height_cm, notes.loupes_declination_deg) == (
        "left",
        170,
        38,
    )
