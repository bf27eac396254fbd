"""Where people were in the room, on the patient's own plan."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ergo.arrays import BoolArray, FloatArray
from ergo.camera.camera import LevelOrigin
from ergo.errors import InputError

PlaceOrigin = Literal["set-up", "automatic", "assistant", "not judged"]


@dataclass(frozen=True, slots=True, eq=False)
class PlaceTrack:
    """Where the operator and the assistant sat and how they faced the patient, per frame.

    Attributes
    ----------
    seat_m, seat_sd_m : array (frame, xy)
        Middle of the operator's hips and one standard deviation. Patient's plan,
        seen from above: the patient's head is the origin, x to the patient's
        left, y towards 12 o'clock, so the feet are at negative y. NaN = not
        judged. [m]
    assistant_m, assistant_sd_m : array (frame, xy)
        The same of the assistant. [m]
    hours, sd_hours : array (frame,)
        Clock position of the seat, 1 <= hours < 13, and one standard deviation;
        NaN = not judged. [h]
    measured, measured_sd : mapping of str to array (frame,)
        By the names of :data:`MEASURES`, and one standard deviation each.
    knees_under : array (frame,)
        Probability that a knee of the operator is under the backrest; NaN = not seen.
    origins : tuple of str
        One per source: how its places were found.
    is_moved : tuple of bool
        One per source: the camera seems to have been moved since its set-up.
    chair_length_m, chair_width_m : tuple of (float or None)
        One per source, where it was set up. [m]
    right_handed : tuple of float
        One per source: belief that the operator is right-handed, 0..1, by how operator,
        assistant and patient sit to each other; NaN = not judged.
    level_origins : tuple of str
        One per source: what told the camera's level for its places.
    """

    seat_m: FloatArray
    seat_sd_m: FloatArray
    assistant_m: FloatArray
    assistant_sd_m: FloatArray
    hours: FloatArray
    sd_hours: FloatArray
    measured: Mapping[str, FloatArray]
    measured_sd: Mapping[str, FloatArray]
    knees_under: FloatArray
    origins: tuple[PlaceOrigin, ...]
    is_moved: tuple[bool, ...]
    chair_length_m: tuple[float | None, ...]
    chair_width_m: tuple[float | None, ...]
    right_handed: tuple[float, ...] = ()
    level_origins: tuple[LevelOrigin, ...] = ()

    def __post_init__(self) -> None:
        frames = len(self.hours)
        for name in ("seat_m", "seat_sd_m", "assistant_m", "assistant_sd_m"):
            if getattr(self, name).shape != (frames, 2):
                raise InputError(f"{name} must have shape ({frames}, 2).")
        if set(self.measured) != set(MEASURES) or set(self.measured_sd) != set(MEASURES):
            raise InputError(f"measures must be {', '.join(MEASURES)}.")

    def without(self, excluded: BoolArray) -> "PlaceTrack":
        """Return the track with no place judged in some frames, array (frame,)."""
        if not np.any(excluded):
            return self

        def kept(values: FloatArray) -> FloatArray:
            is_out = excluded.reshape(-1, *[1] * (values.ndim - 1))
            return np.where(is_out, np.nan, values)

        def each_kept(measured: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
            return {name: kept(values) for name, values in measured.items()}

        return replace(
            self,
            seat_m=kept(self.seat_m),
            seat_sd_m=kept(self.seat_sd_m),
            assistant_m=kept(self.assistant_m),
            assistant_sd_m=kept(self.assistant_sd_m),
            hours=kept(self.hours),
            sd_hours=kept(self.sd_hours),
            measured=each_kept(self.measured),
            measured_sd=each_kept(self.measured_sd),
            knees_under=kept(self.knees_under),
        )


MEASURES = (
    "trunk_turn_to_patient_deg",
    "head_turn_to_patient_deg",
    "eye_to_mouth_m",
    "mouth_above_elbow_m",
)
"""Turns: 0 = facing the middle of the patient's head, + = turned to the operator's own left.
``mouth_above_elbow_m``: the patient's mouth above the operator's lower elbow."""
