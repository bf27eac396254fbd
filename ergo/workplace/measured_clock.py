"""The clock position and the distances to the patient, measured from pictures and rooms.

The uncertainty of everything (camera, patient, body size, seat height, landmarks) is
carried through by drawing it many times; what is reported is the middle and the
spread of the draws. Draws in which somebody at work would be out of reach of the
patient's head, hold the hands elsewhere or face elsewhere count less.
"""

from dataclasses import dataclass, fields

import numpy as np

from ergo.arrays import BoolArray, FloatArray, IndexArray
from ergo.posture.geometry import dot, length, wrapped_deg
from ergo.workplace.clock import bearing_deg, hours_from_bearing
from ergo.workplace.place_track import MEASURES
from ergo.workplace.sampled_rooms import Rooms
from ergo.workplace.seat import Seat, SeenPerson, seat_of

WIDEST_SD_HOURS = 1.5
"""Above this standard deviation the clock position is not judged (ours). [h]"""
REACH_M, REACH_SD_M, OUT_OF_REACH = 0.55, 0.13, 0.02
"""Hips of a seated operator from the patient's head while working, and how much of the belief
is left for any other distance (arm's reach; 0.43-0.74 m in our training scenes; ours). [m]"""
HANDS_TO_MOUTH_M = np.array([0.0, 0.0, -0.08])
HANDS_SD_M, HANDS_ELSEWHERE = np.array([0.17, 0.17, 0.14]), 0.05
"""The middle of both hands from the patient's mouth, plan axes, and how much of the belief is
left for hands that are elsewhere (training scenes; ours). [m]"""
FACING_SD_DEG, FACING_ELSEWHERE = 25.0, 0.1
"""Hips of somebody at work against the way to the patient's head (15 deg in our training scenes,
which are tidier than work is; ours). [deg]"""
MOUTH_ABOVE_HEAD_M, MOUTH_TO_FEET_M = 0.065, 0.07
"""The mouth of a lying patient from the middle of the head (training scenes; ours)."""
ARC_SHARE, ARC_CELLS, SD_PER_HALF_ARC = 0.9, 90, 1.645
"""What the stated interval holds, in how many cells it is looked for, and half its length in sd."""
HEAD_TURN_SD_DEG = 16.0
"""Where a face points on the plan, as its points tell it (training scenes; ours). [deg]"""
BACKREST_M, BACKREST_WIDTH_M = (0.75, 0.12), 0.5
"""The backrest from the patient's head towards the feet and behind the head, and its width
(chairs of the training scenes; ours). [m]"""
FRAMES_AT_ONCE = 256


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """Places of one source, middle and spread over the draws.

    Attributes
    ----------
    seat_m, seat_sd_m : array (frame, xy)
        On the patient's plan. [m]
    hours, sd_hours : array (frame,)
        NaN where not judged. [h]
    measured, measured_sd : array (frame, measure)
        In the order of ``MEASURES``.
    knees_under : array (frame,)
        Probability that a knee is under the backrest; NaN where neither knee is seen.
    """

    seat_m: FloatArray
    seat_sd_m: FloatArray
    hours: FloatArray
    sd_hours: FloatArray
    measured: FloatArray
    measured_sd: FloatArray
    knees_under: FloatArray


def placed_person(person: SeenPerson, rooms: Rooms) -> Placed:
    """Return where a person sat, who works at the patient's head.

    Parameters
    ----------
    person : SeenPerson
    rooms : Rooms
    """
    frames = np.arange(len(person.depth_m))
    pieces = [
        _placed(person, rooms, frames[begin : begin + FRAMES_AT_ONCE])
        for begin in range(0, max(len(frames), 1), FRAMES_AT_ONCE)
    ]
    return Placed(
        **{
            part.name: np.concatenate([getattr(piece, part.name) for piece in pieces])
            for part in fields(Placed)
        }
    )


def _placed(person: SeenPerson, rooms: Rooms, frames: IndexArray) -> Placed:
    seat = seat_of(person, rooms.cameras, rooms.errors, frames)
    mouth = rooms.head_m + _mouth_m(rooms)
    measures = _measures(person, rooms, seat, mouth, frames)
    hands = seat.hips_m + person.hands_m[frames] * seat.size - mouth[:, None]
    plan = on_patients_plan(seat.hips_m[..., :2], rooms)
    weight = _weight(plan, hands, measures[..., _FACING])
    hours, sd_hours = _clock(plan, weight)
    at, at_sd = _middle_and_spread(plan, weight, np.array([False, False]))
    middle, spread = _middle_and_spread(measures, weight, _TURNS)
    spread = np.hypot(spread, _READING_SD)
    under = _knees_under(person, rooms, seat, weight, frames)
    return Placed(_where(hours, at), _where(hours, at_sd), hours, sd_hours, middle, spread, under)


def _where(hours: FloatArray, value: FloatArray) -> FloatArray:
    return np.where(np.isfinite(hours)[:, None], value, np.nan)


def _mouth_m(rooms: Rooms) -> FloatArray:
    """Return the patient's mouth from the middle of the head, array (draw, xyz)."""
    up = np.full((len(rooms.feet), 1), MOUTH_ABOVE_HEAD_M)
    return np.concatenate([rooms.feet * MOUTH_TO_FEET_M, up], axis=1)


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


def on_patients_plan(points: FloatArray, rooms: Rooms) -> FloatArray:
    """Return places of the camera's plan, array (draw, frame, xy), on the patient's plan [m]."""
    away = points - rooms.head_m[:, None, :2]
    x, y = -rooms.feet.T[:, :, None]  # towards 12 o'clock
    left = away[..., 0] * y - away[..., 1] * x
    behind = away[..., 0] * x + away[..., 1] * y
    return np.moveaxis(np.array([left, behind]), 0, -1)


def _measures(
    person: SeenPerson, rooms: Rooms, seat: Seat, mouth: FloatArray, frames: IndexArray
) -> FloatArray:
    """Return the measures in the order of ``MEASURES``, array (draw, frame, measure)."""
    to_head = rooms.head_m[:, None, :2] - seat.hips_m[..., :2]
    detector = seat.hips_m + person.eyes_m[frames] * seat.size - mouth[:, None]
    elbow = seat.hips_m + person.elbow_m[frames] * seat.size
    measures = (
        turn_deg(to_head, person.trunk_forward[frames]),
        turn_deg(to_head, person.head_forward[frames]),
        length(detector),
        mouth[:, None, 2] - elbow[..., 2],
    )
    return np.moveaxis(np.array(measures), 0, -1)


def _knees_under(
    person: SeenPerson, rooms: Rooms, seat: Seat, weight: FloatArray, frames: IndexArray
) -> FloatArray:
    """Return the probability that a knee is under the backrest, array (frame,)."""
    knees = person.knees_m[frames]
    is_under = np.zeros(weight.shape, dtype=bool)
    for side in range(knees.shape[1]):
        at = on_patients_plan((seat.hips_m + knees[:, side] * seat.size)[..., :2], rooms)
        ahead = (at[..., 1] > -BACKREST_M[0]) & (at[..., 1] < BACKREST_M[1])
        is_under |= ahead & (np.abs(at[..., 0]) < BACKREST_WIDTH_M / 2)
    is_seen = np.isfinite(knees).all(axis=-1).any(axis=-1)
    return np.where(is_seen, (weight * is_under).sum(axis=0), np.nan)


def turn_deg(base: FloatArray, other: FloatArray) -> FloatArray:
    """Return by how much ``other`` is turned from ``base``, both (..., xy) on a plan.

    + = to the left, counter-clockwise seen from above, -180 < turn <= 180. [deg]
    """
    across = base[..., 0] * other[..., 1] - base[..., 1] * other[..., 0]
    along = base[..., 0] * other[..., 0] + base[..., 1] * other[..., 1]
    turn: FloatArray = np.degrees(np.arctan2(across, along))
    return turn


def _weight(seat: FloatArray, hands: FloatArray, facing_deg: FloatArray) -> FloatArray:
    """Return how likely each draw is, array (draw, frame), summing to 1 over the draws.

    Parameters
    ----------
    seat : array (draw, frame, xy)
        On the patient's plan. [m]
    hands : array (draw, frame, xyz)
        From the patient's mouth. [m]
    facing_deg : array (draw, frame)
        Hips against the way to the patient's head. [deg]
    """
    reach, off = (length(seat) - REACH_M) / REACH_SD_M, (hands - HANDS_TO_MOUTH_M) / HANDS_SD_M
    likely = np.exp(-0.5 * reach**2) + OUT_OF_REACH
    likely *= _known(np.exp(-0.5 * dot(off, off))) + HANDS_ELSEWHERE
    likely *= _known(np.exp(-0.5 * (facing_deg / FACING_SD_DEG) ** 2)) + FACING_ELSEWHERE
    weight: FloatArray = likely / likely.sum(axis=0)
    return weight


def _known(likely: FloatArray) -> FloatArray:
    """Return likelihoods; those of what was not seen say nothing."""
    return np.where(np.isnan(likely), 1.0, likely)


def _clock(seat: FloatArray, weight: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return hours and their sd, each array (frame,), from draws (draw, frame, xy).

    The shortest arc that holds 90 % of the weight is the stated 90 % interval: another,
    unlikely reading of the room (a left-handed operator, say) lies outside it.
    """
    bearing = bearing_deg(clock_hours(seat))
    centre, half = shortest_arc_deg(bearing, weight)
    away = wrapped_deg(bearing - centre)
    inside = weight * (np.abs(away) <= half)
    middle = centre + (inside * away).sum(axis=0) / inside.sum(axis=0)
    sd = half / 30.0 / SD_PER_HALF_ARC
    is_judged = sd <= WIDEST_SD_HOURS  # False where NaN
    hours = np.where(is_judged, hours_from_bearing(middle), np.nan)
    return hours, np.where(is_judged, sd, np.nan)


def shortest_arc_deg(bearing: FloatArray, weight: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return centre and half length (frame,) of the arcs that hold 90 % of draws (draw, frame)."""
    draws, frames = bearing.shape
    known = np.isfinite(bearing).all(axis=0) & np.isfinite(weight).all(axis=0)
    held = np.zeros((frames, ARC_CELLS))
    cell = (
        np.floor(np.where(known, bearing, 0.0) * (ARC_CELLS / 360.0)).astype(np.int64) % ARC_CELLS
    )
    at = np.broadcast_to(np.arange(frames), (draws, frames))
    np.add.at(held, (at, cell), weight)
    upto = np.cumsum(np.concatenate([np.zeros((frames, 1)), held, held], axis=1), axis=1)
    every = np.arange(ARC_CELLS)

    def most(cells: IndexArray) -> tuple[IndexArray, BoolArray]:
        """Return where the arc of so many cells (frame,) holds most, and whether enough."""
        ends = np.take_along_axis(upto, every + cells[:, None], axis=1)
        share = ends - upto[:, :ARC_CELLS]
        return np.argmax(share, axis=1), share.max(axis=1) >= ARC_SHARE

    too_few, enough = np.zeros(frames, dtype=np.int64), np.full(frames, ARC_CELLS)
    while (open_ := enough - too_few > 1).any():
        tried = np.where(open_, (too_few + enough) // 2, enough)
        holds = most(tried)[1]
        enough, too_few = np.where(holds, tried, enough), np.where(holds, too_few, tried)
    begin, holds = most(enough)
    holds &= known
    cell_deg = 360.0 / ARC_CELLS
    centre = np.where(holds, (begin + enough / 2) * cell_deg, np.nan)
    half = np.where(holds, enough / 2 * cell_deg, np.nan)
    return centre, half


_READING_SD = np.array(
    [HEAD_TURN_SD_DEG * (name == "head_turn_to_patient_deg") for name in MEASURES]
)
_TURNS = np.array([name.endswith("_deg") for name in MEASURES])
_FACING = MEASURES.index("trunk_turn_to_patient_deg")


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
