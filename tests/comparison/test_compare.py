from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import ttest_ind

from ergo.camera.camera import Camera
from ergo.comparison.comparable import doubts_about
from ergo.comparison.compare import compare, measuring_variance
from ergo.comparison.compared_measures import level_share, whole
from ergo.comparison.intervals import (
    LEAST_EFFECTIVE,
    NOTHING,
    difference,
    holm,
    spread_of_pictures,
    spread_of_recording,
    spread_of_sessions,
)
from ergo.comparison.lasting import long_run
from ergo.comparison.pool import Measured, cells_of, pooled
from ergo.errors import InputError
from ergo.exposure.uncertain import COMMON_ERRORS
from ergo.notes.notes import Notes, TaskSpan
from ergo.posture.angle_names import COLUMN
from ergo.scores.method_score import Level, MethodScore
from ergo.timeline import build_timeline
from tests.exposure.conftest import clip_of, clock_of, posture_of

CAMERA = Camera(1280, 720, 900.0, (640, 360), -10.0, 0.0, 1.4, 2.0, "notes", True)
LEVELS = tuple(Level(str(n), (n, n), "") for n in (1, 2, 3, 4))


def postures(mean, chance, frames):
    """Postures kept for about ten seconds each."""
    return np.repeat(chance.normal(mean, 8, frames // 10 + 1), 10)[:frames]


def measured(neck_deg, seed, minutes=20, hours=None, tasks=(), sd=1.0, **change):
    chance, frames = np.random.default_rng(seed), minutes * 60
    names = ("neck_flexion_deg", "trunk_flexion_deg", "trunk_inclination_deg")
    angles = {
        name: postures(mean, chance, frames)
        for name, mean in zip(names, (neck_deg, 12, 14), strict=True)
    }
    session = Measured(
        "session",
        clip_of(np.arange(frames)),
        posture_of(frames, sd, **angles),
        clock_of(frames, hours),
        (),
        (Notes(tasks=tasks),),
        (CAMERA,),
        np.full(frames, 90.0),
    )
    return replace(session, **change)


def found(comparison, kind, name, **rest):
    wanted = {"kind": kind, "name": name, "where": "session", **rest}
    return next(
        each
        for each in comparison.differences
        if all(getattr(each, key) == value for key, value in wanted.items())
    )


def verdicts(comparison):
    seen = [each for each in comparison.differences if each.verdict != "too_little_seen"]
    return {(each.name, each.verdict) for each in seen}


def test_a_neck_made_worse_is_found_worse_and_nothing_else_is():
    said = verdicts(compare([measured(15, 1)], [measured(35, 2)]))
    assert ("neck_flexion_deg", "worse") in said
    assert {name for name, verdict in said if verdict != "no_evidence"} == {"neck_flexion_deg"}


def test_the_other_way_round_it_is_better():
    comparison = compare([measured(35, 1)], [measured(15, 2)])
    assert found(comparison, "beyond", "neck_flexion_deg", rule="iso11226").verdict == "better"


def test_two_recordings_of_the_same_work_show_no_evidence():
    said = verdicts(compare([measured(25, 3)], [measured(25, 4)]))
    assert {verdict for _, verdict in said} == {"no_evidence"}


def test_the_figures_before_and_after_are_shares_of_the_judged_time():
    before, after = measured(10, 1), measured(40, 2)
    each = found(compare([before], [after]), "beyond", "neck_flexion_deg", rule="iso11226")
    shares = [float(np.mean(s.posture.angle("neck_flexion_deg") > 25)) for s in (before, after)]
    assert (each.before, each.after) == pytest.approx(tuple(shares), abs=0.002)
    assert each.change.value == pytest.approx(shares[1] - shares[0], abs=0.003)
    assert each.change.low < each.change.value < each.change.high


def test_percentiles_are_those_of_the_frames():
    before, after = measured(10, 1), measured(40, 2)
    each = found(compare([before], [after]), "p90", "neck_flexion_deg")
    wanted = np.quantile(after.posture.angle("neck_flexion_deg"), 0.9)
    assert each.after == pytest.approx(wanted, abs=0.5)


def test_what_was_hardly_seen_gets_no_verdict():
    before, after = measured(10, 1), measured(40, 2)
    value = after.posture.value.copy()
    value[250:, COLUMN["neck_flexion_deg"]] = np.nan
    sd = np.where(np.isfinite(value), 1.0, np.nan)
    after = replace(after, posture=replace(after.posture, value=value, sd=sd))
    each = found(compare([before], [after]), "beyond", "neck_flexion_deg", rule="iso11226")
    assert each.verdict == "too_little_seen"
    assert np.isnan(each.change.low)


def test_a_recording_of_twenty_seconds_is_too_short_and_says_how_long_it_must_be():
    clip = measured(40, 2, minutes=1)
    short = replace(
        clip,
        timeline=clip_of(np.arange(20)),
        posture=posture_of(20, 1.0, neck_flexion_deg=40),
        clock=clock_of(20, None),
        view_azimuth_deg=np.full(20, 90.0),
    )
    for sides in (([measured(10, 1)], [short]), ([short], [measured(10, 1)])):
        each = found(compare(*sides), "beyond", "neck_flexion_deg", rule="iso11226")
        assert each.verdict == "too_short"
        assert np.isnan(each.change.low)
        assert each.judged_s == pytest.approx(20)
        assert 6 * 60 < each.needs_s < 10 * 60


def test_slow_work_needs_a_longer_recording_than_quick_work():
    def session(stay_s, seed):
        chance, frames = np.random.default_rng(seed), 600
        neck = np.repeat(chance.normal(25, 10, frames // stay_s + 1), stay_s)[:frames]
        return replace(
            measured(25, seed, minutes=10),
            posture=posture_of(frames, 1.0, neck_flexion_deg=neck),
        )

    quick, slow = (compare([session(s, 1)], [session(s, 2)]) for s in (10, 200))
    asked = ("beyond", "neck_flexion_deg")
    assert found(quick, *asked, rule="iso11226").verdict == "no_evidence"
    each = found(slow, *asked, rule="iso11226")
    assert each.verdict == "too_short"
    assert each.needs_s > each.judged_s == pytest.approx(600)


def test_what_never_happened_in_a_recording_may_happen_in_the_next():
    each = found(compare([measured(-40, 1)], [measured(-40, 2)]), "beyond", "neck_flexion_deg")
    assert each.before == each.after == 0
    assert each.change.low < 0 < each.change.high
    assert each.verdict == "no_evidence"


def test_differences_are_also_told_by_hour_and_task():
    tasks = (TaskSpan(task="scaling"),)
    comparison = compare(
        [measured(15, 1, hours=9, tasks=tasks)], [measured(35, 2, hours=9, tasks=tasks)]
    )
    for where, part in (("clock", "9"), ("task", "scaling")):
        each = found(comparison, "beyond", "neck_flexion_deg", where=where, part=part)
        assert each.verdict == "worse"


def test_hours_that_only_one_side_has_are_not_compared():
    comparison = compare([measured(15, 1, hours=9)], [measured(35, 2, hours=11)])
    assert {each.where for each in comparison.differences} == {"session"}


def scored(session, share_high, seed):
    frames = len(session.timeline)
    high = np.repeat(np.random.default_rng(seed).random(frames // 10) < share_high, 10)
    level = np.where(high, 4, 2)
    probability = np.zeros((frames, 4))
    probability[np.arange(frames), level - 1] = 1
    score = MethodScore("rula", "left", {}, {}, level, level, probability, LEVELS, ())
    return replace(session, scores=(score,))


def test_time_at_the_upper_levels_of_a_method_is_compared():
    comparison = compare([scored(measured(15, 1), 0.1, 1)], [scored(measured(15, 2), 0.6, 2)])
    each = found(comparison, "level", "rula")
    assert (each.rule, each.verdict) == ("left", "worse")
    assert each.after == pytest.approx(0.6, abs=0.1)


@pytest.mark.parametrize(("levels", "upper"), [(2, 0.8), (3, 0.8), (4, 0.5), (5, 0.65)])
def test_the_upper_levels_are_the_last_two_and_never_the_lowest(levels, upper):
    # of a tenth each: levels 1 to 5 take unequal shares, so that each wrong cut shows
    shares = {
        2: [0.2, 0.8],
        3: [0.2, 0.5, 0.3],
        4: [0.2, 0.3, 0.1, 0.4],
        5: [0.05, 0.2, 0.1, 0.25, 0.4],
    }[levels]
    session = measured(15, 1)
    frames = len(session.timeline)
    level = np.repeat(np.arange(levels) + 1, np.round(np.array(shares) * frames).astype(int))
    printed = tuple(Level(str(n), (n, n), "") for n in range(1, levels + 1))
    score = MethodScore(
        "rula", "right", {}, {}, level, level, np.eye(levels)[level - 1], printed, ()
    )
    pool = pooled([replace(session, scores=(score,))])
    found_share = level_share(pool, ("rula", "right"), whole(pool))
    assert found_share.value == pytest.approx(upper)


def test_holds_past_their_line_are_counted_per_hour():
    before, after = measured(15, 1, minutes=120), measured(15, 2, minutes=120)
    value = after.posture.value.copy()
    value[:, COLUMN["trunk_inclination_deg"]] = np.where(np.arange(7200) % 300 < 240, 45.0, 5.0)
    after = replace(after, posture=replace(after.posture, value=value))
    each = found(compare([before], [after]), "holds", "trunk_inclination_deg")
    assert each.before == 0
    assert each.after == pytest.approx(12)
    assert each.verdict == "worse"


def doubts(before, after):
    return {doubt.key for doubt in doubts_about([before], [after])}


def test_two_single_sessions_of_one_view_are_comparable_but_single():
    tasks = (TaskSpan(task="scaling"),)
    assert doubts(measured(15, 1, tasks=tasks), measured(15, 2, tasks=tasks)) == {"single_sessions"}


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ({"view_azimuth_deg": np.full(1200, -60.0)}, "other_view"),
        ({"view_azimuth_deg": np.full(1200, np.nan)}, "view_unknown"),
        ({"cameras": (replace(CAMERA, pitch_deg=-25.0),)}, "other_camera_level"),
        ({"cameras": (replace(CAMERA, roll_deg=8.0),)}, "other_camera_level"),
        ({"cameras": (replace(CAMERA, height_m=1.9),)}, "other_camera_height"),
        ({"cameras": (replace(CAMERA, focal_px=500.0),)}, "other_lens"),
        ({"notes": (Notes(tasks=(TaskSpan(task="filling"),)),)}, "other_tasks"),
        ({"notes": (Notes(),)}, "tasks_unknown"),
    ],
)
def test_what_speaks_against_comparing_is_said(change, key):
    tasks = (TaskSpan(task="scaling"),)
    assert key in doubts(measured(15, 1, tasks=tasks), measured(15, 2, tasks=tasks, **change))


def test_a_view_across_the_jump_from_180_to_minus_180_is_the_same():
    first = measured(15, 1, view_azimuth_deg=np.full(1200, 178.0))
    assert "other_view" not in doubts(first, replace(first, view_azimuth_deg=np.full(1200, -177.0)))


def test_another_view_makes_the_interval_wider():
    before, after = measured(25, 1, sd=6.0), measured(25, 2, sd=6.0)
    turned = replace(after, view_azimuth_deg=np.full(1200, 10.0))
    widths = []
    for other in (after, turned):
        each = found(compare([before], [other]), "beyond", "neck_flexion_deg", rule="iso11226")
        widths.append(each.change.high - each.change.low)
    assert widths[1] > 1.2 * widths[0]


def test_what_speaks_against_comparing_is_part_of_the_comparison():
    before, after = measured(15, 1), measured(15, 2, view_azimuth_deg=np.full(1200, -60.0))
    assert "other_view" in {doubt.key for doubt in compare([before], [after]).doubts}


def test_groups_are_as_uncertain_as_their_sessions_differ():
    alike = [measured(30, seed) for seed in range(4)]
    unlike = [measured(mean, seed) for seed, mean in enumerate([10, 45, 20, 40])]
    later = [measured(30, seed) for seed in range(4, 8)]
    widths = []
    for group in (alike, unlike):
        each = found(compare(group, later), "beyond", "neck_flexion_deg", rule="iso11226")
        widths.append(each.change.high - each.change.low)
    assert widths[1] > 3 * widths[0]


def test_nothing_to_compare_with_is_refused():
    with pytest.raises(InputError, match="at least one session"):
        compare([], [measured(10, 1)])


def residuals(values):
    return values - values.mean()


def assert_welch(first, second, spreads):
    change, p = difference(second.mean() - first.mean(), *spreads, 0.0)
    welch = ttest_ind(second, first, equal_var=False)
    interval = welch.confidence_interval(0.95)
    assert (change.low, change.high) == pytest.approx((interval.low, interval.high))
    assert p == pytest.approx(welch.pvalue)


def test_of_sessions_and_of_pictures_the_interval_is_that_of_welch():
    """Against scipy: of equal sessions, or of pictures, the ratio is a mean."""
    chance = np.random.default_rng(8)
    first, second = chance.normal(0.4, 0.1, 15), chance.normal(0.55, 0.2, 12)
    of_sessions = [
        spread_of_sessions(
            np.repeat(residuals(x), 10) / 10, np.repeat(np.arange(len(x)), 10), len(x)
        )
        for x in (first, second)
    ]
    assert_welch(first, second, of_sessions)
    of_pictures = [spread_of_pictures(residuals(x), len(x)) for x in (first, second)]
    assert_welch(first, second, of_pictures)


def test_of_cells_without_memory_the_variance_is_that_of_independent_values():
    chance, ratios, pieces, freedoms = np.random.default_rng(8), [], [], []
    for _ in range(40):
        values = chance.normal(0, 1, 400)
        run = long_run(residuals(values))
        ratios.append(run.variance / 400)
        freedoms.append(run.freedom)
        pieces.append(run.effective)
    assert np.median(pieces) == pytest.approx(400, rel=0.4)
    assert np.median(freedoms) > 12
    assert np.median(ratios) == pytest.approx(1, rel=0.35)  # a little too wide


@pytest.mark.parametrize("tau_s", [30.0, 90.0])
def test_of_kept_postures_the_variance_is_that_of_theory(tau_s):
    """Correlation exp(-t/tau): var of a sum of T is about 2 tau T (Priestley 1981; memory)."""
    chance, seconds, ratios = np.random.default_rng(9), 7200, []
    for _ in range(30):
        stay = np.searchsorted(np.cumsum(chance.exponential(tau_s, seconds)), np.arange(seconds))
        angle = chance.normal(0, 1, stay.max() + 1)[stay]
        run = long_run(residuals(angle.reshape(-1, 5).mean(axis=1)))
        ratios.append(run.variance * 25 / (2 * tau_s * seconds))
    assert np.exp(np.mean(np.log(ratios))) == pytest.approx(1, rel=0.35)


def test_the_times_between_judged_pieces_do_not_count_as_pieces():
    """Half of a recording not seen: the same pieces, half as many."""
    chance = np.random.default_rng(3)
    values = residuals(chance.normal(0, 1, 200))
    cells = np.arange(200)
    apart = spread_of_recording(values, 2 * cells, 200.0, 1000.0, 0.1)
    assert apart == spread_of_recording(values, cells, 200.0, 1000.0, 0.1)


def test_too_few_pictures_or_cells_give_no_interval():
    assert spread_of_pictures(np.zeros(4), 4.0) == NOTHING
    spread = spread_of_recording(np.array([-1.0, 1.0]), np.arange(2), 2.0, 10.0, 0.1)
    assert spread.freedom == 0
    assert spread.effective < LEAST_EFFECTIVE
    assert np.isnan(difference(0.5, spread, spread, 0.0)[1])


def test_holm_gives_the_adjusted_values_of_the_textbook_steps():
    # worked by hand: sorted .005 .01 .03 .04 times 4 3 2 1, then never falling
    raised = holm(np.array([0.01, 0.04, np.nan, 0.03, 0.005]))
    assert raised == pytest.approx([0.03, 0.06, np.nan, 0.06, 0.02], nan_ok=True)


@given(st.lists(st.floats(0, 1), min_size=1, max_size=20))
def test_holm_never_lowers_a_probability(probabilities):
    assert np.all(holm(np.array(probabilities)) >= probabilities)


def test_errors_shared_by_both_recordings_cancel():
    moved = 0.1 * COMMON_ERRORS
    assert measuring_variance(moved, moved, 1.0) == pytest.approx(0)
    apart = measuring_variance(moved, moved, 0.0)
    assert apart == pytest.approx(2 * 0.1**2 * np.var(COMMON_ERRORS), rel=0.1)


def test_cells_rise_within_a_clip_and_from_source_to_source():
    timeline = build_timeline(
        ("a", "b", "c"), (np.arange(12.0), np.arange(12.0), np.zeros(1)), (True, True, False)
    )
    cells = cells_of(timeline).tolist()
    assert cells == [0] * 5 + [1] * 5 + [2] * 2 + [3] * 5 + [4] * 5 + [5] * 2 + [6]
