"""What an operator's profile states stands in for what the notes leave out."""

import json
from dataclasses import replace
from types import SimpleNamespace

import pytest
from click.testing import CliRunner

from ergo.app import workflow
from ergo.app.workflow import exposure_of_session, load_session, rescore_session
from ergo.cli import ergo
from ergo.errors import LibraryError
from ergo.notes.notes import Notes
from ergo.report.html import report_content
from ergo.report.text.words import words
from ergo.session.session import Settings
from ergo.storage.session_folder import read_session, write_session
from tests.end_to_end.made_sessions import made_session

PROFILE = {"handed": "left", "operator_height_cm": 158.0, "loupes_declination_deg": 38.0}


@pytest.fixture
def typed(tmp_path, monkeypatch):
    """Run a command line on a library of its own; analyses only note their settings."""
    monkeypatch.setenv("ERGO_LIBRARY", str(tmp_path / "library"))
    monkeypatch.delenv("ERGO_DATABASE_URL", raising=False)
    wanted = SimpleNamespace(settings=None)

    def analyse_session(inputs, out, settings, **_):
        wanted.settings = settings
        raise KeyboardInterrupt

    monkeypatch.setattr(workflow, "analyse_session", analyse_session)

    def run(*typed_words):
        done = CliRunner().invoke(ergo, list(map(str, typed_words)), standalone_mode=False)
        if isinstance(done.exception, LibraryError):
            raise done.exception
        return wanted.settings

    return run


def test_an_analysis_takes_hand_and_height_from_the_operators_profile(typed, tmp_path):
    typed("operators", "set", "KF", "--handed", "left", "--stature", "158", "--loupes", "38")
    settings = typed("analyse", tmp_path, "--out", tmp_path / "out", "--operator", "KF")
    assert (settings.operator, settings.profile) == ("KF", PROFILE)


def test_an_unknown_operator_is_refused_before_anything_is_watched(typed, tmp_path):
    with pytest.raises(LibraryError, match="RO"):
        typed("analyse", tmp_path, "--out", tmp_path / "out", "--operator", "RO")


def test_the_profile_fills_only_what_the_notes_leave_open():
    settings = Settings(operator="KF", profile=PROFILE)
    filled = settings.completed(Notes(handed="right"))
    assert (filled.handed, filled.operator_height_cm) == ("right", 158.0)
    assert settings.completed(Notes()).handed == "left"
    assert (filled.pseudonym, settings.completed(Notes(pseudonym="RO")).pseudonym) == ("KF", "RO")
    assert Settings().completed(Notes()) == Notes()


def test_a_session_judged_again_still_knows_the_profile_and_its_report_says_so(tmp_path):
    folder = made_session(tmp_path / "made", seed=1)
    session = load_session(folder)
    settings = replace(session.recording.settings, operator="KF", profile=PROFILE)
    write_session(replace(session, recording=replace(session.recording, settings=settings)), folder)
    rescore_session(folder)
    (notes,) = read_session(folder).notes
    assert (notes.handed, notes.operator_height_cm) == ("right", 158.0)  # the notes come first
    assert json.loads((folder / "session.json").read_text())["settings"]["operator"] == "KF"
    again = load_session(folder)
    content = report_content(again, exposure_of_session(again), (), words("en"))
    assert content["profile_note"] == (
        "Taken from the profile of KF where the notes do not state it: 158 cm tall, "
        "loupes that look down by 38°."
    )
