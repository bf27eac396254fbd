"""The operator's angles over one session, each with its uncertainty."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from ergo.arrays import BoolArray, FloatArray, frames_side_by_side
from ergo.errors import InputError
from ergo.posture.angle_names import COLUMN, NAMES

SUPPORTED_BY = {
    "trunk_inclination": "trunk",
    "trunk_flexion": "trunk",
    "head_inclination": "trunk",
    "upper_arm_elevation": "arm",
    "shoulder_flexion": "arm",
    "shoulder_abduction": "arm",
}
"""Whose full support matters for which angle (ISO 11226: an inclined head is carried by the
trunk, so that a supported trunk carries it too)."""


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)
class PostureTrack:
    """The operator's angles over one session.

    Attributes
    ----------
    value : array (frame, angle)
        In the order of :data:`ergo.posture.angle_names.NAMES`; unit in the name
        (degrees, or mm for ``shoulder_raise``). NaN = not seen.
    sd : array (frame, angle)
        One standard deviation, same unit: what this view, these landmarks and
        this smoothing can tell. NaN exactly where ``value`` is NaN.
    person_found : array (frame,)
        True where the operator was seen in that frame.
    is_bridged : array (frame,)
        True where a gap of at most 0.6 s was bridged.
    support : mapping of str to array (frame,)
        ``"trunk"``, ``"arm_left"``, ``"arm_right"`` to the frames in which that part is
        stated to be fully supported; a part that is not named never is.
    """

    value: FloatArray
    sd: FloatArray
    person_found: BoolArray
    is_bridged: BoolArray
    support: Mapping[str, BoolArray] = field(default_factory=dict)

    def __post_init__(self) -> None:
        wanted = (len(self.person_found), len(NAMES))
        for name in ("value", "sd"):
            if getattr(self, name).shape != wanted:
                raise InputError(
                    f"{name} must have shape {wanted}, got {getattr(self, name).shape}."
                )
            object.__setattr__(self, name, frames_side_by_side(getattr(self, name)))

    def __len__(self) -> int:
        """Return the number of frames."""
        return len(self.person_found)

    def without(self, excluded: BoolArray) -> "PostureTrack":
        """Return the track with nothing seen of the angles in some frames, array (frame,)."""
        if not np.any(excluded):
            return self
        value, sd = (np.where(excluded[:, None], np.nan, each) for each in (self.value, self.sd))
        return replace(self, value=value, sd=sd)

    def angle(self, name: str) -> FloatArray:
        """Return one angle, array (frame,); unit in its name."""
        return self.value[:, COLUMN[name]]

    def is_supported(self, name: str) -> BoolArray:
        """Return where the part that one angle belongs to is fully supported, array (frame,)."""
        part = SUPPORTED_BY.get(name.partition("_deg")[0])
        side = name.rpartition("_")[2]
        where = self.support.get(f"arm_{side}" if part == "arm" else part or "")
        return np.zeros(len(self), dtype=np.bool_) if where is None else where

    def angle_sd(self, name: str) -> FloatArray:
        """Return one angle's standard deviation, array (frame,); unit of the angle."""
        return self.sd[:, COLUMN[name]]
