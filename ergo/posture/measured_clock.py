"""The clock position and the distances to the patient, measured from pictures and set-up.

The uncertainty of everything (camera, patient, body size, seat height, landmarks) is
carried through by drawing it :data:`DRAWS` times; what is reported is the middle and
the spread of the draws.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ergo.arrays import BoolArray, FloatArray
from ergo.landmarks.pose_track import PoseTrack
from ergo.posture.clock import bearing_deg, hours_from_bearing
from ergo.posture.geometry import wrapped_deg
from ergo.posture.place_track import MEASURES
from ergo.posture.seat import SeatErrors, SeenPerson, seat_m, seen_person
from ergo.room.camera import Camera
from ergo.room.chair import Chair
from ergo.timeline import Timeline

DRAWS = 40
WIDEST_SD_HOURS = 1.5
"""Above this standard deviation the clock position is not judged (ours). [h]"""
REACH_M, REACH_SD_M, ELSEWHERE = 0.53, 0.14, 0.02
"""Hips of a seated operator from the patient's head while working, and how much of the belief
is left for any other distance (arm's reach; 0.43-0.74 m in our training scenes; ours). [m]"""
MOUTH_ABOVE_HEAD_M, MOUTH_TO_FEET_M = 0.065, 0.07
"""The mouth of a lying patient from the middle of the head (training scenes; ours)."""


@dataclass(frozen=True, slots=True, eq=False)
class RoomDraw:
    """One of many equally likely rooms.

    Attributes
    ----------
    camera : Camera
        Its height is known.
    chair : Chair
    errors : SeatErrors
        Of the operator's seat in this room.
    """

    camera: Camera
    chair: Chair
    errors: SeatErrors


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """Places of one source, middle and spread over the draws.

    Attributes
    ----------
    seat_m, seat_sd_m : array (frame, xy)
        On the patient's plan. [m]
    hours, sd_hours : array (frame,)
        NaN where not judged. [h]
    measured, measured_sd : dict of str to array (frame,)
        By the names of ``MEASURES``.
    """

    seat_m: FloatArray
    seat_sd_m: FloatArray
    hours: FloatArray
    sd_hours: FloatArray
    measured: dict[str, FloatArray]
    measured_sd: dict[str, FloatArray]


def placed_operator(
    timeline: Timeline,
    track: PoseTrack,
    camera: Camera,
    draws: Sequence[RoomDraw],
    height_cm: float | None = None,
) -> Placed:
    """Return where a person sat in one source.

    Parameters
    ----------
    timeline : Timeline
        Of this source alone.
    track : PoseTrack
        Of this source alone.
    camera : Camera
        Best guess; landmarks are placed with it.
    draws : sequence of RoomDraw
    height_cm : float, optional
        Body height, where stated. [cm]
    """
    person = seen_person(timeline, track, camera, height_cm)
    each = [_one_draw(person, room) for room in draws]
    seat = np.stack([one[0] for one in each])
    measured = np.stack([one[1] for one in each])
    weight = _weight(seat)
    hours, sd_hours = _clock(seat, weight)
    at, at_sd = _middle_and_spread(seat, weight, np.array([False, False]))
    middle, spread = _middle_and_spread(measured, weight, _TURNS)
    return Placed(
        seat_m=_where(hours, at),
        seat_sd_m=_where(hours, at_sd),
        hours=hours,
        sd_hours=sd_hours,
        measured=dict(zip(MEASURES, middle.T, strict=True)),
        measured_sd=dict(zip(MEASURES, spread.T, strict=True)),
    )


def _where(hours: FloatArray, value: FloatArray) -> FloatArray:
    return np.where(np.isfinite(hours)[:, None], value, np.nan)


def clock_hours(seat: FloatArray) -> FloatArray:
    """Return the clock position of places on the patient's plan.

    Parameters
    ----------
    seat : array (..., xy)
        x to the patient's left, y towards 12 o'clock, from the head's middle. [m]

    Returns
    -------
    array (...,)
        1 <= hours < 13. [h]
    """
    return hours_from_bearing(np.degrees(np.arctan2(seat[..., 0], seat[..., 1])))


def on_patients_plan(points: FloatArray, chair: Chair) -> FloatArray:
    """Return places of the camera's plan, array (..., xy), on the patient's plan [m]."""
    away = points - chair.head_m[:2]
    x, y = -chair.feet_direction  # towards 12 o'clock
    return np.stack([away @ np.array([y, -x]), away @ np.array([x, y])], axis=-1)


def seat_errors(count: int) -> list[SeatErrors]:
    """Return draws of what is uncertain about a seat, the same every time."""
    numbers = np.random.default_rng(1).standard_normal((count, 4))
    return [SeatErrors(*row) for row in numbers.tolist()]


def _one_draw(person: SeenPerson, room: RoomDraw) -> tuple[FloatArray, FloatArray]:
    """Return the seat (frame, xy) on the patient's plan and the measures (frame, measure)."""
    chair = room.chair
    seat, hip_height, size = seat_m(person, room.camera, room.errors)
    to_head = chair.head_m[:2] - seat
    hips = np.concatenate([seat, np.full((len(seat), 1), hip_height)], axis=1)
    mouth = chair.head_m + np.array([*(chair.feet_direction * MOUTH_TO_FEET_M), MOUTH_ABOVE_HEAD_M])
    eyes, elbow = hips + person.eyes_m * size, hips + person.elbow_m * size
    measures = (
        turn_deg(to_head, person.trunk_forward),
        turn_deg(to_head, person.head_forward),
        np.linalg.norm(eyes - mouth, axis=-1),
        mouth[2] - elbow[:, 2],
    )
    return on_patients_plan(seat, chair), np.stack(measures, axis=-1)


def turn_deg(base: FloatArray, other: FloatArray) -> FloatArray:
    """Return by how much ``other`` is turned from ``base``, both (frame, xy) on a plan.

    + = to the left, counter-clockwise seen from above, -180 < turn <= 180. [deg]
    """
    across = base[..., 0] * other[..., 1] - base[..., 1] * other[..., 0]
    turn: FloatArray = np.degrees(np.arctan2(across, np.sum(base * other, axis=-1)))
    return turn


def _weight(seat: FloatArray) -> FloatArray:
    """Return how likely each draw is, array (draw, frame), summing to 1 over the draws."""
    off = (np.linalg.norm(seat, axis=-1) - REACH_M) / REACH_SD_M
    likely = np.exp(-0.5 * off**2) + ELSEWHERE
    weight: FloatArray = likely / likely.sum(axis=0)
    return weight


def _clock(seat: FloatArray, weight: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return hours and their sd, each array (frame,), from draws (draw, frame, xy)."""
    bearing = np.radians(bearing_deg(clock_hours(seat)))
    across, along = (weight * np.sin(bearing)).sum(axis=0), (weight * np.cos(bearing)).sum(axis=0)
    middle = np.degrees(np.arctan2(across, along))
    off = wrapped_deg(np.degrees(bearing) - middle)
    sd = np.sqrt((weight * off**2).sum(axis=0)) / 30.0
    is_judged = sd <= WIDEST_SD_HOURS  # False where NaN
    hours = np.where(is_judged, hours_from_bearing(middle), np.nan)
    return hours, np.where(is_judged, sd, np.nan)


_TURNS = np.array([name.endswith("_deg") for name in MEASURES])


def _middle_and_spread(
    drawn: FloatArray, weight: FloatArray, is_turn: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Return middle and sd over draws (draw, frame, measure); turns do not jump at 180."""
    away = drawn - drawn[:1]
    away[..., is_turn] = wrapped_deg(away[..., is_turn])
    shift = (weight[..., None] * away).sum(axis=0)
    spread = np.sqrt((weight[..., None] * (away - shift) ** 2).sum(axis=0))
    middle = drawn[0] + shift
    return np.where(is_turn, wrapped_deg(middle), middle), spread
