"""Two sessions side by side and many over time, as a user types it."""

import json
from datetime import date, timedelta

import pytest
from click.testing import CliRunner

from ergo.cli import ergo
from ergo.errors import InputError, LibraryError, OutputError
from tests.end_to_end.made_sessions import made_session

NECK = {"neck_flexion_deg", "head_inclination_deg"}
"""What a bent neck moves: the head's inclination follows from it; scores count it."""


@pytest.fixture(scope="session")
def made(tmp_path_factory):
    """Sessions as they were (two of them) and one with the neck bent 20 degrees further."""
    folder = tmp_path_factory.mktemp("made")
    changes = {"before": {}, "again": {}, "worse": {"neck_flexion": 20.0}}
    return {
        name: made_session(folder / name, seed, change)
        for seed, (name, change) in enumerate(changes.items(), start=1)
    }


@pytest.fixture
def typed(tmp_path, monkeypatch):
    monkeypatch.setenv("ERGO_LIBRARY", str(tmp_path / "library"))
    monkeypatch.delenv("ERGO_DATABASE_URL", raising=False)

    def run(*words):
        done = CliRunner().invoke(ergo, list(map(str, words)), standalone_mode=False)
        if done.exception is not None:
            raise done.exception
        return done.stdout

    return run


def found(printed):
    """Return the names of what differs by verdict; scores apart."""
    said = json.loads(printed)["differences"]
    return {
        verdict: {each["name"] for each in said if each["verdict"] == verdict}
        for verdict in ("better", "worse")
    }


def test_a_session_made_worse_differs_in_what_was_changed_and_in_nothing_else(typed, made):
    differs = found(typed("compare", made["before"], made["worse"], "--json"))
    assert "neck_flexion_deg" in differs["worse"]
    assert differs["worse"] <= NECK | {"rula", "reba"}
    assert differs["better"] == set()


def test_the_other_way_round_it_is_better(typed, made):
    differs = found(typed("compare", made["worse"], made["before"], "--json"))
    assert "neck_flexion_deg" in differs["better"]
    assert differs["worse"] == set()


def test_two_sessions_of_the_same_work_show_no_evidence(typed, made):
    assert found(typed("compare", made["before"], made["again"], "--json")) == {
        "better": set(),
        "worse": set(),
    }
    assert "No evidence either way" in typed("compare", made["before"], made["again"])


def test_doubts_come_before_the_verdict_and_the_verdict_is_in_plain_words(typed, made):
    lines = typed("compare", made["before"], made["worse"]).splitlines()
    assert lines[0] == "Before: before. After: worse."
    doubt = next(n for n, line in enumerate(lines) if "may be that day" in line)
    verdict = next(n for n, line in enumerate(lines) if line.startswith("Worse, as far as"))
    assert doubt < verdict


def test_a_page_is_written_with_plots_in_both_languages(typed, made, tmp_path):
    out = tmp_path / "out"
    typed("compare", made["before"], made["worse"], "--out", out)
    page = (out / "comparison.html").read_text("utf-8")
    assert "What really differs" in page
    assert "data:image/svg+xml" in page
    assert json.loads((out / "comparison.json").read_text("utf-8"))["schema"] == 1
    assert {"differences.svg", "differences.png"} == {p.name for p in (out / "plots").iterdir()}
    assert (out / "comparison.pdf").read_bytes().startswith(b"%PDF")
    with pytest.raises(OutputError, match="--force"):
        typed("compare", made["before"], made["worse"], "--out", out)
    typed("compare", made["before"], made["worse"], "--out", out, "--force", "--language", "de")
    assert "Was sich wirklich unterscheidet" in (out / "comparison.html").read_text("utf-8")


def test_groups_are_compared_by_name_and_by_tag(typed, made):
    typed("sessions", "add", made["before"], "--name", "one", "--tag", "as it was")
    typed("sessions", "add", made["again"], "--name", "two", "--tag", "as it was")
    typed("sessions", "add", made["worse"], "--name", "three")
    said = json.loads(typed("compare", "as it was", "three", "--json"))
    assert (said["before"], said["after"]) == (["one", "two"], ["three"])


def test_a_word_that_means_nothing_is_one_line(typed, made):
    with pytest.raises(LibraryError, match="no session folder, and no name or tag"):
        typed("compare", made["before"], "no such thing")


def test_a_session_is_not_compared_with_itself(typed, made):
    with pytest.raises(InputError, match="on both sides"):
        typed("compare", made["before"], made["before"])


def add_course(typed, folder, changes):
    """Add one session a month, each with its change."""
    for month, change in enumerate(changes):
        name = f"month {month}"
        made_session(folder / name, 20 + month, {"neck_flexion": change})
        day = date(2026, 1, 10) + timedelta(days=30 * month)
        typed("sessions", "add", folder / name, "--operator", "KF", "--recorded", day)


def test_a_steady_change_is_a_trend_and_the_rest_is_not(typed, tmp_path):
    add_course(typed, tmp_path / "made", [0, 5, 10, 15, 20, 25, 30])
    said = json.loads(typed("trend", "--operator", "KF", "--json"))
    verdicts = {(each["kind"], each["name"]): each["verdict"] for each in said["trends"]}
    assert verdicts["p90", "neck_flexion_deg"] == "worse"
    moved = {name for (_, name), verdict in verdicts.items() if verdict in ("better", "worse")}
    assert moved == {"neck_flexion_deg"}
    typed("trend", "--operator", "KF", "--out", tmp_path / "out")
    page = (tmp_path / "out" / "trend.html").read_text("utf-8")
    assert "getting worse" in page
    assert "data:image/svg+xml" in page


def test_noise_is_not_called_a_trend(typed, tmp_path):
    add_course(typed, tmp_path / "made", [0] * 5)
    said = json.loads(typed("trend", "--operator", "KF", "--json"))
    assert {each["verdict"] for each in said["trends"]} <= {"no_evidence", "too_little_seen"}
    assert "No figure shows a trend." in typed("trend", "--operator", "KF")


def test_sessions_without_a_day_are_left_out_and_named(typed, made):
    typed("sessions", "add", made["before"], "--name", "dated", "--recorded", "2026-02-03")
    typed("sessions", "add", made["again"], "--name", "undated")
    said = json.loads(typed("trend", "--json"))
    assert [each["name"] for each in said["sessions"]] == ["dated"]
    assert said["undated"] == ["undated"]
    assert {each["verdict"] for each in said["trends"]} == {"too_little_seen"}


def test_a_course_without_any_day_is_one_line(typed, made):
    typed("sessions", "add", made["before"])
    with pytest.raises(InputError, match="State it with"):
        typed("trend")
