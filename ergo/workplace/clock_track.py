"""Where the operator sat round the patient's head, frame by frame."""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ergo.arrays import BoolArray, FloatArray
from ergo.errors import InputError

Handed = Literal["right", "left"]
Zone = Literal["operator", "static", "assistant", "transfer", "not judged"]
ClockOrigin = Literal["notes", "set-up", "automatic", "assistant", "mixed", "not judged"]


@dataclass(frozen=True, slots=True, eq=False)
class ClockTrack:
    """Clock position of the operator per frame.

    Attributes
    ----------
    hours : array (frame,)
        1 <= hours < 13; 12 = behind the top of the patient's head, 3 = the
        patient's left; NaN = not judged. [h]
    sd_hours : array (frame,)
        One standard deviation; NaN where ``hours`` is NaN. [h]
    zones : tuple of str
        Zone of activity per frame, for the operator's handedness.
    origin : str
        Where the positions come from; ``"mixed"`` = not all from the same.
    handed : tuple of (str or None)
        The operator's handedness in every source, as stated or else as measured; None = not
        known; empty where nobody asked.
    """

    hours: FloatArray
    sd_hours: FloatArray
    zones: tuple[Zone, ...]
    origin: ClockOrigin
    handed: tuple[Handed | None, ...] = ()

    def __post_init__(self) -> None:
        if not len(self.hours) == len(self.sd_hours) == len(self.zones):
            raise InputError("hours, sd_hours and zones must have one value per frame.")

    def without(self, excluded: BoolArray) -> "ClockTrack":
        """Return the track with no position judged in some frames, array (frame,)."""
        if not np.any(excluded):
            return self
        return replace(
            self,
            hours=np.where(excluded, np.nan, self.hours),
            sd_hours=np.where(excluded, np.nan, self.sd_hours),
            zones=tuple(
                "not judged" if is_out else zone
                for zone, is_out in zip(self.zones, excluded.tolist(), strict=True)
            ),
        )
