"""What the notes exclude is judged in no figure: report, comparison and trend say the same."""

from dataclasses import replace

import numpy as np
import pytest

from ergo.comparison.comparable import doubts_about
from ergo.comparison.compare import compare
from ergo.comparison.compared_measures import beyond_share, level_share, upper_level, whole
from ergo.comparison.pool import Measured, pooled
from ergo.comparison.trends import figure_trends
from ergo.notes.excluded import is_excluded
from ergo.notes.notes import Notes
from ergo.posture.angle_names import NAMES
from ergo.scores.method_score import NOT_SEEN
from ergo.scores.methods import minutes_scored_differently, score_all
from tests.scores.conftest import NEUTRAL

# Three minutes: bent on the telephone (out), a little bent, upright. Nothing is symmetric.
PARTS = [300, 200, 400]
NOTES = Notes.model_validate(
    {
        "excluded": [{"from_s": 0, "to_s": 60, "reason": "telephone"}],
        "tasks": [
            {"task": "telephone", "to_s": 60},
            {"task": "scaling", "from_s": 60},
        ],
    }
)
STILL = dict.fromkeys(NAMES, 0.0) | NEUTRAL
BENT = {
    "neck_flexion_deg": np.repeat([50.0, 25.0, 0.0], PARTS),
    "neck_rotation_deg": np.repeat([40.0, 0.0, 0.0], PARTS),
    "trunk_twist_deg": np.repeat([40.0, 0.0, 0.0], PARTS),
    "trunk_flexion_deg": np.repeat([70.0, 15.0, 0.0], PARTS),
    "trunk_inclination_deg": np.repeat([70.0, 15.0, 0.0], PARTS),
    "shoulder_flexion_deg_left": np.repeat([100.0, 30.0, 10.0], PARTS),
    "upper_arm_elevation_deg_left": np.repeat([100.0, 30.0, 10.0], PARTS),
}


@pytest.fixture
def part_out(clip):
    session = clip(
        np.arange(900) * 0.2, notes=[NOTES], hours=np.repeat([3.0, 11, 10], PARTS), **STILL | BENT
    )
    scores = score_all(session.timeline, session.posture, [Notes()], {})  # of every frame
    return session, scores


def measured(session, scores, name="it"):
    frames = len(session.timeline)
    return Measured(
        name,
        session.timeline,
        session.posture,
        session.clock,
        scores,
        session.notes,
        (),
        np.zeros(frames),
    )


def test_report_and_comparison_give_the_same_shares(part_out):
    session, scores = part_out
    exposure, pool = session.exposure(scores), pooled([measured(session, scores)])
    for levels in exposure.scores:
        figure = level_share(pool, (levels.method, levels.side), whole(pool))
        upper = sum(x.share for x in levels.held[upper_level(len(levels.levels)) - 1 :])
        assert figure.judged_share == pytest.approx(1 - levels.unjudged.share)
        assert figure.judged_share <= 2 / 3 + 1e-9
        if figure.judged_share > 0:
            assert figure.value == pytest.approx(upper / figure.judged_share)
    for limits in exposure.limits:
        figure = beyond_share(pool, limits.limits, whole(pool))
        assert figure.judged_share == pytest.approx(1 - limits.unjudged.share)
        if figure.judged_share > 0:
            assert figure.value == pytest.approx(limits.beyond.share / figure.judged_share)


def test_a_score_that_is_high_only_in_what_is_excluded_is_not_high(part_out):
    session, scores = part_out
    in_report = {x.method: x for x in session.exposure(scores).scores if x.side == "left"}
    assert [x.share for x in in_report["rula"].held[2:]] == [0, 0]
    score = next(x for x in scores if (x.method, x.side) == ("rula", "left"))
    assert score.level[:300].min() == 3 > score.level[300:].max()
    pool = pooled([measured(session, scores)])
    (own,) = pool.levels["rula", "left"]
    assert (own.level[:300] == NOT_SEEN).all()
    assert own.level[300:].tolist() == score.level[300:].tolist()


def test_what_is_excluded_changes_neither_comparison_nor_trend(part_out):
    session, scores = part_out
    other = replace(
        session.posture,
        value=np.where(is_excluded(session.timeline, [NOTES])[:, None], 3.0, session.posture.value),
    )
    calm = replace(session, posture=other)
    calm_scores = score_all(session.timeline, other, [Notes()], {})
    one, two = (
        [measured(session, scores)] * 6,
        [measured(calm, calm_scores)] * 6,
    )
    assert repr(compare(one[:1], one[:1])) == repr(compare(one[:1], two[:1]))
    days = [0.0, 10, 20, 30, 40, 50]
    assert repr(figure_trends(days, one)) == repr(figure_trends(days, two))


def test_the_task_of_what_is_excluded_makes_no_other_work(part_out):
    session, scores = part_out
    only = replace(session, notes=(NOTES.model_copy(update={"tasks": NOTES.tasks[1:]}),))
    both = [measured(session, scores)], [measured(only, scores)]
    assert "other_tasks" not in {doubt.key for doubt in doubts_about(*both)}


def test_nobody_sat_anywhere_in_what_is_excluded(part_out):
    session, _ = part_out
    at = {group.name: group.held.amount for group in session.exposure().by_clock}
    assert at == pytest.approx({"10": 80, "11": 40, "unknown": 60})


def test_scores_are_not_judged_there_and_no_hold_goes_across_it(clip):
    minute = Notes.model_validate({"excluded": [{"from_s": 40, "to_s": 100}]})
    session = clip(np.arange(600) * 0.2, **STILL)  # 2 min without a movement
    whole_time, cut = (
        next(score_all(session.timeline, session.posture, [notes], {}).__iter__())
        for notes in (Notes(), minute)
    )
    assert (cut.score[200:500] == NOT_SEEN).all()
    assert (whole_time.additions["muscle_use_A"] == 1).all()  # held for more than a minute
    assert (cut.additions["muscle_use_A"] == 0).all()  # 40 s and 20 s
    for notes, judged_s in ((Notes(), 120), (minute, 60)):
        for each in minutes_scored_differently(
            session.timeline, session.posture, [notes], {}, ["rula_table_a"]
        ):
            assert each.judged == pytest.approx(judged_s)


def test_every_part_of_a_score_is_left_out(part_out):
    session, scores = part_out
    excluded = is_excluded(session.timeline, [NOTES])
    for score in scores:
        own = score.without(excluded)
        for steps in (own.score, own.level, *own.steps.values(), *own.additions.values()):
            assert (steps[excluded] == 0).all()
        assert np.isnan(own.level_probability[excluded]).all()
        kept = (each.level_probability[~excluded] for each in (own, score))
        assert np.array_equal(*kept, equal_nan=True)
        assert not any(frames[excluded].any() for frames in own.strained.values())
