import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from ergo.errors import InputError
from ergo.exposure.bands import band_of
from ergo.exposure.exposure import UNKNOWN
from ergo.exposure.limits import limit_set, limit_sets
from ergo.exposure.shares import level_shares, limit_shares
from ergo.exposure.uncertain import COMMON_SHARE, weights_of
from ergo.notes.notes import ExcludedSpan, Notes, TaskSpan
from ergo.scores.method_score import Level, MethodScore
from tests.exposure.conftest import clip_of, posture_of, written

NECK = ("iso11226", "neck_flexion_deg")
LEVELS = tuple(Level(str(n), (n, n), f"level {n}") for n in (1, 2, 3))


def score_of(level, probability):
    level = np.asarray(level)
    return MethodScore(
        "rula", "left", {}, {}, level, level, np.asarray(probability, float), LEVELS, ()
    )


def test_uneven_times_are_weighted_by_seconds(clip, limits_in):
    session = clip([0, 1, 2, 3.5, 5], neck_flexion_deg=[10, 10, 30, 30, 10])
    held = [1, 1, 1.25, 1.5, 1.25]  # beyond both ends half a usual step of 1 s
    shares = limits_in(session.exposure(), *NECK)
    assert shares.beyond.amount == pytest.approx(held[2] + held[3])
    assert shares.beyond.share == pytest.approx((held[2] + held[3]) / sum(held))


def test_each_band_gets_its_time_and_the_unseen_rest_stays_visible(clip, limits_in):
    session = clip(np.arange(10), neck_flexion_deg=[-5, 5, 5, 5, 26, 27, 28, 29, np.nan, np.nan])
    shares = limits_in(session.exposure(), *NECK)
    assert [share.share for share in shares.held] == pytest.approx([0.1, 0.3, 0.4])
    assert shares.unjudged.share == pytest.approx(0.2)
    assert shares.unjudged.amount == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("value", "band"),
    [(0.0, "acceptable"), (-0.01, "backward"), (25.0, "acceptable"), (25.01, "not_recommended")],
)
def test_an_angle_on_an_edge_belongs_to_the_less_strained_band(value, band):
    limits = limit_set(*NECK)
    (place,) = band_of(limits, np.array([value]), False)
    assert limits.bands[place].name == band


@given(
    st.lists(st.one_of(st.just(np.nan), st.floats(-90, 120)), min_size=2, max_size=40),
    st.floats(0.1, 15),
)
def test_shares_with_the_unjudged_one_sum_to_one(values, sd):
    names = dict.fromkeys(each.angle.name for each in limit_sets())
    steps = 1 + np.arange(len(values)) % 3
    session = written(clip_of(np.cumsum(steps)), sd=sd, **dict.fromkeys(names, values))
    for shares in session.exposure().limits:
        parts = [*shares.held, shares.unjudged]
        assert sum(part.share for part in parts) == pytest.approx(1)
        for part in (*parts, shares.beyond):
            assert -1e-12 <= part.low <= part.share <= part.high <= 1 + 1e-12


@given(st.permutations(range(12)), st.floats(0.5, 10))
def test_shuffling_frames_leaves_shares_unchanged(order, sd):
    order = list(order)
    value = np.array([-3, 2, 8, 12, 19, 22, 24.6, 26, 31, 44, np.nan, np.nan])
    held = np.array([1, 2, 1, 3, 1, 2, 1, 1, 4, 1, 2, 1], float)
    limits = [limit_set(*NECK)]
    plain = limit_shares(posture_of(12, sd, neck_flexion_deg=value), held[None], limits)
    mixed = posture_of(12, sd, neck_flexion_deg=value[order])
    shuffled = limit_shares(mixed, held[order][None], limits)
    for one, other in zip(plain[0][0].held, shuffled[0][0].held, strict=True):
        assert (one.share, one.low, one.high) == pytest.approx((other.share, other.low, other.high))


def test_an_exact_angle_has_an_interval_of_no_width(clip, limits_in):
    session = clip(np.arange(4), sd=1e-9, neck_flexion_deg=[10, 10, 30, 40])
    beyond = limits_in(session.exposure(), *NECK).beyond
    assert (beyond.low, beyond.share, beyond.high) == pytest.approx((0.5, 0.5, 0.5), abs=1e-6)


def test_the_interval_holds_what_simulated_truths_give(clip, limits_in):
    """Truths drawn by the stated model, one by one, without our binning or formulas."""
    chance = np.random.default_rng(3)
    value, sd = chance.normal(24, 6, 400), 5.0
    session = clip(np.arange(400), sd=sd, neck_flexion_deg=value)
    beyond = limits_in(session.exposure(), *NECK).beyond
    common = chance.normal(0, sd * np.sqrt(COMMON_SHARE), (4000, 1))
    own = chance.normal(0, sd * np.sqrt(1 - COMMON_SHARE), (4000, 400))
    simulated = np.mean(value - common - own > 25, axis=1)
    assert beyond.low == pytest.approx(np.quantile(simulated, 0.05), abs=0.03)
    assert beyond.high == pytest.approx(np.quantile(simulated, 0.95), abs=0.03)


def test_levels_get_their_time_and_unjudged_frames_stay_visible():
    score = score_of([1, 2, 2, 3, 0], [[1, 0, 0], [0, 1, 0], [0, 1, 0], [0, 0, 1], [np.nan] * 3])
    held = np.array([[1.0, 1.0, 2.0, 4.0, 2.0]])
    (shares,) = level_shares([score], held)[0]
    assert [each.share for each in shares.held] == pytest.approx([0.1, 0.3, 0.4])
    assert shares.unjudged.share == pytest.approx(0.2)
    assert shares.held[2].low == pytest.approx(0.4)


def test_doubtful_levels_have_a_wide_interval_and_certain_ones_none():
    doubtful = score_of([2] * 50, [[0.3, 0.4, 0.3]] * 50)
    certain = score_of([2] * 50, [[0.0, 1.0, 0.0]] * 50)
    held = np.ones((1, 50))
    (wide,), (narrow,) = level_shares([doubtful], held)[0], level_shares([certain], held)[0]
    assert wide.held[1].high - wide.held[1].low > 0.5
    assert narrow.held[1].high - narrow.held[1].low < 1e-6


def test_the_interval_of_a_level_holds_what_a_simulation_gives():
    chance = np.random.default_rng(5)
    cut = norm.ppf(0.3)
    common = chance.normal(0, np.sqrt(COMMON_SHARE), (4000, 1))
    own = chance.normal(0, np.sqrt(1 - COMMON_SHARE), (4000, 200))
    simulated = np.mean(common + own < cut, axis=1)
    (shares,) = level_shares([score_of([2] * 200, [[0.3, 0.7, 0.0]] * 200)], np.ones((1, 200)))[0]
    assert shares.held[0].high == pytest.approx(np.quantile(simulated, 0.95), abs=0.04)
    assert shares.held[1].low == pytest.approx(1 - np.quantile(simulated, 0.95), abs=0.04)


def test_clock_hours_and_tasks_add_up_to_the_session(clip, limits_in):
    notes = [Notes(tasks=(TaskSpan(from_s=0, to_s=4, task="scaling"),))]
    session = clip(
        np.arange(8),
        hours=[9, 9, 9.2, 12.8, np.nan, np.nan, 11.6, 11.6],
        notes=notes,
        neck_flexion_deg=[30, 30, 30, 30, 10, 10, 10, 10],
    )
    exposure = session.exposure()
    hours = {group.name: group.held.share for group in exposure.by_clock}
    assert hours == pytest.approx({"1": 1 / 8, "9": 3 / 8, "12": 2 / 8, UNKNOWN: 2 / 8})
    assert sum(hours.values()) == pytest.approx(1)
    scaling, rest = exposure.by_task
    assert (scaling.name, rest.name) == ("scaling", UNKNOWN)
    assert limits_in(scaling, *NECK).beyond.share == pytest.approx(1)
    assert limits_in(rest, *NECK).beyond.share == pytest.approx(0)
    assert exposure.by_mouth_area == ()


def test_a_later_note_on_the_same_time_wins(clip):
    spans = (TaskSpan(task="filling"), TaskSpan(from_s=2, task="scaling"))
    groups = clip(np.arange(4), notes=[Notes(tasks=spans)]).exposure().by_task
    assert [(group.name, group.held.share) for group in groups] == [
        ("filling", 0.5),
        ("scaling", 0.5),
    ]


def test_parts_that_the_notes_exclude_count_as_not_judged(clip, limits_in):
    notes = [Notes(excluded=(ExcludedSpan(from_s=2, to_s=4),))]
    session = clip(np.arange(8), notes=notes, neck_flexion_deg=30)
    shares = limits_in(session.exposure(), *NECK)
    assert shares.unjudged.share == pytest.approx(0.25)
    assert shares.beyond.share == pytest.approx(0.75)


def test_left_and_right_are_counted_apart(clip, limits_in):
    session = clip(
        np.arange(4),
        upper_arm_elevation_deg_left=[10, 10, 10, 10],
        upper_arm_elevation_deg_right=[70, 70, 10, 10],
    )
    exposure = session.exposure()
    beyond = {
        side: limits_in(exposure, "iso11226", f"upper_arm_elevation_deg_{side}").beyond.share
        for side in ("left", "right")
    }
    assert beyond == pytest.approx({"left": 0.0, "right": 0.5})


def test_groups_get_the_same_sums_as_each_alone():
    rng = np.random.default_rng(4)
    frames, groups = 300, 6
    held = rng.uniform(0.1, 0.3, frames) * (rng.random((groups, frames)) < 0.5)
    place = rng.integers(0, 4, frames)
    alone = [[row[place == each].sum() for row in held] for each in range(4)]
    weights = weights_of(held)
    assert weights.summed(place, 4, weights.weight) == pytest.approx(np.array(alone))
    assert weights.total == pytest.approx(held.sum(axis=1))


def test_a_frame_that_weighs_more_in_one_group_than_in_another_is_refused():
    with pytest.raises(InputError, match="weigh the same"):
        weights_of(np.array([[1.0, 1.0], [0.0, 2.0]]))
