"""Rendered scenes: a picture and, beside it, a JSON record of the true people and camera.

Axes of the record: scene x and y level, z up, in metres; ``camera.R`` and
``camera.t`` bring them into camera axes (x right, y down, z ahead).
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from ergo.arrays import FloatArray, PictureArray
from ergo.errors import InputError
from ergo.landmarks.network import Box
from ergo.landmarks.runtime import picture_library

LEAST_VISIBLE = 0.12  # of a person's points, to learn from that person
_MARGIN = 1.15  # half a crop's side against the farthest true point
_OWN_NAMES = {"nose": "nose_tip", "trunk_top": "c7"}
_OWN_STEMS = {"ear": "tragus", "index": "index_knuckle", "pinky": "pinky_knuckle"}

Person = Mapping[str, Any]
"""One true person of a record: ``role``, ``visible_fraction`` and ``points``."""


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """One rendered still.

    Attributes
    ----------
    name, view : str
    handed : str
        Of the operator, ``"right"`` or ``"left"``.
    picture : array (row, column, rgb)
    people : sequence of Person
    lens : array (xy, xyz)
        The camera's matrix. [px]
    turn, move_m : array (xyz, xyz), (xyz,)
        From scene axes to camera axes. [m]
    neutral : mapping
        The operator's points in the neutral posture, x left, y behind, z up. [m]
    """

    name: str
    view: str
    handed: str
    picture: PictureArray
    people: Sequence[Person]
    lens: FloatArray
    turn: FloatArray
    move_m: FloatArray
    neutral: Mapping[str, Sequence[float]]

    def in_camera_m(self, person: Person, names: Iterable[str]) -> FloatArray:
        """Return true points, array (point, xyz), in camera axes. [m]."""
        points = [person["points"][recorded(name)]["xyz"] for name in names]
        moved: FloatArray = np.array(points) @ self.turn.T + self.move_m
        return moved


def read_scene(record_path: Path) -> Scene:
    """Return the still that a JSON record belongs to."""
    picture = picture_library().imread(str(record_path.with_suffix(".jpg")))
    if picture is None:
        raise InputError(
            "has no picture.", where=record_path.name, remedy="Put the JPEG beside the record."
        )
    record = json.loads(record_path.read_text(encoding="utf-8"))
    camera = record["camera"]
    return Scene(
        name=record_path.stem,
        view=record["view"],
        handed=record["scene"]["handed"],
        picture=np.ascontiguousarray(picture[:, :, ::-1]),
        people=record["persons"],
        lens=np.array(camera["K"]),
        turn=np.array(camera["R"]),
        move_m=np.array(camera["t"]),
        neutral=record["neutral_points"],
    )


def recorded(name: str) -> str:
    """Return the name of a joint or body point in the records."""
    stem, _, side = name.rpartition("_")
    return _OWN_NAMES.get(name) or (f"{_OWN_STEMS.get(stem, stem)}_{side}" if stem else name)


def true_px(person: Person, names: Iterable[str]) -> FloatArray:
    """Return where points truly lie in the picture, array (point, xy). [px]."""
    return np.array([person["points"][recorded(name)]["px"] for name in names])


def hands_px(person: Person) -> tuple[float, float]:
    """Return x and y of the middle of a person's index knuckles in the picture. [px]."""
    x, y = true_px(person, ("index_left", "index_right")).mean(axis=0)
    return float(x), float(y)


def px_per_m(scene: Scene, person: Person) -> float:
    """Return the picture's scale at the depth of a person's index knuckles. [px per m]."""
    depth_m = scene.in_camera_m(person, ("index_left", "index_right"))[:, 2].mean()
    return float(scene.lens[0, 0] / depth_m)


def true_box(person: Person) -> Box:
    """Return the crop round a true person, from mid-hip to the farthest point and a margin."""
    hips, shoulders = (
        np.array(person["points"][name]["px"]) for name in ("mid_hip", "mid_shoulder")
    )
    places = np.array([point["px"] for point in person["points"].values()])
    reach = float(np.linalg.norm(places - hips, axis=1).max())
    right, down = shoulders - hips
    side = 2 * _MARGIN * reach
    return Box(float(hips[0]), float(hips[1]), side, float(np.arctan2(right, -down)))
