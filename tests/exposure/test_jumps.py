"""A jump in time belongs to the session and is not assessed, in every figure alike."""

import numpy as np
import pytest

from ergo.comparison.compared_measures import beyond_share, level_share, part, percentile, whole
from ergo.comparison.pool import Measured, pooled
from ergo.exposure.limits import limit_set, limit_sets
from ergo.exposure.variation import variation_of
from ergo.notes.notes import Notes
from ergo.scores.method_score import Level, MethodScore

BEFORE, AFTER = 70, 30  # frames: 14 s of neck at 40 degrees, 60 s without a picture, 6 s at 10
TIME_S = np.concatenate([np.arange(BEFORE) * 0.2, 74 + np.arange(AFTER) * 0.2])
NECK = np.repeat([40.0, 10.0], [BEFORE, AFTER])
SCALING = {"task": "scaling", "mouth_area": "upper front"}


@pytest.fixture
def broken(clip):
    def make(**rest):
        return clip(TIME_S, neck_flexion_deg=NECK, **rest)

    return make


def score():
    levels = tuple(Level(name, (at, at), "-") for at, name in enumerate(("low", "mid", "high"), 1))
    level = np.repeat([3, 1], [BEFORE, AFTER])
    chance = np.eye(3)[level - 1]
    return MethodScore("rula", "left", {}, {}, level, level, chance, levels, ())


def test_limits_and_scores_leave_it_unjudged(broken, limits_in):
    exposure = broken().exposure([score()])
    assert exposure.total == pytest.approx(80)
    assert exposure.seen.amount == pytest.approx(20)
    shares = limits_in(exposure, "dental_sitting", "neck_flexion_deg")
    assert shares.beyond.amount == pytest.approx(14)
    assert shares.beyond.amount_high == pytest.approx(14)
    for each in (*exposure.limits, *exposure.scores):
        assert sum(x.share for x in each.held) + each.unjudged.share == pytest.approx(1)
    assert shares.unjudged.amount == pytest.approx(60)
    assert exposure.scores[0].unjudged.amount == pytest.approx(60)
    assert [x.amount for x in exposure.scores[0].held] == pytest.approx([6, 0, 14])


def test_the_facts_count_what_was_judged(broken):
    (fact, *_) = broken().exposure().first_three
    assert fact.key == "too_little_seen"
    assert fact.judged == pytest.approx(20)


def test_no_hold_goes_across_it(broken):
    held = [(hold.start_s, hold.length_s) for hold in broken().exposure().holds]
    assert held == [pytest.approx((0, 13.8)), pytest.approx((74, 5.8))]


def test_groups_add_up_and_know_what_nobody_saw(broken, limits_in):
    exposure = broken(hours=11.0, notes=[Notes.model_validate({"tasks": [SCALING]})]).exposure()
    clock = {group.name: group.held.amount for group in exposure.by_clock}
    assert clock == pytest.approx({"11": 20, "unknown": 60})
    (task,) = exposure.by_task
    assert task.held.amount == pytest.approx(80)  # stated for all of it
    assert limits_in(task, "dental_sitting", "neck_flexion_deg").unjudged.share == pytest.approx(
        0.75
    )


def test_a_task_that_ends_in_it_does_not_get_it(broken):
    notes = Notes.model_validate({"tasks": [SCALING | {"from_s": 0, "to_s": 20}]})
    groups = {group.name: group.held.amount for group in broken(notes=[notes]).exposure().by_task}
    assert groups == pytest.approx({"scaling": 14, "unknown": 66})


def test_stays_leave_it_out(broken):
    session = broken()
    limits = limit_set("dental_sitting", "neck_flexion_deg")
    variation = variation_of(session.timeline, session.posture, limits)
    assert variation.unjudged == pytest.approx(0.75)


def test_a_comparison_knows_how_little_was_judged(broken):
    session = broken(hours=11.0)
    empty = np.zeros(len(TIME_S))
    pool = pooled(
        [
            Measured(
                "it",
                session.timeline,
                session.posture,
                session.clock,
                (score(),),
                session.notes,
                (),
                empty,
            )
        ]
    )
    limits = next(x for x in limit_sets() if x.is_headline and x.angle.name == "neck_flexion_deg")
    assert beyond_share(pool, limits, whole(pool)).judged_share == pytest.approx(0.25)
    assert percentile(pool, "neck_flexion_deg", 0.5).judged_share == pytest.approx(0.25)
    found = level_share(pool, ("rula", "left"), whole(pool))
    assert (found.value, found.judged_share) == pytest.approx((0.7, 0.25))
    at_11 = part(pool, "clock", pool.hours, "11")
    assert beyond_share(pool, limits, at_11).judged_share == pytest.approx(1)
