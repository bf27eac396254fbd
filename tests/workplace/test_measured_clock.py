import numpy as np
import pytest

from ergo.camera.camera import Camera
from ergo.camera.chair import Chair
from ergo.notes.notes import ClockSpan, Notes
from ergo.workplace.clock import zone_of
from ergo.workplace.measured_clock import clock_hours, on_patients_plan, shortest_arc_deg, turn_deg
from ergo.workplace.place_track import MEASURES, PlaceTrack
from ergo.workplace.places import clock_of
from ergo.workplace.position_changes import moves
from ergo.workplace.sampled_rooms import rooms_of_set_up
from tests.posture.bodies import clip_timeline


def chair(turn_deg, head=(0.0, 0.0, 0.85)):
    return Chair(np.array(head), turn_deg, 0.0, 1.8, 0.5, 0.1, 0.1, 0.0, (0.9, 0.0))


@pytest.mark.parametrize(
    ("seat", "hours"),  # worked by hand from the written convention
    [((0, 1), 12), ((1, 0), 3), ((0, -1), 6), ((-1, 0), 9), ((-1, 1), 10.5), ((1, 1), 1.5)],
)
def test_hours_follow_the_written_convention(seat, hours):
    assert clock_hours(np.array(seat, dtype=float)) == pytest.approx(hours)


@pytest.mark.parametrize(
    ("turn_deg", "seat", "hours"),
    [
        # feet straight ahead of the camera: who is nearest to the camera sits at 12,
        # who is to the right in the picture sits at the lying patient's right
        (0, (0.0, -0.5), 12),
        (0, (0.5, 0.0), 9),
        # feet to the right in the picture: 12 is to the left, the far side is 3
        (90, (-0.5, 0.0), 12),
        (90, (0.0, 0.5), 3),
        (90, (0.0, -0.5), 9),
    ],
)
def test_places_in_the_room_become_hours_round_the_patient(turn_deg, seat, hours):
    camera = Camera(640, 480, 500.0, (320.0, 240.0), height_m=1.5)
    rooms = rooms_of_set_up([(camera, chair(turn_deg, head=(1.0, 2.5, 0.9)))])
    at = np.array([[[1.0, 2.5]]]) + np.array([seat])
    assert clock_hours(on_patients_plan(at, rooms)) == pytest.approx(np.array([[hours]]))


def test_the_same_place_is_another_zone_for_a_left_handed_operator():
    assert (zone_of(10.5, "right"), zone_of(10.5, "left")) == ("operator", "static")


def test_a_turn_to_the_left_is_positive():
    ahead, left = np.array([0.0, 1.0]), np.array([-1.0, 0.0])
    assert turn_deg(ahead, left) == pytest.approx(90)


def place_track(hours, origin):
    frames = len(hours)
    plane = np.zeros((frames, 2))
    hours = np.asarray(hours, dtype=float)
    measured = {name: np.zeros(frames) for name in MEASURES}
    return PlaceTrack(
        plane, plane, plane, plane, hours, np.where(np.isfinite(hours), 0.4, np.nan),
        measured, measured, np.full(frames, np.nan), (origin,), (False,), (None,), (None,),
    )  # fmt: skip


def stated(hours):
    return Notes(handed="right", clock=(ClockSpan(hours=hours),))


def test_a_position_measured_with_a_set_up_goes_before_a_stated_one():
    clock = clock_of(
        clip_timeline(np.arange(3) / 5), [stated(9)], place_track([11, 11, 11], "set-up")
    )
    assert clock.hours.tolist() == [11, 11, 11]
    assert clock.origin == "set-up"


def test_a_stated_position_goes_before_one_measured_without_a_set_up():
    clock = clock_of(
        clip_timeline(np.arange(3) / 5), [stated(9)], place_track([11, 11, 11], "automatic")
    )
    assert clock.hours.tolist() == [9, 9, 9]
    assert clock.origin == "notes"


def test_where_measuring_failed_the_stated_position_fills_in_and_both_are_named():
    clock = clock_of(
        clip_timeline(np.arange(3) / 5), [stated(9)], place_track([11, np.nan, 11], "set-up")
    )
    assert clock.hours.tolist() == [11, 9, 11]
    assert clock.origin == "mixed"


def test_nothing_known_is_not_judged():
    clock = clock_of(
        clip_timeline(np.arange(2) / 5), [Notes()], place_track([np.nan, np.nan], "not judged")
    )
    assert clock.origin == "not judged"
    assert set(clock.zones) == {"not judged"}


def test_moves_are_told_with_their_times_and_passing_by_is_no_stay():
    hours = np.repeat([9.0, 10.2, 12.0, 9.1], [50, 4, 50, 50])
    found = moves(np.arange(len(hours)) / 5, hours)
    assert [(round(m.from_hours, 1), round(m.to_hours, 1)) for m in found] == [(9, 12), (12, 9.1)]
    assert [m.time_s for m in found] == pytest.approx([10.8, 20.8])


def test_a_move_across_twelve_is_a_small_one():
    hours = np.repeat([12.8, 1.2], [30, 30])
    assert moves(np.arange(60) / 5, hours) == ()


def test_an_unlikely_other_reading_lies_outside_the_stated_interval():
    near, far = np.random.default_rng(0).normal(355, 10, 920), np.full(80, 170.0)
    bearing = np.concatenate([near % 360, far])[:, None]
    centre, half = shortest_arc_deg(bearing, np.full(bearing.shape, 1e-3))
    # 90 of 92 % of a normal distribution lie within 2.28 sd of its middle
    assert half[0] == pytest.approx(22.8, abs=4)
    assert (centre[0] - 355 + 180) % 360 - 180 == pytest.approx(0, abs=4)


def test_a_likely_other_reading_widens_the_interval_to_both():
    bearing = np.repeat([100.0, 220.0], [80, 20])[:, None]
    _, half = shortest_arc_deg(bearing, np.full(bearing.shape, 0.01))
    assert half[0] == pytest.approx(60, abs=4)
