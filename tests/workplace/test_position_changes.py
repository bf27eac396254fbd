import numpy as np
import pytest

from ergo.workplace.position_changes import moves


def test_a_change_of_place_is_told_when_it_was_taken_and_between_which_hours():
    time_s = np.arange(0, 40, 0.2)
    hours = np.where(time_s < 20, 11.0, 9.0) + 0.1 * np.sin(time_s)
    (move,) = moves(time_s, hours)
    assert move.time_s == pytest.approx(20.0)
    assert (move.from_hours, move.to_hours) == pytest.approx((11.0, 9.0), abs=0.1)


def test_round_twelve_nobody_moves_and_a_short_visit_is_none():
    time_s = np.arange(0, 40, 0.2)
    round_twelve = np.where(np.sin(time_s) > 0, 12.2, 11.8)
    assert moves(time_s, round_twelve) == ()
    visit = np.where((time_s > 10) & (time_s < 12), 9.0, 12.0)
    assert moves(time_s, visit) == ()


def test_what_was_not_judged_is_left_out():
    time_s = np.arange(0, 40, 0.2)
    hours = np.where(time_s < 20, 12.9, 3.0)
    hours[50:60] = np.nan
    (move,) = moves(time_s, hours)
    assert (move.from_hours, move.to_hours) == pytest.approx((12.9, 3.0))
    assert moves(time_s, np.full(len(time_s), np.nan)) == ()


@pytest.mark.parametrize(("stay_s", "count"), [(3.0, 2), (2.75, 0)])
def test_a_place_kept_for_exactly_three_seconds_is_a_place(stay_s, count):
    time_s = np.arange(0, 30, 0.25)
    hours = np.where((time_s >= 10) & (time_s <= 10 + stay_s), 9.0, 12.0)
    found = moves(time_s, hours)
    assert len(found) == count
    if count:
        assert [(each.from_hours, each.to_hours) for each in found] == [
            pytest.approx((12.0, 9.0)),
            pytest.approx((9.0, 12.0)),
        ]
        assert [each.time_s for each in found] == [10.0, 10.25 + stay_s]
