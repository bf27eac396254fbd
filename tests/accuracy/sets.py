"""The sets of pictures that the bench runs on, with their truth."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from ergo.arrays import FloatArray
from tests.accuracy.truth import (
    TRUE_COLUMN,
    TRUE_NAMES,
    Truth,
    camera_notes,
    still_descriptions,
    truth_of_clip,
    truth_of_stills,
)


@dataclass(frozen=True, slots=True, eq=False)
class PictureSet:
    """Pictures of one kind and what is true of them.

    Attributes
    ----------
    name : str
        For example ``"dev"``.
    cameras : mapping of Path to mapping
        Each still or clip to what notes would state of its camera.
    truths : tuple of Truth
        One per still, or one per picture of a clip.
    options : tuple of str
        Further options of ``ergo analyse``.
    """

    name: str
    cameras: Mapping[Path, Mapping[str, Any]]
    truths: tuple[Truth, ...]
    options: tuple[str, ...] = ()

    @property
    def unknown_cameras(self) -> Mapping[Path, None]:
        """Return the same pictures with nothing known of their cameras."""
        return dict.fromkeys(self.cameras)


def stills(name: str, folder: Path) -> PictureSet:
    """Return a folder of rendered stills."""
    files = still_descriptions(folder)
    cameras = {
        path.with_suffix(".jpg"): camera_notes(json.loads(path.read_text())["camera"])
        for path in files
    }
    return PictureSet(name, cameras, tuple(truth_of_stills(folder)))


def clip(name: str, described: Path) -> PictureSet:
    """Return a rendered clip, from the JSON beside it; its camera does not move."""
    first = json.loads(described.read_text())["frames"][0]
    cameras = {described.with_suffix(".mp4"): camera_notes(first["camera"])}
    return PictureSet(name, cameras, tuple(truth_of_clip(described)))


_REAL_FIELD = {
    "trunk_inclination_deg": ("trunk_incl", "trunk", 1.0),
    "trunk_flexion_deg": ("trunk_sag", "trunk", 1.0),
    "trunk_side_bend_deg": ("trunk_lat", "trunk", -1.0),  # + to the left there
    "upper_arm_elevation_deg_left": ("ua_elev_grav_L", "L", 1.0),
    "upper_arm_elevation_deg_right": ("ua_elev_grav_R", "R", 1.0),
    "elbow_flexion_deg_left": ("elbow_L", "L", 1.0),
    "elbow_flexion_deg_right": ("elbow_R", "R", 1.0),
}
"""Our angle to the field, the validity and the sign of the real person's file."""


def real_person(described: Path, videos: Path) -> PictureSet:
    """Return the real person, seen by two cameras; only those are ever opened.

    The lens is not stated in the file, so ``known`` means the level alone. Our
    trunk flexion is read against a neutral posture, theirs against the vertical:
    a constant difference of 1-3 degrees is in every number.
    """
    person = json.loads(described.read_text())
    truths: list[Truth] = []
    cameras: dict[Path, Mapping[str, Any]] = {}
    for name, camera in person["cameras"].items():
        path = videos / f"{name}.mp4"
        cameras[path] = {
            "pitch_deg": -camera["tilt_down_deg"],
            "roll_deg": camera["roll_deg"],
        }
        truths.extend(_real_truths(person, name, camera["frame_shift"]))
    return PictureSet("real", cameras, tuple(truths), ("--rate", "20"))


def _real_truths(person: Mapping[str, Any], name: str, frame_shift: float) -> list[Truth]:
    numbers = np.arange(person["frames"])
    angles = np.full((len(numbers), len(TRUE_NAMES)), np.nan)
    for angle, (field, validity, sign) in _REAL_FIELD.items():
        values = np.where(person["valid"][validity], person["angles_deg"][field], np.nan)
        angles[:, TRUE_COLUMN[angle]] = sign * _shifted(values, frame_shift)
    return [
        Truth(name, number / person["fps"], name, angles[number], {}, 1.0, np.nan)
        for number in numbers
    ]


def _shifted(values: FloatArray, frames: float) -> FloatArray:
    """Return the values as seen by a camera whose clock is ``frames`` ahead."""
    numbers = np.arange(len(values), dtype=np.float64)
    return np.interp(numbers - frames, numbers, values)
