"""What a set-up has to find out, and what is plausible before anything is marked.

Every unknown has a plausible value and one standard deviation; marks move it from
there as far as they say anything. What marks do not tell keeps its plausible
spread, so that nothing is ever more certain than what is known.
"""

from dataclasses import dataclass

import numpy as np

from ergo.arrays import FloatArray
from ergo.camera.camera import Camera
from ergo.camera.chair import Chair
from ergo.camera.level import STATED_SD_DEG, camera_for
from ergo.frames.frame import SourceFacts
from ergo.notes.notes import CameraNotes, Notes, SetUpNotes

LENS_HEIGHT_M, LENS_HEIGHT_SD_M, STATED_HEIGHT_SD_M = 1.4, 0.4, 0.02
FOCAL_SD_STATED, FOCAL_SD_EXIF, FOCAL_SD_ASSUMED = 0.01, 0.04, 0.15
PITCH_SD_DEG, ROLL_SD_DEG = 15.0, 4.0
HEAD_HEIGHT_M, HEAD_HEIGHT_SD_M = 0.86, 0.09
CHAIR_LENGTH_M, CHAIR_LENGTH_SD_M, TAPE_SD_M = 1.75, 0.15, 0.02
ANY_TURN_DEG, ANY_PLACE_M = 120.0, 2.0
"""Plausible values of a treatment room before anything is marked (ours; the heights are
those of a reclined chair at which a seated operator works)."""


@dataclass(frozen=True, slots=True)
class Unknown:
    """One number to find.

    Attributes
    ----------
    name : str
        Unit in the name.
    likely : float
        Plausible value.
    sd : float
        One standard deviation of what is plausible.
    """

    name: str
    likely: float
    sd: float


def camera_unknowns(facts: SourceFacts, notes: Notes) -> tuple[Unknown, ...]:
    """Return what is to be found of the camera; focal length as its natural logarithm."""
    camera, stated = camera_for(facts, notes), notes.camera or CameraNotes()
    focal_sd = FOCAL_SD_ASSUMED
    if camera.focal_is_known:
        is_stated = stated.focal_px is not None or stated.horizontal_fov_deg is not None
        focal_sd = FOCAL_SD_STATED if is_stated else FOCAL_SD_EXIF
    pitch_sd = PITCH_SD_DEG if stated.pitch_deg is None else STATED_SD_DEG
    roll_sd = ROLL_SD_DEG if stated.roll_deg is None else STATED_SD_DEG
    height_sd = LENS_HEIGHT_SD_M if stated.height_m is None else STATED_HEIGHT_SD_M
    likely_pitch = -12.0 if stated.pitch_deg is None else stated.pitch_deg
    return (
        Unknown("log_focal_px", float(np.log(camera.focal_px)), focal_sd),
        Unknown("pitch_deg", likely_pitch, pitch_sd),
        Unknown("roll_deg", camera.roll_deg, roll_sd),
        Unknown("height_m", stated.height_m or LENS_HEIGHT_M, height_sd),
    )


def chair_unknowns(marks: SetUpNotes) -> tuple[Unknown, ...]:
    """Return what is to be found of the chair; none where nothing on it is marked."""
    if marks.head is None and marks.head_end is None and marks.foot_end is None:
        return ()
    length_sd = CHAIR_LENGTH_SD_M if marks.chair_length_m is None else TAPE_SD_M
    return (
        Unknown("head_x_m", 0.0, ANY_PLACE_M),
        Unknown("head_y_m", 2.5, ANY_PLACE_M),
        Unknown("head_z_m", HEAD_HEIGHT_M, HEAD_HEIGHT_SD_M),
        Unknown("chair_turn_deg", 0.0, ANY_TURN_DEG),
        Unknown("chair_slope_deg", -4.0, 6.0),
        Unknown("chair_length_m", marks.chair_length_m or CHAIR_LENGTH_M, length_sd),
        Unknown("chair_width_m", marks.chair_width_m or 0.55, TAPE_SD_M),
        Unknown("head_along_m", 0.10, 0.05),
        Unknown("head_over_m", 0.12, 0.03),
        Unknown("head_aside_m", 0.0, 0.03),
        Unknown("sides_along_m", 0.9, 0.4),
        Unknown("sides_over_m", 0.0, 0.1),
    )


def floor_unknowns(marks: SetUpNotes) -> tuple[Unknown, ...]:
    """Return place and turn of every rectangle and tape on the floor."""
    names = [f"tile_{n}" for n in range(len(marks.floor))]
    names += [f"tape_{n}" for n in range(len(marks.tape))]
    return tuple(
        unknown
        for name in names
        for unknown in (
            Unknown(f"{name}_x_m", 0.0, ANY_PLACE_M),
            Unknown(f"{name}_y_m", 2.5, ANY_PLACE_M),
            Unknown(f"{name}_turn_deg", 0.0, ANY_TURN_DEG),
        )
    )


Values = dict[str, float]


def named(unknowns: tuple[Unknown, ...], scaled: FloatArray) -> Values:
    """Return the values by name, from how many sd each lies from what is plausible."""
    return {u.name: u.likely + u.sd * float(x) for u, x in zip(unknowns, scaled, strict=True)}


def camera_of(values: Values, like: Camera, level_sd_deg: float = 0.0) -> Camera:
    """Return the camera that the values describe."""
    return Camera(
        width_px=like.width_px,
        height_px=like.height_px,
        focal_px=float(np.exp(values["log_focal_px"])),
        centre_px=like.centre_px,
        pitch_deg=float(np.clip(values["pitch_deg"], -89, 89)),
        roll_deg=values["roll_deg"],
        height_m=values["height_m"],
        level_sd_deg=level_sd_deg,
        level_origin="set-up",
        focal_is_known=True,
    )


def chair_of(values: Values) -> Chair | None:
    """Return the chair that the values describe, if there is one among them."""
    if "head_x_m" not in values:
        return None
    return Chair(
        head_m=np.array([values["head_x_m"], values["head_y_m"], values["head_z_m"]]),
        turn_deg=values["chair_turn_deg"],
        slope_deg=values["chair_slope_deg"],
        length_m=values["chair_length_m"],
        width_m=values["chair_width_m"],
        along_m=values["head_along_m"],
        over_m=values["head_over_m"],
        aside_m=values["head_aside_m"],
        sides_m=(values["sides_along_m"], values["sides_over_m"]),
    )
