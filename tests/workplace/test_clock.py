import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ergo.notes.notes import ClockSpan, Notes
from ergo.workplace.clock import (
    bearing_deg,
    clock_from_notes,
    hours_from_bearing,
    is_operator_seat,
    zone_of,
)
from tests.posture.bodies import clip_timeline

# typed from the teaching texts; right-handed:
# operator 7-12, static 12-2, assistant 2-4, transfer 4-7
RIGHT = {
    7.5: "operator",
    9: "operator",
    11.9: "operator",
    12.5: "static",
    1: "static",
    1.9: "static",
    2.1: "assistant",
    3.9: "assistant",
    4.1: "transfer",
    6.9: "transfer",
}
# left-handed operator 12-5, static 10-12, assistant 8-10, transfer 5-8
LEFT = {
    12.1: "operator",
    3: "operator",
    4.9: "operator",
    10.1: "static",
    11.9: "static",
    8.1: "assistant",
    9.9: "assistant",
    5.1: "transfer",
    7.9: "transfer",
}


@pytest.mark.parametrize(("hours", "zone"), RIGHT.items())
def test_right_handed_zones_are_those_taught(hours, zone):
    assert zone_of(hours, "right") == zone


@pytest.mark.parametrize(("hours", "zone"), LEFT.items())
def test_left_handed_zones_are_those_taught(hours, zone):
    assert zone_of(hours, "left") == zone


@given(st.floats(0, 360, exclude_max=True))
def test_left_handed_zones_are_the_right_handed_ones_mirrored(bearing):
    hours, mirrored = hours_from_bearing(np.array([bearing, -bearing]))
    assert zone_of(hours, "right") == zone_of(mirrored, "left")


@pytest.mark.parametrize(
    ("hours", "right", "left"),
    [
        (12, "operator", "operator"),
        (2, "static", "operator"),
        (7, "operator", "transfer"),
        (10, "operator", "static"),
    ],
)
def test_a_border_belongs_to_the_zone_named_first(hours, right, left):
    assert zone_of(hours, "right") == right
    assert zone_of(hours, "left") == left


def test_unknown_handedness_or_place_is_not_judged():
    assert zone_of(9, None) == "not judged"
    assert zone_of(float("nan"), "right") == "not judged"


@pytest.mark.parametrize(("hours", "bearing"), [(12, 0), (12.5, 15), (3, 90), (6, 180), (9, 270)])
def test_bearings_run_clockwise_from_behind_the_head(hours, bearing):
    assert bearing_deg(np.array([hours])) == pytest.approx(bearing)
    assert hours_from_bearing(np.array([bearing])) == pytest.approx(hours)


@given(st.floats(-1e4, 1e4))
def test_hours_of_any_bearing_lie_on_the_dial(bearing):
    (hours,) = hours_from_bearing(np.array([bearing]))
    assert 1 <= hours < 13
    turned = np.mod(bearing_deg(np.array([hours])) - bearing + 180, 360) - 180
    assert turned == pytest.approx(0, abs=1e-6)


def test_half_past_twelve_is_a_seat_for_right_and_left_handers():
    assert is_operator_seat(12.5, "right")
    assert is_operator_seat(11.5, "left")
    assert not is_operator_seat(3, "right")
    assert not is_operator_seat(9, None)


def test_spans_of_the_notes_become_positions_and_the_rest_is_not_judged():
    timeline = clip_timeline(np.arange(10.0), np.arange(10.0))
    notes = (
        Notes(handed="right", clock=(ClockSpan(to_s=3, hours=9), ClockSpan(from_s=6, hours=12.5))),
        Notes(clock=(ClockSpan(hours=10),)),
    )
    track = clock_from_notes(timeline, notes)
    assert track.hours[:4].tolist() == [9] * 4
    assert np.isnan(track.hours[4:6]).all()
    assert np.isnan(track.sd_hours[4:6]).all()
    assert track.hours[6:10].tolist() == [12.5] * 4
    assert (track.sd_hours[:4] > 0).all()
    assert track.zones[:4] == ("operator",) * 4
    assert track.zones[4] == "not judged"
    assert track.zones[6] == "static"
    assert set(track.zones[10:]) == {"not judged"}  # nobody said which hand
    assert track.origin == "notes"


def test_without_notes_no_position_is_judged():
    track = clock_from_notes(clip_timeline(np.arange(5.0)), (Notes(),))
    assert track.origin == "not judged"
    assert np.isnan(track.hours).all()
