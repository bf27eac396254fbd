"""Moments seen by two cameras: true points projected, as perfect and as noisy landmarks."""

from dataclasses import dataclass, replace

import numpy as np

from ergo.landmarks.refine import JOINTS
from ergo.posture.crossing import View
from ergo.timeline import build_timeline

from .bodies import camera_of, perfect_track

SD_PX = 4.0
"""What the refiner says of its own joints, in a picture 640 px wide. [px]"""
_OTHER_NAME = {"nose": "nose_tip"} | {
    f"{ours}_{side}": f"{theirs}_{side}"
    for ours, theirs in (("ear", "tragus"), ("index", "index_knuckle"), ("pinky", "pinky_knuckle"))
    for side in ("left", "right")
}


@dataclass(frozen=True)
class Noise:
    """Errors of joints: the same in the whole clip, and anew in every frame; per axis."""

    steady_px: float = 0.0
    changing_px: float = 0.0
    steady_m: float = 0.0  # in depth
    changing_m: float = 0.0


MEASURED = Noise(3.0, 3.0, 0.05, 0.07)
"""Of the refiner on the rendered clip of ``data``, root mean square over all its joints."""


def camera_at(position, look_at=(-0.1, 0.25, 0.78), like=None):
    """A camera record (K, R, t, ...) at a place of the world, looking at a point, without roll."""
    position, ahead = np.array(position, float), np.array(look_at, float) - position
    ahead /= np.linalg.norm(ahead)
    right = np.cross(ahead, [0, 0, 1.0])
    right /= np.linalg.norm(right)
    rotation = np.stack([right, np.cross(ahead, right), ahead])
    return {**like, "R": rotation, "t": -rotation @ position, "position": position}


def seen_by(record, names, points_m, time_s, start_s=0.0, noise=None, chance=None, **facts):
    """What a camera and the networks would say of true world points (frame, point, xyz).

    ``facts`` are of the camera as the program knows it.
    """
    noise, chance = noise or Noise(), chance or np.random.default_rng(0)
    exact = perfect_track([record] * len(points_m), points_m)
    joints = np.asarray(points_m)[:, [names.index(_OTHER_NAME.get(j, j)) for j in JOINTS]]
    off_px = _errors(chance, joints.shape[:2], 2, noise.steady_px, noise.changing_px)
    off_m = _errors(chance, joints.shape[:2], 1, noise.steady_m, noise.changing_m)
    at = joints @ np.array(record["R"]).T + record["t"]
    focal = record["K"][0][0]
    pixels = focal * at[..., :2] / at[..., 2:] + np.array(record["K"])[:2, 2] + off_px
    hips = at[:, [JOINTS.index("hip_left"), JOINTS.index("hip_right")], 2].mean(axis=1)
    depth = at[..., 2:] + off_m - hips[:, None, None]
    track = replace(
        _with_errors(exact, noise, chance),
        joint_px=np.concatenate([pixels, depth * focal / hips[:, None, None]], axis=-1),
        joint_sd_px=np.full(joints.shape[:2], SD_PX),
    )
    timeline = build_timeline(("a clip",), (np.asarray(time_s, float),), (True,))
    return View(timeline, track, replace(camera_of({"camera": record}), **facts), start_s)


def _with_errors(track, noise, chance):
    """Return the landmarks moved alike in the picture and in the network's metric guess."""
    size = track.picture_px[:, 0, :, 0].shape
    off_px = _errors(chance, size, 2, noise.steady_px, noise.changing_px)
    off_m = _errors(chance, size, 1, noise.steady_m, noise.changing_m)
    picture, world = track.picture_px.copy(), track.world_m.copy()
    picture[:, 0, :, :2] += off_px
    world[:, 0, :, 2:] += off_m
    return replace(track, picture_px=picture, world_m=world)


def _errors(chance, size, axes, steady, changing):
    frames, points = size
    return (
        chance.normal(0, 1, (1, points, axes)) * steady
        + chance.normal(0, 1, (frames, points, axes)) * changing
    )
