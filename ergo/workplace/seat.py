"""Where a seated person is on the plan, from two cues that fail in different ways.

The line of sight through the hips meets the height of a seated person's hips
somewhere: sure when seen from above, useless from hip height. The size of the
body tells the distance whatever the height. Each cue counts by its certainty.
"""

from dataclasses import dataclass

import numpy as np

from ergo.arrays import FloatArray, IndexArray
from ergo.camera.camera import Camera
from ergo.landmarks.joints import JOINT
from ergo.landmarks.names import INDEX
from ergo.landmarks.pose_track import PoseTrack
from ergo.posture.body_points import BodyPoints
from ergo.posture.geometry import heading_axes, unit, without
from ergo.posture.joints import joint_points
from ergo.posture.placing import levelled, placed_body
from ergo.timeline import Timeline
from ergo.tracking.body import TRUE_PER_NETWORK_SIZE
from ergo.workplace.sampled_rooms import Cameras, SeatErrors

HIP_HEIGHT_M, HIP_HEIGHT_SD_M = 0.62, 0.06
"""Hip joints of a seated person above the floor (0.54-0.72 m in our training scenes; ours)."""
SIZE_SD, SIZE_SD_KNOWN_HEIGHT = 0.11, 0.08
"""Spread of the true size over the network's guess, in our training scenes (ours)."""
AVERAGE_HEIGHT_CM = 170.0
KNEE_SEEN = 0.5
"""Belief in the view of a knee from which it counts as seen (ours)."""
MIDDLE_SD_TRUNKS = 0.10
"""Error of the middle of two points in the picture where only landmarks are known, per axis, in
trunk lengths (ours)."""


@dataclass(frozen=True, slots=True, eq=False)
class SeenPerson:
    """What the body points tell of one person's place, before a room is known.

    Attributes
    ----------
    hips_px, hips_sd_px : array (frame, xy), (frame,)
        Middle of the hips and its error per axis. [px]
    depth_m : array (frame,)
        The network's guess of the hips' depth, for ``focal_px``. [m]
    focal_px : float
    size, size_sd : float
        True size of this person over the network's guess.
    eyes_m, elbow_m, hands_m : array (frame, xyz)
        From the hips, x to the right of the picture, y ahead, z up, in the
        network's size; of the elbows the lower one; the middle of both hands. [m]
    knees_m : array (frame, side, xyz)
        The same of both knees; NaN where the network does not believe that it sees them. [m]
    trunk_forward, head_forward : array (frame, xy)
        Where trunk and head point on the plan, length 1.
    """

    hips_px: FloatArray
    hips_sd_px: FloatArray
    depth_m: FloatArray
    focal_px: float
    size: float
    size_sd: float
    eyes_m: FloatArray
    elbow_m: FloatArray
    hands_m: FloatArray
    knees_m: FloatArray
    trunk_forward: FloatArray
    head_forward: FloatArray


def seen_person(
    timeline: Timeline, track: PoseTrack, camera: Camera, height_cm: float | None
) -> SeenPerson:
    """Return what the body points of one source tell of a person's place.

    Parameters
    ----------
    timeline : Timeline
        Of this source alone.
    track : PoseTrack
        Of this source alone.
    camera : Camera
    height_cm : float or None
        Body height as the notes state it. [cm]
    """
    placed = seen_points(timeline, track, camera)
    points = levelled(placed, [camera], timeline)
    hips = points.middle("hip")
    left, right = points["elbow_left"], points["elbow_right"]
    lower = np.where(left[:, 1:2] > right[:, 1:2], left, right)  # y points down
    return SeenPerson(
        hips_px=middle_px(track, "hip"),
        hips_sd_px=middle_sd_px(track, "hip"),
        depth_m=placed.middle("hip")[:, 2],
        focal_px=camera.focal_px,
        size=TRUE_PER_NETWORK_SIZE * (height_cm / AVERAGE_HEIGHT_CM if height_cm else 1.0),
        size_sd=SIZE_SD_KNOWN_HEIGHT if height_cm else SIZE_SD,
        eyes_m=on_plan(points.middle("eye_outer") - hips),
        elbow_m=on_plan(lower - hips),
        hands_m=on_plan(points.middle("index") - hips),
        knees_m=_knees_m(points, track),
        trunk_forward=_forward(heading_axes(points)[..., 1]),
        head_forward=_forward(points.middle("eye_outer") - points.middle("ear")),
    )


def seen_points(timeline: Timeline, track: PoseTrack, camera: Camera) -> BodyPoints:
    """Return refined joints in camera axes; landmarks where there is none."""
    body = placed_body(track, [camera], timeline)
    refined = joint_points(track, [camera], timeline, body.hip_depth_m)
    if refined is None:
        return body.points
    joints = refined[0].xyz
    return BodyPoints(np.where(np.isfinite(joints), joints, body.points.xyz))


def middle_px(track: PoseTrack, stem: str) -> FloatArray:
    """Return the middle of a left and right point, array (frame, xy); refined where it is. [px]."""
    pair = [INDEX[f"{stem}_left"], INDEX[f"{stem}_right"]]
    landmarks: FloatArray = track.picture_px[:, :, pair, :2].mean(axis=(1, 2))
    if track.joint_px is None:
        return landmarks
    pair = [JOINT[f"{stem}_left"], JOINT[f"{stem}_right"]]
    joints = track.joint_px[:, pair, :2].mean(axis=1)
    refined: FloatArray = np.where(np.isfinite(joints), joints, landmarks)
    return refined


def _knees_m(points: BodyPoints, track: PoseTrack) -> FloatArray:
    names = ("knee_left", "knee_right")
    knees = np.stack([on_plan(points[name] - points.middle("hip")) for name in names], axis=1)
    seen = track.visibility[:, :, [INDEX[name] for name in names]].mean(axis=1)
    return np.where((seen >= KNEE_SEEN)[..., None], knees, np.nan)


def middle_sd_px(track: PoseTrack, stem: str) -> FloatArray:
    """Return the error of :func:`middle_px` per axis, array (frame,). [px]."""
    trunk = middle_px(track, "hip") - middle_px(track, "shoulder")
    sd_px: FloatArray = MIDDLE_SD_TRUNKS * np.linalg.norm(trunk, axis=-1)
    if track.joint_sd_px is None:
        return sd_px
    joints = track.joint_sd_px[:, [JOINT[f"{stem}_left"], JOINT[f"{stem}_right"]]].mean(axis=1)
    return np.where(np.isfinite(joints), joints, sd_px)


def on_plan(level: FloatArray) -> FloatArray:
    """Return level axes (x right, y down, z ahead) as plan axes (x right, y ahead, z up)."""
    return np.stack([level[..., 0], level[..., 2], -level[..., 1]], axis=-1)


def _forward(level: FloatArray) -> FloatArray:
    down = np.broadcast_to(np.array([0.0, 1.0, 0.0]), level.shape)
    return unit(on_plan(without(level, down))[..., :2])


@dataclass(frozen=True, slots=True, eq=False)
class Seat:
    """Where a person sits in every drawn room.

    Attributes
    ----------
    hips_m : array (draw, frame, xyz)
        Middle of the hips; plan axes of the camera. [m]
    size : array (draw, 1, 1)
        True size of the body over the network's guess.
    """

    hips_m: FloatArray
    size: FloatArray


def seat_of(person: SeenPerson, cameras: Cameras, errors: SeatErrors, frames: IndexArray) -> Seat:
    """Return where a person sits in some frames; the height of the cameras must be known."""
    height, size = hip_height_m(errors), true_size(person, errors)
    rays = _rays(person, cameras, errors, frames)
    by_size = _depth_by_size(person, cameras, size, frames)
    depth = both(
        Cue(by_size, person.size_sd * by_size),
        cue_of_height(rays, cameras.lens_m[:, None] - height[:, None], HIP_HEIGHT_SD_M),
    )
    hips = np.empty_like(rays)
    hips[..., :2] = rays[..., :2] * depth[..., None]
    hips[..., 2] = height[:, None]
    return Seat(hips, size[:, None, None])


def hip_height_m(errors: SeatErrors) -> FloatArray:
    """Return the height of the hips above the floor, array (draw,). [m]."""
    return HIP_HEIGHT_M + HIP_HEIGHT_SD_M * errors.hip_height


def true_size(person: SeenPerson, errors: SeatErrors) -> FloatArray:
    """Return the true size over the network's guess, array (draw,)."""
    return person.size * (1 + person.size_sd * errors.size)


def lens_height_m(
    person: SeenPerson, cameras: Cameras, errors: SeatErrors, frames: IndexArray
) -> FloatArray:
    """Return how high the lens must be for a seated person of this size, array (draw,). [m]."""
    rays = _rays(person, cameras, errors, frames)
    by_size = _depth_by_size(person, cameras, true_size(person, errors), frames)
    heights: FloatArray = np.median(hip_height_m(errors)[:, None] - rays[..., 2] * by_size, axis=1)
    return heights


def _depth_by_size(
    person: SeenPerson, cameras: Cameras, size: FloatArray, frames: IndexArray
) -> FloatArray:
    scale = size * cameras.focal_px / person.focal_px
    return person.depth_m[frames] * scale[:, None]


def _rays(
    person: SeenPerson, cameras: Cameras, errors: SeatErrors, frames: IndexArray
) -> FloatArray:
    off = np.stack([errors.across, errors.up], axis=-1)
    at = person.hips_px[frames] + off[:, None] * person.hips_sd_px[frames][:, None]
    return cameras.plan_rays(at)


@dataclass(frozen=True, slots=True, eq=False)
class Cue:
    """What one cue says of a depth along the optical axis.

    Attributes
    ----------
    depth_m, sd_m : array (draw, frame)
        [m]; an infinite sd where the cue says nothing.
    """

    depth_m: FloatArray
    sd_m: FloatArray


def cue_of_height(rays: FloatArray, fall_m: FloatArray, sd_m: float) -> Cue:
    """Return where lines of sight (draw, frame, xyz) have fallen so far below the lens [m]."""
    fall = -rays[..., 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        depth = fall_m / fall
        is_met = depth > 0
        return Cue(np.where(is_met, depth, 0.0), np.where(is_met, sd_m / np.abs(fall), np.inf))


def both(one: Cue, other: Cue) -> FloatArray:
    """Return the depth that two cues tell together, each by its certainty [m]."""
    weight, rest = 1 / (one.sd_m * one.sd_m), 1 / (other.sd_m * other.sd_m)
    depth: FloatArray = (weight * one.depth_m + rest * other.depth_m) / (weight + rest)
    return depth
