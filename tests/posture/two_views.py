"""Moments seen by two cameras: true points projected, as perfect and as noisy landmarks."""

from dataclasses import dataclass, replace

import numpy as np

from ergo.landmarks.joints import JOINTS
from ergo.landmarks.names import LANDMARKS
from ergo.multi_camera.limb_triangulation import View
from ergo.timeline import build_timeline
from tests.posture.bodies import camera_of, perfect_track


@dataclass(frozen=True)
class Noise:
    """How far the joints of one part of the body are off, root mean square per axis.

    As measured: the network's joints on a rendered clip of the scene in ``data``, seen by
    its own camera and by one behind the operator (640 x 480).
    """

    steady_px: float  # the same in the whole clip
    changing_px: float  # anew in every frame
    stated_px: float  # what the network says of itself
    shift_m: float  # in depth, of the whole part, the same in the whole clip
    depth_m: float  # in depth, of each joint, anew in every frame


PARTS = {
    "head": Noise(0.7, 1.0, 2.0, 0.02, 0.01),
    "shoulders": Noise(0.8, 1.1, 2.2, 0.015, 0.015),
    "hips": Noise(1.2, 1.4, 2.5, 0.0, 0.01),
    "arms": Noise(1.9, 3.9, 6.0, 0.03, 0.03),
    "legs": Noise(1.2, 2.0, 3.7, 0.04, 0.02),
}
_PART = {
    "head": ("nose", "eye", "ear", "mouth"),
    "shoulders": ("shoulder", "c7"),
    "hips": ("hip",),
    "arms": ("elbow", "wrist", "index", "pinky", "thumb"),
    "legs": ("knee", "ankle", "heel", "toe"),
}
_OTHER_NAME = {"nose": "nose_tip"} | {
    f"{ours}_{side}": f"{theirs}_{side}"
    for ours, theirs in (("ear", "tragus"), ("index", "index_knuckle"), ("pinky", "pinky_knuckle"))
    for side in ("left", "right")
}


def part_of(name):
    return next(part for part, stems in _PART.items() if name.startswith(stems))


def camera_at(position, look_at=(-0.1, 0.25, 0.78), like=None):
    """A camera record (K, R, t, ...) at a place of the world, looking at a point, without roll."""
    position, ahead = np.array(position, float), np.array(look_at, float) - position
    ahead /= np.linalg.norm(ahead)
    right = np.cross(ahead, [0, 0, 1.0])
    right /= np.linalg.norm(right)
    rotation = np.stack([right, np.cross(ahead, right), ahead])
    return {**like, "R": rotation, "t": -rotation @ position, "position": position}


def seen_by(record, names, points_m, time_s, *, noise=0.0, chance=None, **facts):
    """What a camera and the networks would say of true world points (frame, point, xyz).

    ``noise``: 0 = perfect, 1 = as far off as measured; what the network says of itself is
    the same, so that one view alone is at no disadvantage. ``facts``: of the camera as the
    program knows it.
    """
    chance = chance or np.random.default_rng(0)
    exact = perfect_track([record] * len(points_m), points_m)
    joints = np.asarray(points_m)[:, [names.index(_OTHER_NAME.get(j, j)) for j in JOINTS]]
    off_px, off_m = _errors(JOINTS, len(joints), noise, chance)
    at = joints @ np.array(record["R"]).T + record["t"]
    focal = record["K"][0][0]
    pixels = focal * at[..., :2] / at[..., 2:] + np.array(record["K"])[:2, 2] + off_px
    hips = at[:, [JOINTS.index("hip_left"), JOINTS.index("hip_right")], 2].mean(axis=1)
    depth = at[..., 2:] + off_m - hips[:, None, None]
    stated = np.array([PARTS[part_of(joint)].stated_px for joint in JOINTS])
    track = replace(
        _with_errors(exact, noise, chance),
        joint_px=np.concatenate([pixels, depth * focal / hips[:, None, None]], axis=-1),
        joint_sd_px=np.tile(stated, (len(joints), 1)),
    )
    timeline = build_timeline(("a clip",), (np.asarray(time_s, float),), (True,))
    return View(timeline, track, replace(camera_of({"camera": record}), **facts), 0.0)


def _with_errors(track, noise, chance):
    """Return the landmarks moved alike in the picture and in the network's metric guess."""
    off_px, off_m = _errors(LANDMARKS, len(track), noise, chance)
    picture, world = track.picture_px.copy(), track.world_m.copy()
    picture[:, 0, :, :2] += off_px
    world[:, 0, :, 2:] += off_m
    return replace(track, picture_px=picture, world_m=world)


def _errors(names, frames, noise, chance):
    """Return errors in the picture (frame, point, xy) [px] and in depth (frame, point, 1) [m]."""
    of = [PARTS[part_of(name)] for name in names]
    column = lambda key: np.array([getattr(part, key) for part in of])[:, None]  # noqa: E731
    shift = dict(zip(PARTS, chance.normal(0, 1, len(PARTS)), strict=True))
    shifts = np.array([shift[part_of(name)] for name in names])[:, None] * column("shift_m")
    off_px = chance.normal(0, 1, (1, len(of), 2)) * column("steady_px")
    off_px = off_px + chance.normal(0, 1, (frames, len(of), 2)) * column("changing_px")
    off_m = shifts + chance.normal(0, 1, (frames, len(of), 1)) * column("depth_m")
    return noise * off_px, noise * off_m
