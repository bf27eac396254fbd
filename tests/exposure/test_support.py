"""What the notes state of support and of leaning backward reaches every figure alike."""

import numpy as np
import pytest

from ergo.advice.advise import advise
from ergo.exposure.assessed import assessed
from ergo.exposure.limits import limit_set
from ergo.exposure.microbreaks import break_plan
from ergo.exposure.summary import exposure_of
from ergo.exposure.variation import variation_of
from ergo.notes.notes import ExcludedSpan, Notes, SupportSpan
from ergo.posture.angle_names import NAMES
from ergo.scores.methods import score_all


def every_fifth(seconds):
    return np.arange(0, seconds, 0.2)


def leaning(clip, flexion_deg, seconds=200, **rest):
    """Return a clip of a trunk held still, its plain inclination as of a leaning neutral."""
    angles = {
        "trunk_flexion_deg": flexion_deg,
        "trunk_side_bend_deg": 0.0,
        "trunk_inclination_deg": abs(flexion_deg + 4.0),
        "neck_flexion_deg": 6.0,
    }
    return clip(every_fifth(seconds), **{"sd": 2.0, **angles, **rest})


def supported(**parts):
    return [Notes(support=(SupportSpan(from_s=0, **parts),))]


def holds_of(session, angle):
    return [hold for hold in session.exposure().holds if hold.angle.name == angle]


def advice_of(session):
    exposure = session.exposure()
    return advise(session.timeline, session.posture, session.clock, session.notes, exposure)


def test_a_supported_trunk_is_within_its_line_in_holds_breaks_facts_and_advice(clip):
    free = leaning(clip, 40.0)
    assert [hold.is_beyond_line for hold in holds_of(free, "trunk_inclination_deg")] == [True]
    assert break_plan(free.exposure().holds).breaks
    assert {fact.key for fact in free.exposure().first_three} == {"beyond_limit"}
    assert advice_of(free).given

    carried = leaning(clip, 40.0, notes=supported(trunk=True))
    (hold,) = holds_of(carried, "trunk_inclination_deg")
    assert (hold.strain, hold.limit_s, hold.is_beyond_line) == (0, np.inf, False)
    assert hold.beyond_probability == pytest.approx(0)
    exposure = carried.exposure()
    assert not break_plan(exposure.holds).breaks
    assert {fact.key for fact in exposure.first_three} == {"nothing_beyond"}
    assert advice_of(carried).given == ()
    assert exposure.worst_moments == ()


def test_a_supported_trunk_beyond_60_is_beyond_all_the_same(clip):
    carried = leaning(clip, 70.0, notes=supported(trunk=True))
    (hold,) = holds_of(carried, "trunk_inclination_deg")
    assert (hold.strain, hold.limit_s, hold.is_beyond_line) == (2, 0, True)


@pytest.mark.parametrize(("side", "other"), [("left", "right"), ("right", "left")])
def test_support_of_one_arm_is_not_that_of_the_other(side, other, clip, limits_in):
    elevation = {f"upper_arm_elevation_deg_{each}": 45.0 for each in ("left", "right")}
    sideways = {f"shoulder_abduction_deg_{each}": 42.0 for each in ("left", "right")}
    session = leaning(clip, 2.0, notes=supported(**{f"arm_{side}": True}), **elevation, **sideways)
    exposure = session.exposure()
    for each, is_beyond in ((side, False), (other, True)):
        (hold,) = holds_of(session, f"upper_arm_elevation_deg_{each}")
        assert hold.is_beyond_line is is_beyond
        shares = limits_in(exposure, "dental_sitting", f"shoulder_abduction_deg_{each}")
        assert shares.beyond.share == float(is_beyond)
        iso = limits_in(exposure, "iso11226", f"upper_arm_elevation_deg_{each}")
        assert [share.share for share in iso.held] == [not is_beyond, is_beyond, 0]


def test_support_for_a_part_of_the_time_ends_a_hold_and_counts_for_that_part(clip, limits_in):
    notes = [Notes(support=(SupportSpan(from_s=60, trunk=True),))]
    session = leaning(clip, 40.0, seconds=240, notes=notes)
    first, second = holds_of(session, "trunk_inclination_deg")
    assert (first.length_s, first.limit_s) == (pytest.approx(60, abs=0.5), pytest.approx(150))
    assert (second.length_s, second.limit_s) == (pytest.approx(180, abs=0.5), np.inf)
    shares = limits_in(session.exposure(), "iso11226", "trunk_inclination_deg")
    assert [each.share for each in shares.held] == pytest.approx([0, 0.75, 0.25, 0], abs=0.002)
    beyond = limits_in(session.exposure(), "dental_sitting", "trunk_flexion_deg").beyond
    assert (beyond.low, beyond.share, beyond.high) == pytest.approx((0.25,) * 3, abs=0.002)


def test_variation_knows_support(clip):
    session = leaning(clip, 40.0, notes=supported(trunk=True))
    counted = assessed(session.timeline, session.posture, session.notes)
    limits = limit_set("iso11226", "trunk_inclination_deg")
    share = variation_of(session.timeline, counted, limits).share
    assert share[1].sum() == pytest.approx(1)


def test_a_head_on_a_supported_trunk_may_be_inclined_up_to_85(clip):
    head = {"head_inclination_deg": 70.0}
    (free,) = holds_of(leaning(clip, 30.0, **head), "head_inclination_deg")
    notes = supported(trunk=True)
    (carried,) = holds_of(leaning(clip, 30.0, notes=notes, **head), "head_inclination_deg")
    assert free.limit_s == pytest.approx(165)  # on the straight line from 8:00 at 25 to 1:00 at 85
    assert carried.limit_s == np.inf


def test_a_reclined_trunk_has_no_time_and_is_not_measured_by_the_forward_line(clip, limits_in):
    session = leaning(clip, -30.0)
    (hold,) = holds_of(session, "trunk_inclination_deg")
    assert hold.mean == pytest.approx(-30)
    assert (hold.limit_s, hold.is_beyond_line, hold.strain) == (0, True, 1)
    shares = limits_in(session.exposure(), "iso11226", "trunk_inclination_deg")
    assert [band.name for band in shares.limits.bands][0] == "backward"
    assert [each.share for each in shares.held] == [1, 0, 0, 0]
    (carried,) = holds_of(
        leaning(clip, -30.0, notes=supported(trunk=True)), "trunk_inclination_deg"
    )
    assert (carried.limit_s, carried.strain) == (np.inf, 0)


def test_a_head_held_back_has_no_time(clip):
    (hold,) = holds_of(leaning(clip, 5.0, head_inclination_deg=-20.0), "head_inclination_deg")
    assert (hold.limit_s, hold.is_beyond_line) == (0, True)
    assert hold.beyond_probability == pytest.approx(1)


def test_a_lean_that_cannot_be_told_from_upright_has_all_the_time(clip):
    for flexion_deg in (-1.5, 1.5):
        (hold,) = holds_of(leaning(clip, flexion_deg), "trunk_inclination_deg")
        assert (hold.limit_s, hold.is_beyond_line, hold.strain) == (np.inf, False, 0)
        assert hold.beyond_probability < 0.2


def test_a_trunk_is_held_against_its_reference_line_not_against_the_vertical(clip):
    (hold,) = holds_of(leaning(clip, 40.0, seconds=30), "trunk_inclination_deg")
    assert hold.mean == pytest.approx(40)  # the vertical would give 44
    assert hold.limit_s == pytest.approx(150)


def test_what_is_excluded_is_not_counted(clip):
    notes = [Notes(excluded=(ExcludedSpan(from_s=0, to_s=50),))]
    session = leaning(clip, 40.0, notes=notes)
    counted = assessed(session.timeline, session.posture, session.notes)
    seen = np.isfinite(counted.angle("trunk_inclination_deg"))
    np.testing.assert_array_equal(seen, session.timeline.time_s >= 50)


def test_an_arm_held_forward_is_not_out_sideways_in_the_shares_either(clip, limits_in):
    arm = {"shoulder_flexion_deg_left": 89.0, "shoulder_abduction_deg_left": 71.6}
    session = clip(every_fifth(30), sd=2.0, **arm)
    name = ("dental_sitting", "shoulder_abduction_deg_left")
    assert limits_in(session.exposure(), *name).beyond.share == 0
    by_projection = exposure_of(
        session.timeline,
        session.posture,
        session.clock,
        (),
        session.notes,
        {"abduction_by": "projection"},
    )
    assert limits_in(by_projection, *name).beyond.share == 1


def test_what_decides_a_verdict_is_told_by_name_and_length(clip):
    # neck turned for 30 s, trunk twisted for the last 10 s of them; nothing else is beyond
    time_s = every_fifth(50)
    angles = dict.fromkeys(NAMES, 0.0) | {"neck_flexion_deg": 6.0, "trunk_flexion_deg": 3.0}
    angles["head_inclination_deg"] = np.where(time_s < 40, 5.0, 40.0)
    angles["neck_rotation_deg"] = np.where(time_s < 30, -18.0, 2.0)
    angles["trunk_twist_deg"] = np.where((time_s >= 20) & (time_s < 30), 14.0, 1.0)
    session = clip(
        time_s, sd=0.01, notes=[Notes(excluded=(ExcludedSpan(from_s=0, to_s=5),))], **angles
    )
    scores = score_all(session.timeline, session.posture, session.notes, {})
    found = {(each.method, each.side): each for each in session.exposure(scores).scores}
    whole = found["iso11226", "whole"]
    told = [
        [(each.name, round(each.held.amount)) for each in of_level] for of_level in whole.decided_by
    ]
    assert told == [[], [("head_inclination", 10)], [("neck_rotation", 25), ("trunk_twist", 10)]]
    assert found["rula", "left"].decided_by == ()


def test_one_raised_shoulder_decides_for_its_arm_alone(clip):
    angles = dict.fromkeys(NAMES, 0.0) | {"shoulder_raise_mm_right": 40.0}
    session = clip(every_fifth(10), **angles)
    scores = score_all(session.timeline, session.posture, session.notes, {})
    found = {(each.method, each.side): each for each in session.exposure(scores).scores}
    (decider,) = found["iso11226", "right"].decided_by[2]
    assert (decider.name, decider.held.share) == ("raised_shoulder", pytest.approx(1))
    assert not any(found["iso11226", "left"].decided_by)


def test_percentiles_speak_of_the_same_angles_as_the_limits(clip):
    arm = {"shoulder_flexion_deg_right": 89.0, "shoulder_abduction_deg_right": 71.6}
    session = leaning(clip, -30.0, seconds=30, **arm)
    found = {each.angle.name: each.p50.value for each in session.exposure().percentiles}
    assert found["shoulder_abduction_deg_right"] == pytest.approx(3.0, abs=0.1)
    assert found["trunk_inclination_deg"] == pytest.approx(30)  # unsigned, from the reference
