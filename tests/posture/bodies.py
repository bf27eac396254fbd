"""Bodies for the tests of this folder: exact truth of rendered scenes, and made-up tracks."""

import gzip
import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

from ergo.camera.camera import Camera
from ergo.landmarks.names import INDEX, LANDMARKS
from ergo.landmarks.pose_track import PoseTrack
from ergo.posture.angle_names import NAMES
from ergo.posture.body_points import POINTS, BodyPoints, body_points
from ergo.timeline import Timeline

LEVEL_FROM_WORLD = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])  # z up to y down

_OTHER_NAME = {"nose": "nose_tip"} | {
    f"{ours}_{side}": f"{theirs}_{side}"
    for ours, theirs in (("ear", "tragus"), ("index", "index_knuckle"), ("pinky", "pinky_knuckle"))
    for side in ("left", "right")
}

TRUE_FIELD = {
    "trunk_inclination_deg": "trunk_inclination_sh",
    "trunk_flexion_deg": "trunk_flexion_sh",
    "trunk_side_bend_deg": "trunk_lateral_sh",
    "trunk_twist_deg": "trunk_twist",
    "head_inclination_deg": "head_inclination",
    "neck_flexion_deg": "neck_flexion",
    "neck_side_bend_deg": "neck_lateral",
    "neck_rotation_deg": "neck_rotation",
} | {
    f"{ours}_{side}": f"{theirs}_{side}"
    for ours, theirs in (
        ("upper_arm_elevation_deg", "arm_elevation"),
        ("shoulder_flexion_deg", "shoulder_flexion"),
        ("shoulder_abduction_deg", "shoulder_abduction"),
        ("elbow_flexion_deg", "elbow_flexion"),
        ("shoulder_raise_mm", "shoulder_elevation_mm"),
    )
    for side in ("left", "right")
}


@cache
def scenes():
    path = Path(__file__).parents[1] / "data" / "scenes_truth.json.gz"
    return json.loads(gzip.decompress(path.read_bytes()))


def true_points(points_m, *, top="mid_shoulder"):
    """World points (frame, point, xyz) as BodyPoints, level axes."""
    names = scenes()["names"]
    level = np.asarray(points_m) @ LEVEL_FROM_WORLD.T
    found = {
        name: level[:, names.index(_OTHER_NAME.get(name, name))]
        for name in POINTS
        if name != "trunk_top"
    }
    return body_points(found | {"trunk_top": level[:, names.index(top)]})


def camera_of(record, **facts):
    """The camera of a truth record; level by the formulas of the camera notes."""
    size, rotation = record["camera"], np.array(record["camera"]["R"])
    up = np.array([0, 0, 1.0])
    return Camera(
        size["width"],
        size["height"],
        size["K"][0][0],
        (size["K"][0][2], size["K"][1][2]),
        **{
            "pitch_deg": float(np.degrees(np.arcsin(rotation[2] @ up))),
            "roll_deg": float(np.degrees(np.arctan2(rotation[0] @ up, -(rotation[1] @ up)))),
            "level_sd_deg": 1.0,
            "level_origin": "notes",
            "focal_is_known": True,
        }
        | facts,
    )


def perfect_track(cameras, points_m):
    """What a network without error would say of true world points (frame, point, xyz)."""
    names = scenes()["names"]
    picture = np.full((len(points_m), 1, len(LANDMARKS), 3), np.nan)
    world = picture.copy()
    ours = [name for name in LANDMARKS if name in POINTS]
    rows, theirs = [INDEX[n] for n in ours], [names.index(_OTHER_NAME.get(n, n)) for n in ours]
    for frame, (camera, points) in enumerate(zip(cameras, np.asarray(points_m), strict=True)):
        seen = points[theirs] @ np.array(camera["R"]).T + camera["t"]
        projected = seen @ np.array(camera["K"]).T
        picture[frame, 0, rows, :2] = projected[:, :2] / projected[:, 2:]
        ahead = np.array([*(seen[:, :2] / seen[:, 2:]).mean(axis=0), 1.0])
        turn, _ = Rotation.align_vectors([[0, 0, 1.0]], [ahead])
        world[frame, 0, rows] = turn.apply(seen - seen.mean(axis=0))
    ones = np.ones(len(points_m))
    return PoseTrack("operator", ("exact",), picture, world, np.ones(picture.shape[:3]), ones, ones)


def upright_then_work():
    """The true neutral body for 20 frames, sitting where the operator does, then the clip's.

    World points (frame, point, xyz), 20 frames of each posture.
    """
    clip, names = scenes()["clip"], scenes()["names"]
    frames = [np.array(frame["points_m"]) for frame in clip["frames"]]
    neutral = np.array(clip["neutral_m"])
    turn = _heading(frames[0], names).T @ _heading(neutral, names)
    hip = names.index("mid_hip")
    neutral = (neutral - neutral[hip]) @ turn.T + frames[0][hip]
    return np.array([neutral] * 20 + [f for frame in frames for f in [frame] * 20])


def _heading(points, names):
    left = points[names.index("hip_left")] - points[names.index("hip_right")]
    left = left * [1, 1, 0] / np.hypot(*left[:2])
    return np.stack([left, np.cross(left, [0, 0, 1.0]), [0, 0, 1.0]])


def stills_timeline(count):
    names = tuple(f"still {number}" for number in range(count))
    zeros, ones = np.zeros(count), np.ones(count)
    return Timeline(names, np.arange(count), zeros, ones, np.ones(count, bool), "picture")


def clip_timeline(*clips_time_s):
    """One clip for each array of times."""
    index = np.concatenate([np.full(len(t), at) for at, t in enumerate(clips_time_s)])
    time_s = np.concatenate(clips_time_s).astype(float)
    names = tuple(f"clip {at}" for at in range(len(clips_time_s)))
    held = np.concatenate([np.gradient(np.asarray(t, float)) for t in clips_time_s])
    return Timeline(names, index, time_s, held, np.zeros(len(time_s), bool), "second")


@dataclass(frozen=True)
class Pose:
    """A posture by its angles [deg]; the trunk's by its projections on the pelvis planes."""

    heading: float = 0.0
    trunk_flexion: float = 0.0
    trunk_side_bend: float = 0.0
    trunk_twist: float = 0.0
    neck_rotation: float = 0.0
    neck_flexion: float = 0.0
    neck_side_bend: float = 0.0
    arms: tuple = ((0.0, 0.0, 0.0), (0.0, 0.0, 0.0))  # left, right: flexion, abduction, elbow


def built(pose, neutral_trunk_deg=0.0):
    """A body built with scipy rotations, in level axes, (1, point, xyz).

    Built in axes (right, forward, up). ``neutral_trunk_deg`` is the lean of the
    trunk line of this body in its neutral posture, which its arms and head know of.
    """
    tan = lambda degrees: np.tan(np.radians(degrees))  # noqa: E731
    heading = Rotation.from_euler("z", pose.heading, degrees=True)
    up = np.array([tan(pose.trunk_side_bend), tan(pose.trunk_flexion + neutral_trunk_deg), 1.0])
    up /= np.linalg.norm(up)
    right = np.array([1.0, 0, 0]) - up * up[0]
    right = Rotation.from_rotvec(up * np.radians(pose.trunk_twist)).apply(
        right / np.linalg.norm(right)
    )
    trunk = Rotation.from_matrix(np.stack([right, np.cross(up, right), up], axis=1))
    upright = trunk * Rotation.from_euler("x", neutral_trunk_deg, degrees=True)
    head_turn = Rotation.from_euler(
        "ZXY", [pose.neck_rotation, -pose.neck_flexion, pose.neck_side_bend], degrees=True
    )
    # in neutral the head is level although the trunk line leans
    head = trunk * head_turn * Rotation.from_euler("x", neutral_trunk_deg, degrees=True)
    top = 0.5 * up
    points = {"hip_left": [-0.1, 0, 0], "hip_right": [0.1, 0, 0], "nose": top + [0, 0.1, 0.2]}
    middle = top + 0.2 * up
    for side, sign, (flexion, abduction, elbow) in zip(
        ("left", "right"), (-1, 1), pose.arms, strict=True
    ):
        points[f"ear_{side}"] = middle + head.apply([sign * 0.07, 0, 0])
        points[f"eye_outer_{side}"] = middle + head.apply([sign * 0.05, 0.07, 0])
        shoulder = top + trunk.apply([sign * 0.18, 0, 0])
        arm = np.array([sign * tan(abduction), tan(flexion), -1.0])
        arm /= np.linalg.norm(arm)
        bend = Rotation.from_rotvec(np.radians(elbow) * _square_to(arm))
        points[f"shoulder_{side}"] = shoulder
        points[f"elbow_{side}"] = shoulder + 0.3 * upright.apply(arm)
        points[f"wrist_{side}"] = points[f"elbow_{side}"] + 0.25 * upright.apply(bend.apply(arm))
    to_level = LEVEL_FROM_WORLD @ heading.as_matrix()
    return body_points({n: (to_level @ np.asarray(p, float))[None] for n, p in points.items()})


def _square_to(direction):
    across = np.cross(direction, [0.3, 0.5, 0.8])
    return across / np.linalg.norm(across)


def posture_of(values, sd=2.0, frames=None):
    """A PostureTrack with some named angles; the others were not seen."""
    from ergo.posture.posture_track import PostureTrack

    count = frames or len(next(iter(values.values())))
    value = np.full((count, len(NAMES)), np.nan)
    for name, of_name in values.items():
        value[:, NAMES.index(name)] = of_name
    spread = np.where(np.isnan(value), np.nan, sd)
    return PostureTrack(value, spread, np.ones(count, bool), np.zeros(count, bool))


def random_body(seed, frames=3):
    """Points without any plan, for properties that hold for every body."""
    return BodyPoints(np.random.default_rng(seed).normal(size=(frames, len(POINTS), 3)))
