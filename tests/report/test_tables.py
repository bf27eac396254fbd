import re
from dataclasses import replace

import numpy as np
import pytest

from ergo.exposure.exposure import Decider, LevelShares, Share
from ergo.published_sources import MARKS
from ergo.report.palette import NOT_JUDGED
from ergo.report.plots.dial import dial_limits
from ergo.report.text.recording_tables import seen_table
from ergo.report.text.score_tables import (
    assumed_table,
    method_sources_table,
    promise,
    readings_table,
    strained_table,
)
from ergo.report.text.summary import remark_lines
from ergo.report.text.tables import (
    group_table,
    holds_table,
    limits_table,
    marks_legend,
    scores_table,
    sources_table,
    texts_table,
)
from ergo.report.text.words import words
from ergo.scores.method_score import Level
from ergo.timeline import build_timeline

ENGLISH = words("en")


@pytest.mark.parametrize("headline", [True, False])
def test_every_row_of_limits_shows_the_unjudged_share(exposure, headline):
    table = limits_table(exposure, ENGLISH, headline=headline)
    assert table.columns[-1].startswith(NOT_JUDGED.symbol)
    assert all("%" in row[-1] for row in table.rows)


def test_every_angle_and_rule_stands_in_one_of_the_two_tables(exposure):
    rows = [
        row
        for shown in (True, False)
        for row in limits_table(exposure, ENGLISH, headline=shown).rows
    ]
    assert len(rows) == len(exposure.limits)


def test_the_shares_of_a_row_add_up_to_the_session(exposure):
    for row in limits_table(exposure, ENGLISH, headline=True).rows:
        shares = [float(x) for cell in row[2:] for x in re.findall(r", (\d+)\u00a0%", cell)]
        assert sum(shares) == pytest.approx(100, abs=2)  # each is rounded to 1 %


def test_a_small_mark_says_where_a_limit_was_not_checked_against_a_text(exposure):
    used = {row[0]: row[1] for row in limits_table(exposure, ENGLISH, headline=True).rows}
    assert used["Trunk, forward bend"].endswith("\n✓≈⌂")  # 10 read, 20 from memory, backward ours
    assert used["Neck, side bend"].endswith("\n✓")
    rows = sources_table(exposure, ENGLISH).rows
    assert any(row[-1] == "≈" for row in rows)
    assert any(row[-1] == "✓ jomt-2020" for row in rows)


def test_no_row_says_memory_and_one_legend_says_what_the_marks_mean(exposure):
    tables = [
        *(limits_table(exposure, ENGLISH, headline=shown) for shown in (True, False)),
        holds_table(exposure, ENGLISH),
        sources_table(exposure, ENGLISH),
        method_sources_table(ENGLISH),
    ]
    cells = [cell for table in tables for row in table.rows for cell in row]
    assert not any("memory" in cell or "verified" in cell for cell in cells)
    for language in ("en", "de"):
        legend = marks_legend(words(language))
        assert all(mark in legend for mark in MARKS.values())


def test_every_text_that_a_table_cites_stands_in_the_list_of_texts(exposure):
    texts = {row[0]: row for row in texts_table(ENGLISH).rows}
    tables = [sources_table(exposure, ENGLISH), method_sources_table(ENGLISH)]
    keys = {
        key
        for table in tables
        for row in table.rows
        for key in re.findall(r"[a-z0-9]+(?:-[a-z0-9]+)+", row[-1])
    }
    assert len(keys) > 20
    assert keys <= texts.keys()
    assert all(len(row) == 4 and all(row) for row in texts.values())


def test_the_upper_arm_holding_line_is_marked_as_from_memory(exposure):
    rows = {row[0]: row for row in holds_table(exposure, ENGLISH).rows}
    assert "≈" in rows["Right upper arm, raised"][5]
    assert "≈" not in rows["Trunk, inclination"][5]


def test_every_method_row_shows_all_levels_and_the_unjudged_share(exposure):
    table = scores_table(exposure, ENGLISH)
    for row, levels in zip(table.rows, exposure.scores, strict=True):
        assert len(row[2].splitlines()) == len(levels.levels)
        assert "10\u00a0%" in row[3]


def test_a_damaged_recording_is_named_with_its_reason(session):
    assert "ends in the middle of a picture" in seen_table(session, ENGLISH).rows[0][-1]


def test_a_jump_in_time_is_told_and_was_not_seen(session):
    recording = session.recording
    time_s = recording.timeline.time_s + np.where(np.arange(3600) < 900, 0.0, 240.0)
    jumped = build_timeline(recording.timeline.sources, (time_s,), (True,))
    (before,) = seen_table(session, ENGLISH).rows
    (row,) = seen_table(
        replace(session, recording=replace(recording, timeline=jumped)), ENGLISH
    ).rows
    assert "for 4\u00a0min there is none" in row[-1]
    assert "there is none" not in before[-1]
    (line,) = remark_lines(replace(session, recording=replace(recording, timeline=jumped)))[1:]
    assert line.startswith(recording.timeline.sources[0])
    assert "for 4\u00a0min" in line
    share, less = (int(each[-2].rstrip("%").strip()) for each in (before, row))
    assert less == round(share * 720 / 960)


def test_the_most_influential_readings_say_what_the_other_choice_would_change(session):
    rows = {row[0]: row for row in readings_table(session, ENGLISH).rows}
    assert re.search(r"with 10 min, \d+\u00a0min", rows["RULA: static after"][3])
    assert "that of the measured angles, " in rows["RULA, REBA: final score shown"][3]
    assert "older worksheet" in rows["RULA Table A: printed version"][3]


def with_what_was_not_measured(session):
    """The invented session with 3 min counted as strained, 90 s of which that makes higher."""
    left, right = session.scores
    counted = np.zeros(len(left.score), dtype=bool)
    counted[600:1500] = True
    eased = left.score.copy()
    eased[600:1050] -= 1
    steps = {
        "score_of_measured_angles": left.score,
        "score_if_assumed_worse": left.score + (np.arange(len(left.score)) < 500),
        "score_if_not_strained": eased,
    }
    strained = replace(left, strained={"lower_arm": counted}, steps=steps)
    return replace(session, scores=(strained, right))


def test_what_was_counted_as_strained_is_told_with_its_time_and_its_effect(session):
    (row,) = strained_table(with_what_was_not_measured(session), ENGLISH).rows
    plain = [cell.replace("\u00a0", " ") for cell in row]
    assert plain == [
        "RULA",
        "left",
        "elbow bend (3 min of 11 min 20 s judged)",
        "By the printed tables alone, 90 s of 11 min 20 s would score lower.",
    ]
    assert strained_table(session, ENGLISH) is None


def test_the_promise_of_a_score_is_weighted_by_time_and_given_where_a_method_makes_one(session):
    left, right = session.scores
    within = np.where(np.arange(len(left.score)) < 1900, 0.6, 0.9)  # half of the judged time each
    promising = replace(session, scores=(replace(left, within_one=within), right))
    assert promise(promising, ENGLISH).endswith("the true angles: RULA left 75\u00a0%.")
    assert promise(session, ENGLISH) is None


def test_what_was_counted_as_strained_for_no_time_is_not_told(session):
    changed = with_what_was_not_measured(session)
    timeline = changed.recording.timeline
    nothing = replace(timeline, held=np.zeros(len(timeline)))
    recording = replace(changed.recording, timeline=nothing)
    assert strained_table(replace(changed, recording=recording), ENGLISH) is None


def test_what_was_assumed_is_told_with_how_long_worse_would_score_higher(session):
    left, right = assumed_table(with_what_was_not_measured(session), ENGLISH).rows
    assert "60\u00a0s of 11\u00a0min\u00a020\u00a0s would score higher" in left[3]
    assert right[3] == ENGLISH.say("number.unknown")


def test_clock_groups_are_named_by_the_hour(exposure):
    table = group_table(exposure.by_clock, dial_limits(exposure), exposure, ENGLISH)
    assert [row[0] for row in table.rows] == [f"{h}\u00a0o'clock" for h in (9, 10, 11, 12)]


def test_every_method_names_its_sources():
    methods = {row[0] for row in method_sources_table(ENGLISH).rows}
    assert {"RULA", "REBA", "ISO 11226", "dental sitting requirements"} <= methods


def test_the_input_that_decides_a_verdict_is_named_below_it(exposure):
    first, last = Level("acceptable", (1, 1), ""), Level("not recommended", (3, 3), "")
    half, most = Share(100.0, 0.5, 0.4, 0.6), Share(100.0, 0.45, 0.45, 0.45)
    decided = ((), (Decider("neck_rotation", most), Decider("trunk_twist", Share(100, 0.1, 0, 1))))
    levels = LevelShares("iso11226", "whole", (first, last), (half, half), Share(100, 0, 0, 0))
    levels = replace(levels, decided_by=decided)
    (row,) = scores_table(replace(exposure, scores=(levels,)), ENGLISH).rows
    acceptable, not_recommended, deciding = row[2].split("\n")
    assert "not recommended" in not_recommended
    assert deciding.startswith("decided by: rotation of the neck 45")
    assert "twist of the trunk 10" in deciding


def test_only_a_rule_with_holding_times_limits_time(exposure):
    tables = [limits_table(exposure, ENGLISH, headline=shown) for shown in (True, False)]
    assert not any("limited in time" in column for table in tables for column in table.columns)
    rules = {row[1].split("\n")[0] for table in tables for row in table.rows if "in time" in row[3]}
    assert rules == {"ISO 11226"}
    leaning = next(
        row for row in tables[0].rows if row[0] == "Trunk, forward bend"
    )  # by the sitting requirements, which know no holding time
    assert "limited" not in "".join(leaning)
