from itertools import combinations
from math import inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ergo.exposure.exposure import HoldRecord
from ergo.exposure.microbreaks import BREAK_S, break_plan
from ergo.posture.angle_names import ANGLES


def hold(start_s, length_s, limit_s, source="clip.mp4"):
    return HoldRecord(
        angle=ANGLES[0],
        source=source,
        start_s=start_s,
        length_s=length_s,
        mean=40.0,
        sd=1.0,
        strain=1,
        limit_s=limit_s,
        is_beyond_line=None if limit_s is None else length_s > limit_s,
        beyond_probability=nan,
        clock_hour=None,
        task=None,
        rest_after_s=nan,
    )


def test_a_hold_twice_as_long_as_its_line_needs_one_break():
    plan = break_plan([hold(10, 300, 150)])
    assert [each.at_s for each in plan.breaks] == [160]
    assert [each.length_s for each in plan.stretches] == [150, 150]
    assert [each.start_s for each in plan.stretches] == [10, 160 + BREAK_S]


def test_the_rest_is_given_by_both_readings_of_the_standard():
    # a trunk held for 4 min at 20 degrees: 12 min upright, or as long as the hold
    (only,) = break_plan([hold(0, 300, 240)]).breaks
    assert only.rest_s == (240, 720)


def test_one_break_serves_all_holds_that_go_on():
    plan = break_plan([hold(0, 200, 150), hold(50, 200, 180)])
    assert [each.at_s for each in plan.breaks] == [150]


def test_work_within_the_lines_needs_no_break():
    plan = break_plan([hold(0, 150, 150), hold(200, 3000, inf), hold(300, 99, None)])
    assert plan.breaks == ()
    assert [each.length_s for each in plan.stretches] == [150, 3000]


def test_breaks_do_not_help_a_posture_that_is_not_recommended_at_all():
    plan = break_plan([hold(0, 20, 0.0)])
    assert plan.breaks == ()
    assert len(plan.not_by_breaks) == 1


def test_each_clip_is_planned_for_itself():
    plan = break_plan([hold(0, 200, 150), hold(0, 200, 150, "other.mp4")])
    assert [each.source for each in plan.breaks] == ["clip.mp4", "other.mp4"]


SOME_HOLDS = st.lists(
    st.builds(hold, st.integers(0, 12), st.integers(5, 14), st.integers(3, 9)),
    min_size=1,
    max_size=4,
)


@given(SOME_HOLDS)
def test_no_hold_of_the_plan_passes_its_line_and_no_time_is_lost(holds):
    plan = break_plan(holds)
    assert all(each.length_s <= each.hold.limit_s for each in plan.stretches)
    for each in holds:
        parts = [part.length_s for part in plan.stretches if part.hold == each]
        copies = sum(other == each for other in holds)
        assert sum(parts) == pytest.approx(copies * each.length_s)


@given(SOME_HOLDS)
def test_no_plan_has_fewer_breaks(holds):
    def suffices(breaks):
        for each in holds:
            end_s = each.start_s + each.length_s
            cuts = [each.start_s, *(b for b in breaks if each.start_s < b < end_s), end_s]
            if any(b - a > each.limit_s for a, b in zip(cuts, cuts[1:], strict=False)):
                return False
        return True

    fewest = len(break_plan(holds).breaks)
    seconds = range(1, max(int(each.start_s + each.length_s) for each in holds))
    assert not any(suffices(tried) for tried in combinations(seconds, max(fewest - 1, 0))) or (
        fewest == 0
    )
