from dataclasses import replace
from typing import get_args

import pytest

from ergo.comparison.comparable import Doubt, DoubtKey
from ergo.comparison.compare import Comparison, Difference
from ergo.exposure.exposure import Estimate
from ergo.report.plots.differences import differences_figure
from ergo.report.text.comparison import (
    comparison_lines,
    comparison_page_content,
    doubt_text,
    overall,
)
from ergo.report.text.words import LANGUAGES, words

EN = words("en")
NAN = float("nan")


def difference(verdict, change=0.2, where="session", part=""):
    estimate = Estimate(change, change - 0.1, change + 0.1)
    rule, name = "iso11226", "neck_flexion_deg"
    return Difference("beyond", name, rule, where, part, 0.3, 0.3 + change, estimate, 0.01, verdict)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("key", get_args(DoubtKey))
def test_every_doubt_has_its_sentence(language, key):
    said = doubt_text(Doubt(key, 0.2, 0.7), words(language))
    assert len(said) > 20
    assert "{" not in said


@pytest.mark.parametrize(
    ("verdicts", "begins"),
    [
        (["better", "no_evidence"], "Better, as far as anything differs: 1 of 2"),
        (["worse", "worse", "no_evidence"], "Worse, as far as anything differs: 2 of 3"),
        (["better", "worse"], "Some figures are better (1), some worse (1), of 2"),
        (["no_evidence", "too_little_seen"], "No evidence either way: what differs in the 1"),
        (["too_little_seen"], "Too little was seen to compare anything."),
    ],
)
def test_the_verdict_counts_the_figures_of_the_whole_sessions(verdicts, begins):
    parts = (difference("worse", where="task", part="scaling"),)
    comparison = Comparison((), (*(difference(verdict) for verdict in verdicts), *parts))
    assert overall(comparison, EN).startswith(begins)


def short(judged_s, needs_s):
    told = difference("too_short")
    return replace(told, change=Estimate(0.2, NAN, NAN), judged_s=judged_s, needs_s=needs_s)


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_is_too_short_says_how_short_and_how_long_it_must_be(language):
    own = words(language)
    comparison = Comparison((), (short(20.0, 465.0), difference("no_evidence")))
    lines = comparison_lines(comparison, ["a"], ["b"], own)
    said = lines[-1].replace("\u00a0", " ")
    assert "20 s" in said
    assert "8 min" in said
    alone = overall(Comparison((), (short(20.0, 465.0),)), own).replace("\u00a0", " ")
    assert "20 s" in alone
    assert "8 min" in alone
    assert own.say("compare.overall_too_little_seen") != alone


def test_what_is_too_short_is_in_no_table_and_no_figure():
    comparison = Comparison((), (short(20.0, 465.0),))
    assert comparison_page_content(comparison, ["a"], ["b"], EN)["whole_table"] is None
    assert differences_figure(comparison, EN, 7.0) is None


def test_what_cannot_be_compared_is_said_before_any_figure():
    comparison = Comparison((Doubt("other_view", 90.0, 30.0),), (difference("worse"),))
    lines = comparison_lines(comparison, ["a"], ["b"], EN)
    assert lines[1].startswith("Not safely comparable")
    assert "90°" in lines[2]
    assert "30°" in lines[2]
    assert lines.index(overall(comparison, EN)) > 2


def test_a_sentence_gives_both_figures_the_change_and_its_interval():
    lines = comparison_lines(Comparison((), (difference("worse"),)), ["a"], ["b"], EN)
    said = lines[-1].replace("\u00a0", " ")
    assert "30 % before, 50 % after; worse" in said
    assert "change +20 points, 95 % interval +10 points to +30 points" in said
