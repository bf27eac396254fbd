"""The patient chair as a line on the plan with a few marked points."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ergo.arrays import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Chair:
    """Where the chair stands and the patient's head lies on it.

    Attributes
    ----------
    head_m : array (xyz,)
        Middle of the patient's head. Plan axes: x to the right of the picture,
        y ahead of the camera, z above the floor; the lens is above the origin. [m]
    turn_deg : float
        Direction from head to feet: 0 = straight ahead of the camera, + = to
        the right, clockwise seen from above. [deg]
    slope_deg : float
        Positive = the foot end is higher than the head end. [deg]
    length_m, width_m : float
        From head end to foot end, and over the sides. [m]
    along_m, over_m, aside_m : float
        The head's middle from the middle of the head end: towards the feet,
        above the upholstery, and to the right as seen along the feet. [m]
    sides_m : tuple of float
        Where the sides were marked: from the head end towards the foot end, and
        above the straight line between the two. [m]
    """

    head_m: FloatArray
    turn_deg: float
    slope_deg: float
    length_m: float
    width_m: float
    along_m: float
    over_m: float
    aside_m: float
    sides_m: tuple[float, float]

    @property
    def feet_direction(self) -> FloatArray:
        """array (xy,): on the plan from head to feet, length 1."""
        turn = np.radians(self.turn_deg)
        return np.array([np.sin(turn), np.cos(turn)])

    def points_m(self) -> Mapping[str, FloatArray]:
        """Return the points that can be marked, each array (..., xyz) in plan axes [m]."""
        ahead, slope = self.feet_direction, np.radians(self.slope_deg)
        along = np.array([*(ahead * np.cos(slope)), np.sin(slope)])
        over = np.array([*(-ahead * np.sin(slope)), np.cos(slope)])
        aside = np.array([ahead[1], -ahead[0], 0.0])
        head_end = self.head_m - along * self.along_m - over * self.over_m - aside * self.aside_m
        middle = head_end + along * self.sides_m[0] + over * self.sides_m[1]
        half = aside * self.width_m / 2
        return {
            "head": self.head_m,
            "head_end": head_end,
            "foot_end": head_end + along * self.length_m,
            "sides": np.stack([middle - half, middle + half]),
        }
