"""What is true of every picture of the rendered scenes, in our names and signs.

The scenes lie outside the project; their fields are described beside them. Trunk
angles are compared with the truth of the *mid-shoulder* line (fields ending in
``_sh``), because a picture shows no seventh neck vertebra, and in rows of their own
with the truth of the line to that vertebra ("C7").
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from ergo.arrays import FloatArray
from ergo.posture.angle_names import COLUMN, NAMES
from ergo.posture.angles import body_angles
from ergo.posture.body_points import body_points

_STEMS = {
    "trunk_inclination_deg": "trunk_inclination_sh",
    "trunk_flexion_deg": "trunk_flexion_sh",
    "trunk_side_bend_deg": "trunk_lateral_sh",
    "trunk_twist_deg": "trunk_twist",
    "head_inclination_deg": "head_inclination",
    "neck_flexion_deg": "neck_flexion",
    "neck_side_bend_deg": "neck_lateral",
    "neck_rotation_deg": "neck_rotation",
}
_SIDED_STEMS = {
    "upper_arm_elevation_deg": "arm_elevation",
    "shoulder_flexion_deg": "shoulder_flexion",
    "shoulder_abduction_deg": "shoulder_abduction",
    "elbow_flexion_deg": "elbow_flexion",
    "shoulder_raise_mm": "shoulder_elevation_mm",
}
FIELD = _STEMS | {
    f"{name}_{side}": f"{field}_{side}"
    for name, field in _SIDED_STEMS.items()
    for side in ("left", "right")
}
"""Our angle name to the field of the scenes. The scenes state no wrist angles: those are
computed from the true points, for the true scores only (the wrists never move there)."""

_C7_FIELD = {
    "trunk_inclination_deg": "trunk_inclination",
    "trunk_flexion_deg": "trunk_flexion",
    "trunk_side_bend_deg": "trunk_lateral",
}
C7_ROWS = tuple(f"{name} (C7)" for name in _C7_FIELD)

TRUE_NAMES = (*NAMES, *C7_ROWS)
"""Order of the angle axis of the truth: all angles, then the trunk by its line to C7."""

TRUE_COLUMN = {name: position for position, name in enumerate(TRUE_NAMES)}

POOLED: dict[str, tuple[str, ...]] = (
    {name: (name,) for name in _STEMS}
    | {name: (f"{name}_left", f"{name}_right") for name in _SIDED_STEMS}
    | {name: (name,) for name in C7_ROWS}
)
"""Row of the printed tables to the angles it pools (left and right together)."""

_POINTS = {
    "nose": "nose_tip",
    **{
        f"{joint}_{side}": f"{joint}_{side}"
        for joint in ("shoulder", "elbow", "wrist", "hip")
        for side in ("left", "right")
    },
}
"""Landmark to the scenes' point, for telling whose landmarks they are."""

_ARM_POINTS = {
    f"{name}_{side}": f"{point}_{side}"
    for name, point in {
        "shoulder": "shoulder",
        "elbow": "elbow",
        "wrist": "wrist",
        "hip": "hip",
        "index": "index_knuckle",
        "pinky": "pinky_knuckle",
    }.items()
    for side in ("left", "right")
}

COMPARED_LANDMARKS = tuple(_POINTS)


@dataclass(frozen=True, slots=True, eq=False)
class Truth:
    """What is true of one picture.

    Attributes
    ----------
    source : str
        File name without its ending.
    time_s : float
        0 for a still. [s]
    view : str
        Where the camera stood, for example ``"side_left"``; ``"clip"`` for a clip.
    angles : array (angle,)
        In the order of ``TRUE_NAMES``; NaN where the scenes state none.
    people_px : mapping of role to array (landmark, xy)
        In the order of ``COMPARED_LANDMARKS``. [px]
    visible_share : float
        Share of the operator's points inside the picture and hidden by nothing but
        the operator's own body, 0..1: what a person looking on would call visible.
    clock_hours : float
        NaN where there is no patient to sit round. [h]
    """

    source: str
    time_s: float
    view: str
    angles: FloatArray
    people_px: Mapping[str, FloatArray]
    visible_share: float
    clock_hours: float


def angles_of(fields: Mapping[str, float]) -> FloatArray:
    """Return the truth's angles in the order of ``TRUE_NAMES``; NaN where unstated."""
    values = np.full(len(TRUE_NAMES), np.nan)
    for name, field in FIELD.items():
        values[TRUE_COLUMN[name]] = fields[field]
    for name, field in zip(C7_ROWS, _C7_FIELD.values(), strict=True):
        values[TRUE_COLUMN[name]] = fields[field]
    return values


def beside_truth(answers: FloatArray) -> FloatArray:
    """Return answers, array (frame, angle of ``NAMES``), in the order of ``TRUE_NAMES``."""
    trunk = [COLUMN[name] for name in _C7_FIELD]
    return np.concatenate([answers, answers[:, trunk]], axis=1)


def _with_wrists(angles: FloatArray, points: Mapping[str, Any]) -> FloatArray:
    level = body_points({name: _level(points[there]["xyz"]) for name, there in _ARM_POINTS.items()})
    of_points = beside_truth(body_angles(level))[0]
    is_wrist = np.array([name.startswith("wrist") for name in TRUE_NAMES])
    return np.where(is_wrist, of_points, angles)


def _level(world: Sequence[float]) -> FloatArray:
    """Return a point of the world (z up) in level axes (y down), array (frame, xyz)."""
    x, y, z = world
    return np.array([[x, -z, y]])


def _truth(
    picture: Mapping[str, Any], source: str, time_s: float, view: str, has_patient: bool
) -> Truth:
    operator = next(each for each in picture["persons"] if each["role"] == "operator")
    return Truth(
        source=source,
        time_s=time_s,
        view=view,
        angles=_with_wrists(angles_of(picture["angles"]), operator["points"]),
        people_px={
            each["role"]: np.array([each["points"][point]["px"] for point in _POINTS.values()])
            for each in picture["persons"]
        },
        visible_share=_visible_share(operator["points"]),
        clock_hours=picture["clock_hours"] if has_patient else np.nan,
    )


def _visible_share(points: Mapping[str, Any]) -> float:
    seen = [each["in_frame"] and each["hidden_by"] in ("", "self") for each in points.values()]
    return float(np.mean(seen))


def still_descriptions(folder: Path) -> list[Path]:
    """Return the JSON beside every still of a set, in order of names."""
    return sorted(path for path in folder.glob("*.json") if path.with_suffix(".jpg").is_file())


def truth_of_stills(folder: Path) -> list[Truth]:
    """Return the truth of every still of a set."""
    return [_truth_of_still(path) for path in still_descriptions(folder)]


def _truth_of_still(path: Path) -> Truth:
    picture = json.loads(path.read_text())
    return _truth(picture, path.stem, 0.0, picture["view"], picture["scene"]["patient"])


def truth_of_clip(path: Path) -> list[Truth]:
    """Return the truth of every picture of a clip, from the JSON beside it."""
    clip = json.loads(path.read_text())
    patient = clip["scene"]["patient"]
    return [_truth(picture, path.stem, picture["t"], "clip", patient) for picture in clip["frames"]]


def angle_table(truths: Sequence[Truth]) -> FloatArray:
    """Return array (picture, angle) in the order of ``TRUE_NAMES``."""
    return np.array([each.angles for each in truths])


@dataclass(frozen=True, slots=True, eq=False)
class NoPicture:
    """The answer of someone who never saw a picture: the same for every one.

    Attributes
    ----------
    median : array (angle,)
        Middle of the true angles of a training set.
    spread : array (angle,)
        Standard deviation of the same.
    """

    median: FloatArray
    spread: FloatArray


def no_picture(train: Path) -> NoPicture:
    """Return what the true angles of a training set alone would answer."""
    table = np.array([angles_of(_angles_of_file(path)) for path in still_descriptions(train)])
    return NoPicture(np.median(table, axis=0), np.std(table, axis=0))


def _angles_of_file(path: Path) -> Mapping[str, float]:
    angles: Mapping[str, float] = json.loads(path.read_text())["angles"]
    return angles


def camera_notes(camera: Mapping[str, Any]) -> dict[str, Any]:
    """Return what notes would state of a scene's camera (OpenCV's K and R, world z up)."""
    lens, turned = np.array(camera["K"]), np.array(camera["R"])
    up = np.array([0.0, 0.0, 1.0])
    return {
        "width": camera["width"],
        "height": camera["height"],
        "focal_px": round(float(lens[0, 0]), 3),
        "pitch_deg": round(float(np.degrees(np.arcsin(turned[2, 2]))), 3),
        "roll_deg": round(float(np.degrees(np.arctan2(turned[0] @ up, -(turned[1] @ up)))), 3),
        "height_m": round(float(camera["position"][2]), 3),
        "principal_px": [float(lens[0, 2]), float(lens[1, 2])],
    }


def nearest(truths: Iterable[Truth], source: str, time_s: float) -> Truth:
    """Return the truth of one analysed frame."""
    return min(
        (each for each in truths if each.source == source),
        key=lambda each: abs(each.time_s - time_s),
    )
