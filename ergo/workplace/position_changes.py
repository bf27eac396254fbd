"""Moves of the operator from one clock position to another."""

from dataclasses import dataclass
from math import ceil
from statistics import median

import numpy as np

from ergo.arrays import FloatArray
from ergo.workplace.clock import bearing_deg, hours_from_bearing

LEAST_MOVE_HOURS, LEAST_STAY_S = 0.75, 3.0
"""What counts as another position, and how long one must be kept to be one (ours)."""

_LOOKED_BACK = 15  # frames of a stay that tell where it is now


@dataclass(frozen=True, slots=True)
class Move:
    """One change of place.

    Attributes
    ----------
    time_s : float
        When the new position was first taken, in its source. [s]
    from_hours, to_hours : float
        Middle of the positions before and after. [h]
    """

    time_s: float
    from_hours: float
    to_hours: float


def moves(time_s: FloatArray, hours: FloatArray) -> tuple[Move, ...]:
    """Return the moves within one clip, in order of time.

    Parameters
    ----------
    time_s : array (frame,)
        Rising. [s]
    hours : array (frame,)
        Clock position; NaN = not judged. [h]
    """
    known = np.isfinite(hours)
    time_s, bearing = time_s[known], bearing_deg(hours[known]).tolist()
    stays: list[tuple[float, float]] = []
    begin = 0
    for end in range(1, len(time_s) + 1):
        if end < len(time_s) and _is_same_place(
            bearing[max(begin, end - _LOOKED_BACK) : end], bearing[end]
        ):
            continue
        if time_s[end - 1] - time_s[begin] >= LEAST_STAY_S:
            stays.append((float(time_s[begin]), _middle(bearing[begin:end])))
        begin = end
    return tuple(
        Move(after[0], _hours(before[1]), _hours(after[1]))
        for before, after in zip(stays, stays[1:], strict=False)
        if abs(_wrapped(after[1] - before[1])) >= 30 * LEAST_MOVE_HOURS
    )


def _is_same_place(stay: list[float], bearing: float) -> bool:
    return abs(_wrapped(bearing - _middle(stay))) < 30 * LEAST_MOVE_HOURS


def _middle(bearing: list[float]) -> float:
    first = bearing[0]
    return first + median([_wrapped(each - first) for each in bearing])


def _wrapped(angle: float) -> float:
    """Return the same angle within -180 < angle <= 180 [deg]; of one number, so not in numpy."""
    return angle - 360.0 * ceil((angle - 180.0) / 360.0)


def _hours(bearing: float) -> float:
    return float(hours_from_bearing(np.array(bearing % 360.0)))
