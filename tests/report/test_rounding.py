"""Figures that are parts of one whole add up as they are read."""

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ergo.exposure.exposure import Share
from ergo.exposure.groups import nearest_hours
from ergo.exposure.summary import exposure_of
from ergo.report.html import report_content
from ergo.report.plots.bars import strained_figure
from ergo.report.plots.canvas import WIDE_IN
from ergo.report.text.key_findings import first_sentences
from ergo.report.text.place import place_table
from ergo.report.text.rounding import adding_up, parts_of_whole, step_of
from ergo.report.text.words import words
from ergo.timeline import build_timeline
from tests.report.conftest import invented_session

EN = words("en")
SECONDS = re.compile(r"(?<![\d.])(?:(\d+) min ?)?(?:([\d.]+) s)?")


@given(st.lists(st.floats(0, 500), min_size=1, max_size=12), st.sampled_from([0.1, 1.0, 60.0]))
def test_parts_add_up_and_none_moves_by_a_step(parts, step):
    rounded = adding_up(parts, step)
    assert np.all(np.abs(rounded - parts) < step * (1 + 1e-6))
    told = [each for each in parts if each >= step / 2]
    missing = sum(parts) - sum(told)
    assert abs(rounded.sum() - sum(parts)) <= step / 2 + missing + 1e-6
    if len(told) == len(parts):
        assert rounded.sum() / step == pytest.approx(round(sum(parts) / step))


def test_seconds_of_twenty_add_up_to_twenty():
    # these two were told as 6.4 s and 14 s of 20 s
    parts = parts_of_whole([Share(20.0, p, p, p) for p in (0.32, 0.68)], 20.0, "second")
    assert [parts.amount([at], EN).replace("\u00a0", " ") for at in range(2)] == ["6 s", "14 s"]
    parts = parts_of_whole([Share(20.0, p, p, p) for p in (0.67, 0.33)], 20.0, "second")
    assert [parts.amount([at], EN).replace("\u00a0", " ") for at in range(2)] == ["13 s", "7 s"]


@pytest.mark.parametrize(
    ("total", "unit", "step"),
    [(9.9, "second", 0.1), (9.96, "second", 1), (3599, "second", 1), (3600, "second", 60)]
    + [(8, "picture", 1)],
)
def test_the_step_follows_the_length_of_the_session(total, unit, step):
    assert step_of(total, unit) == step


def test_a_small_part_is_told_as_under_a_step_and_never_as_nothing():
    parts = parts_of_whole([Share(20.0, p, p, p) for p in (0.004, 0.996, 0.0)], 20.0, "second")
    amounts = [parts.amount([at], EN).replace("\u00a0", " ") for at in range(3)]
    assert amounts == ["under 1 s", "20 s", "0 s"]
    shares = [parts.share([at], EN).replace("\u00a0", " ") for at in range(3)]
    assert shares == ["below 1 %", "over 99 %", "0 %"]


def test_what_is_told_lies_within_its_interval():
    thirds = [Share(100.0, 1 / 3, 0.331, 0.334)] * 3
    parts = parts_of_whole(thirds, 100.0, "second")
    told = sorted(parts.share([at], EN).replace("\u00a0", " ") for at in range(3))
    assert told == ["33 %", "33 %", "34 %"]
    high = int(np.argmax(parts.percents))
    assert parts.interval(high, EN).replace("\u00a0", " ") == "33 % to 34 %"


@pytest.fixture(scope="module")
def uneven():
    """A session of 23.4 s: nothing in it is a whole number of seconds."""
    session = invented_session(117)
    timeline = session.recording.timeline
    return session, exposure_of(
        timeline, session.posture, session.clock, session.scores, session.notes
    )


def seconds(text):
    text = text.replace("\u00a0", " ")
    minutes, rest = re.search(r"(?:(\d+) min ?)?(?:([\d.]+) s)?", text).groups()
    return 60 * int(minutes or 0) + float(rest or 0)


def percents(text):
    return int(re.search(r"(\d+)\u00a0%", text).group(1))


def told(cells):
    """The amounts and percents of cells of several lines, "under" and "below" as nothing."""
    lines = [
        line.rpartition(": ")[2].partition("(")[0]
        for cell in cells
        for line in cell.split("\n")
        if line
    ]
    return (
        sum(0 if "under" in line else seconds(line) for line in lines),
        sum(0 if "below" in line else percents(line) for line in lines),
    )


def test_every_row_of_a_report_adds_up(uneven):
    session, exposure = uneven
    content = report_content(session, exposure, (), EN)
    for name in ("limits_table", "more_limits_table", "scores_table"):
        for row in content[name].rows:
            amount, share = told(row[2:])
            assert amount == 23, row
            assert share == 100 or "over 99" in str(row), row
    clock = content["clock_table"].rows
    assert sum(seconds(row[1]) for row in clock) == 23
    assert sum(percents(row[2]) for row in clock) == 100
    for row in content["judged_table"].rows:
        assert sum(percents(cell) for cell in row[1:]) == 100 or "over 99" in str(row)


def test_a_sentence_and_a_bar_tell_what_the_table_tells(uneven):
    session, exposure = uneven
    fact = next(each for each in exposure.first_three if each.key == "beyond_limit")
    sentence = first_sentences(exposure, EN)[exposure.first_three.index(fact)]
    content = report_content(session, exposure, (), EN)
    rows = {
        (row[0], row[1].split("\n")[0]): row
        for name in ("limits_table", "more_limits_table")
        for row in content[name].rows
    }
    row = rows[EN.name("angle", fact.angle.name), EN.name("rules", fact.rule)]
    beyond, _ = told([row[4]])
    unjudged, _ = told([row[5]])
    assert f"for {beyond:.0f}\u00a0s" in sentence
    assert f"Of {23 - unjudged:.0f}\u00a0s that could be judged" in sentence
    drawn = {
        text.get_text()
        for text in strained_figure(exposure, EN, WIDE_IN).findobj(lambda x: hasattr(x, "get_text"))
    }
    _, share = told([row[5]])
    assert f"not judged {share}\u00a0%" in drawn


def test_half_past_belongs_to_the_later_hour_everywhere():
    # the page draws Math.round(hour), which rounds halves up
    assert nearest_hours(np.array([10.5, 11.5, 12.49, 12.5, 1.49])).tolist() == [11, 12, 12, 1, 1]


def test_places_and_distances_are_those_of_the_clip_like_the_angles(session):
    frames = len(session.recording.timeline)
    names = ("still.jpg", *session.recording.timeline.sources)
    times = (np.zeros(1), session.recording.timeline.time_s[1:])
    timeline = build_timeline(names, times, (False, True))
    far = session.place.measured["eye_to_mouth_m"].copy()
    far[0] = 5.0  # only in the still
    far[1:] = np.where(np.arange(1, frames) < frames * 0.8, 0.3, 0.5)
    place = replace(session.place, measured=session.place.measured | {"eye_to_mouth_m": far})
    recording = replace(session.recording, timeline=timeline)
    table = place_table(replace(session, recording=recording, place=place), EN)
    row = next(row for row in table.rows if row[0] == EN.say("plan.eye_to_mouth_m"))
    assert [cell.replace("\u00a0", " ") for cell in row[1:4]] == ["30 cm", "30 cm", "50 cm"]
