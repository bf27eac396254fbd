"""Rooms told by an operator and an assistant where the patient is not seen well enough.

Who works four-handed sits round the patient's head by convention: the hands of the
operator are at the mouth, and the assistant sits at 2 to 4 o'clock, or at 8 to 10
beside a left-handed operator (zones of activity, ``tables/clock_zones.csv``).
"""

import numpy as np

from ergo.arrays import BoolArray, FloatArray
from ergo.posture.clock import Handed, bearing_deg, zone_hours
from ergo.posture.measured_clock import (
    FACING_ELSEWHERE,
    FACING_SD_DEG,
    HANDS_SD_M,
    HANDS_TO_MOUTH_M,
    MOUTH_ABOVE_HEAD_M,
    OUT_OF_REACH,
    turn_deg,
)
from ergo.posture.rooms import Cameras, Rooms, seat_errors
from ergo.posture.seat import SeenPerson, seat_of

RIGHT_HANDED_SHARE = 0.9
"""Of all people, where nothing else is known (common knowledge, no source)."""
ASSISTANT_REACH_M, ASSISTANT_REACH_SD_M = 0.65, 0.12
"""Hips of a seated assistant from the patient's head (0.58-0.73 m in our training scenes; ours)."""
TRIED = 4
"""So many times more rooms are tried than kept."""
ROUND_TO_ASSISTANT_DEG, ROUND_SD_DEG = 150.0, 45.0
"""From a right-handed operator clockwise round the head to the assistant: from the middle of
8 to 1 o'clock to that of 2 to 4, and its spread (the zones' widths; ours). [deg]"""


def rooms_by_assistant(
    cameras: Cameras,
    operator: SeenPerson,
    assistant: SeenPerson,
    handed: Handed | None,
    numbers: np.random.Generator,
) -> Rooms | None:
    """Return equally likely rooms; None where the two are never seen at the same time.

    Parameters
    ----------
    cameras : Cameras
        Their height is known.
    operator, assistant : SeenPerson
        Of the same frames.
    handed : str or None
        The operator's handedness, where it is stated.
    numbers : Generator
    """
    is_seen = np.isfinite(operator.hands_m).all(axis=-1) & np.isfinite(assistant.depth_m)
    frames = np.flatnonzero(is_seen)
    if not len(frames):
        return None
    which = np.tile(np.arange(len(cameras.focal_px)), TRIED)
    errors, others = (seat_errors(len(which), seed) for seed in (1, 3))
    tried = cameras.some(which)
    own, other = (
        seat_of(person, tried, each, frames)
        for person, each in ((operator, errors), (assistant, others))
    )
    hands = np.median(own.hips_m + operator.hands_m[frames] * own.size, axis=1)
    head = hands - HANDS_TO_MOUTH_M + HANDS_SD_M * numbers.standard_normal((len(which), 3))
    head[:, 2] -= MOUTH_ABOVE_HEAD_M
    to_assistant, to_operator = (
        np.median(each.hips_m, axis=1)[:, :2] - head[:, :2] for each in (other, own)
    )
    right, left = _by_handedness(_clockwise_deg(to_operator, to_assistant), handed)
    likely = (right + left) * _likely(
        to_assistant, np.median(assistant.trunk_forward[frames], axis=0)
    )
    if not likely.sum() > 0:
        return None
    chosen = numbers.choice(len(which), len(cameras.focal_px), p=likely / likely.sum())
    is_right = numbers.random(len(which)) * (right + left) < right
    feet = _feet(to_assistant, is_right, numbers)
    return Rooms(tried, head, feet, errors).some(chosen)


def _likely(to_assistant: FloatArray, forward: FloatArray) -> FloatArray:
    """Return how likely places of the assistant (draw, xy) from the head are, array (draw,).

    Parameters
    ----------
    to_assistant : array (draw, xy)
        [m]
    forward : array (xy,)
        Where the assistant faces.
    """
    off = (np.hypot(*to_assistant.T) - ASSISTANT_REACH_M) / ASSISTANT_REACH_SD_M
    facing = turn_deg(-to_assistant, forward) / FACING_SD_DEG
    reaches = np.exp(-0.5 * off**2) + OUT_OF_REACH
    likely: FloatArray = reaches * (np.exp(-0.5 * facing**2) + FACING_ELSEWHERE)
    return likely


def _clockwise_deg(start: FloatArray, end: FloatArray) -> FloatArray:
    """Return the turn from one direction (draw, xy) to another, 0..360 clockwise from above."""
    turn = np.arctan2(start[:, 0], start[:, 1]) - np.arctan2(end[:, 0], end[:, 1])
    clockwise: FloatArray = -np.degrees(turn) % 360.0
    return clockwise


def _by_handedness(round_deg: FloatArray, handed: Handed | None) -> tuple[FloatArray, FloatArray]:
    """Return how likely a right- and a left-handed operator are in each draw, arrays (draw,)."""
    shares = {"right": RIGHT_HANDED_SHARE, "left": 1 - RIGHT_HANDED_SHARE}
    if handed is not None:
        shares = {each: float(each == handed) for each in shares}
    right, left = (
        shares[each] * np.exp(-0.5 * ((round_deg - middle) / ROUND_SD_DEG) ** 2)
        for each, middle in (
            ("right", ROUND_TO_ASSISTANT_DEG),
            ("left", 360.0 - ROUND_TO_ASSISTANT_DEG),
        )
    )
    return right, left


def _feet(
    to_assistant: FloatArray, is_right: BoolArray, numbers: np.random.Generator
) -> FloatArray:
    """Return the direction from head to feet, array (draw, xy), by the assistant's usual hours."""
    share = numbers.random(len(is_right))
    hours = np.empty(len(is_right))
    sides: tuple[tuple[Handed, BoolArray], ...] = (("right", is_right), ("left", ~is_right))
    for handed, which in sides:
        first, last = zone_hours("assistant", handed)
        hours[which] = first + (last - first) * share[which]
    bearing = np.radians(bearing_deg(hours))
    x, y = to_assistant.T  # 12 o'clock lies as far round the other way
    twelve = np.stack(
        [x * np.cos(bearing) - y * np.sin(bearing), x * np.sin(bearing) + y * np.cos(bearing)],
        axis=-1,
    )
    return -twelve
