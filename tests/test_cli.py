"""What the command line says on a terminal, line by line."""

import io
import re
import sys
from dataclasses import replace

import numpy as np
import pytest

from ergo import cli
from ergo.app.analyse import evaluate_session
from ergo.app.workflow import Outcome, exposure_of_session, judge_again
from ergo.errors import NothingToAnalyse
from ergo.frames.stills import StillSource
from ergo.notes.notes import ClockSpan, Notes
from ergo.report.text.summary import summary_lines
from ergo.timeline import build_timeline
from tests.web.conftest import SAMPLES, invented_session
from tests.web.test_choosing import session_of_stills

FACTS = StillSource(SAMPLES / "stills" / "1_kf_side_left.jpg").facts


class Terminal(io.StringIO):
    """Both streams of a command as a person sees them."""

    def isatty(self):
        return True

    def lines(self):
        """Lines as they stand there: what was erased is gone, what was written over too."""
        return [
            re.split(r"\r\x1b\[K|\r", line)[-1] for line in self.getvalue().rstrip("\n").split("\n")
        ]


@pytest.fixture
def outcome(tmp_path):
    session = session_of_stills(tmp_path / "stills")
    session = replace(session, recording=replace(session.recording, doubt={}))
    return Outcome(session, exposure_of_session(session), tmp_path / "out")


def analysed(monkeypatch, finish, *options):
    """Exit code and screen of `ergo analyse` whose analysis tells its progress of two stills."""
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setattr(sys, "stdout", terminal)

    def analyse_session(*_, on_progress, **__):
        on_progress(FACTS, 0.0)
        on_progress(FACTS, 1.0)
        on_progress(StillSource(SAMPLES / "stills" / "5_ro_overhead.jpg").facts, 0.0)
        return finish()

    monkeypatch.setattr("ergo.app.workflow.analyse_session", analyse_session)
    with pytest.raises(SystemExit) as left:
        cli.main(["analyse", "a.jpg", "--out", "out", *options])
    return left.value.code, terminal


def test_the_first_line_of_the_result_stands_on_a_line_of_its_own(monkeypatch, outcome):
    code, terminal = analysed(monkeypatch, lambda: outcome)
    assert code == 0
    assert FACTS.name in terminal.getvalue()
    assert terminal.lines()[0] == summary_lines(outcome.session, outcome.exposure)[0]


def test_all_changes_are_printed_on_request_alone(monkeypatch, tmp_path):
    stated = Notes(handed="right", clock=(ClockSpan(hours=9),))
    session = judge_again(invented_session(SAMPLES / "kf_scaling.mp4", 100), (stated,))
    facts = session, exposure_of_session(session)
    outcome = Outcome(*facts, tmp_path)
    further = set(summary_lines(*facts, all_changes=True)) - set(summary_lines(*facts))
    assert further
    printed = {
        options: set(analysed(monkeypatch, lambda: outcome, *options)[1].lines())
        for options in ((), ("--all-changes",))
    }
    assert not further & printed[()]
    assert further <= printed["--all-changes",]


def test_a_complaint_stands_on_a_line_of_its_own(monkeypatch):
    def fail():
        raise NothingToAnalyse("holds nothing.", where="a.jpg:")

    code, terminal = analysed(monkeypatch, fail)
    assert code == 3
    assert terminal.lines() == ["a.jpg: holds nothing."]


def seen_in_the_first_alone(session, pictures):
    """The first still of a session and others in which nobody is seen."""
    recording = session.recording
    facts = [replace(recording.sources[0], name=f"{at}.jpg") for at in range(pictures)]
    names = tuple(each.name for each in facts)
    track = recording.tracks["operator"].frames(np.zeros(pictures, dtype=np.int64))
    points = track.picture_px.copy()
    points[1:] = np.nan
    presence = np.where(np.arange(pictures) == 0, track.presence, 0.0)
    recording = replace(
        recording,
        sources=tuple(facts),
        timeline=build_timeline(names, (np.zeros(1),) * pictures, (False,) * pictures),
        number=np.zeros(pictures, dtype=np.int64),
        tracks={"operator": replace(track, picture_px=points, presence=presence)},
        doubt={},
    )
    return evaluate_session(recording, (Notes(),) * pictures)


def test_the_pictures_that_show_too_little_are_named_and_no_other(monkeypatch, outcome):
    session = seen_in_the_first_alone(outcome.session, 30)
    hardly_seen = Outcome(session, exposure_of_session(session), outcome.folder)
    code, terminal = analysed(monkeypatch, lambda: hardly_seen)
    assert code == 4
    (complaint,) = [line for line in terminal.lines() if "too little of the operator" in line]
    named, _, _ = complaint.partition(": ")
    assert named.split(", ") == [f"{at}.jpg" for at in range(1, 30)]


def test_serving_says_the_address(monkeypatch):
    terminal = Terminal()
    monkeypatch.setattr(sys, "stdout", terminal)
    monkeypatch.setattr("ergo.web.serve.serve", lambda _, __, say, *___: say("http://here/"))
    with pytest.raises(SystemExit):
        cli.main(["serve", "--no-browser"])
    assert terminal.lines() == ["http://here/"]
