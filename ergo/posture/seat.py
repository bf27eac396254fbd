"""Where a seated person is on the plan, from two cues that fail in different ways.

The line of sight through the hips meets the height of a seated person's hips
somewhere: sure when seen from above, useless from hip height. The size of the
body tells the distance whatever the height. Each cue counts by its certainty.
"""

from dataclasses import dataclass

import numpy as np

from ergo.arrays import FloatArray
from ergo.landmarks.names import INDEX
from ergo.landmarks.pose_track import PoseTrack
from ergo.posture.geometry import heading_axes, unit, without
from ergo.posture.placing import camera_points, levelled
from ergo.room.camera import Camera
from ergo.timeline import Timeline

HIP_HEIGHT_M, HIP_HEIGHT_SD_M = 0.62, 0.07
"""Hips of a seated person above the floor, as networks place them: a little above the joint.

Brief: 0.45-0.65 m for the joint (common practice, no source); landmarks lie 0.04 m higher
in our training scenes.
"""
TRUE_PER_NETWORK_SIZE, SIZE_SD, SIZE_SD_KNOWN_HEIGHT = 1.18, 0.11, 0.08
"""Sizes of bodies over the network's metric guess, in our training scenes (ours)."""
AVERAGE_HEIGHT_CM = 170.0
HIP_SD_TRUNKS = 0.10
"""Error of the middle of the hips in the picture, in trunk lengths, per axis (ours)."""


@dataclass(frozen=True, slots=True, eq=False)
class SeenPerson:
    """What the landmarks tell of one person's place, before a room is known.

    Attributes
    ----------
    hips_px : array (frame, xy)
        Middle of the hips. [px]
    trunk_px : array (frame,)
        Length of the trunk in the picture. [px]
    depth_m : array (frame,)
        The network's guess of the hips' depth, for ``focal_px``. [m]
    focal_px : float
    size, size_sd : float
        True size of this person over the network's guess.
    eyes_m, elbow_m : array (frame, xyz)
        From the hips, x to the right of the picture, y ahead, z up, in the
        network's size; of the elbows the lower one. [m]
    trunk_forward, head_forward : array (frame, xy)
        Where trunk and head point on the plan, length 1.
    """

    hips_px: FloatArray
    trunk_px: FloatArray
    depth_m: FloatArray
    focal_px: float
    size: float
    size_sd: float
    eyes_m: FloatArray
    elbow_m: FloatArray
    trunk_forward: FloatArray
    head_forward: FloatArray


def seen_person(
    timeline: Timeline, track: PoseTrack, camera: Camera, height_cm: float | None
) -> SeenPerson:
    """Return what the landmarks of one source tell of a person's place.

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
    placed = camera_points(track, [camera], timeline)
    points = levelled(placed, [camera], timeline)
    hips = points.middle("hip")
    left, right = points["elbow_left"], points["elbow_right"]
    lower = np.where(left[:, 1:2] > right[:, 1:2], left, right)  # y points down
    known = height_cm is not None
    return SeenPerson(
        hips_px=_middle_px(track, "hip"),
        trunk_px=np.linalg.norm(_middle_px(track, "hip") - _middle_px(track, "shoulder"), axis=-1),
        depth_m=placed.middle("hip")[:, 2],
        focal_px=camera.focal_px,
        size=TRUE_PER_NETWORK_SIZE * (height_cm / AVERAGE_HEIGHT_CM if height_cm else 1.0),
        size_sd=SIZE_SD_KNOWN_HEIGHT if known else SIZE_SD,
        eyes_m=_on_plan(points.middle("eye_outer") - hips),
        elbow_m=_on_plan(lower - hips),
        trunk_forward=_forward(heading_axes(points)[..., 1]),
        head_forward=_forward(points.middle("eye_outer") - points.middle("ear")),
    )


def _middle_px(track: PoseTrack, stem: str) -> FloatArray:
    pair = [INDEX[f"{stem}_left"], INDEX[f"{stem}_right"]]
    middle: FloatArray = track.picture_px[:, :, pair, :2].mean(axis=(1, 2))
    return middle


def _on_plan(level: FloatArray) -> FloatArray:
    """Return level axes (x right, y down, z ahead) as plan axes (x right, y ahead, z up)."""
    return np.stack([level[..., 0], level[..., 2], -level[..., 1]], axis=-1)


def _forward(level: FloatArray) -> FloatArray:
    down = np.broadcast_to(np.array([0.0, 1.0, 0.0]), level.shape)
    return unit(_on_plan(without(level, down))[..., :2])


@dataclass(frozen=True, slots=True)
class SeatErrors:
    """One draw of what is uncertain about a seat, each a standard normal number."""

    hip_height: float
    size: float
    across: float
    up: float


def seat_m(
    person: SeenPerson, camera: Camera, errors: SeatErrors
) -> tuple[FloatArray, float, float]:
    """Return where a person sits, for one camera and one draw of the errors.

    Parameters
    ----------
    person : SeenPerson
    camera : Camera
        Its height must be known.
    errors : SeatErrors

    Returns
    -------
    seat : array (frame, xy)
        Plan axes of the camera. [m]
    hip_height : float
        [m]
    size : float
        True size over the network's guess.
    """
    height, size = hip_height_m(errors), true_size(person, errors)
    rays = _rays(person, camera, errors)
    by_size = person.depth_m * size * camera.focal_px / person.focal_px
    sure = Cue(by_size, person.size_sd * by_size)
    depth = both(sure, cue_of_height(rays, camera, height, HIP_HEIGHT_SD_M))
    return rays[:, :2] * depth[:, None], height, size


def hip_height_m(errors: SeatErrors) -> float:
    """Return the height of the hips above the floor in one draw [m]."""
    return HIP_HEIGHT_M + HIP_HEIGHT_SD_M * errors.hip_height


def true_size(person: SeenPerson, errors: SeatErrors) -> float:
    """Return the true size over the network's guess in one draw."""
    return person.size * (1 + person.size_sd * errors.size)


def lens_height_m(person: SeenPerson, camera: Camera, errors: SeatErrors) -> float:
    """Return how high the lens must be for a seated person of this size; NaN if not seen [m]."""
    rays = _rays(person, camera, errors)
    by_size = person.depth_m * true_size(person, errors) * camera.focal_px / person.focal_px
    heights = hip_height_m(errors) - rays[:, 2] * by_size
    seen = heights[np.isfinite(heights)]
    return float(np.median(seen)) if len(seen) else float("nan")


def _rays(person: SeenPerson, camera: Camera, errors: SeatErrors) -> FloatArray:
    off = HIP_SD_TRUNKS * np.array([errors.across, errors.up])
    return camera.plan_rays(person.hips_px + off * person.trunk_px[:, None])


@dataclass(frozen=True, slots=True, eq=False)
class Cue:
    """What one cue says of a depth along the optical axis.

    Attributes
    ----------
    depth_m, sd_m : array (frame,)
        [m]; an infinite sd where the cue says nothing.
    """

    depth_m: FloatArray
    sd_m: FloatArray


def cue_of_height(rays: FloatArray, camera: Camera, height_m: float, sd_m: float) -> Cue:
    """Return where lines of sight (frame, xyz) reach a height above the floor [m]."""
    fall = -rays[:, 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        depth = ((camera.height_m or 0.0) - height_m) / fall
        is_met = depth > 0
        return Cue(np.where(is_met, depth, 0.0), np.where(is_met, sd_m / np.abs(fall), np.inf))


def both(one: Cue, other: Cue) -> FloatArray:
    """Return the depth (frame,) that two cues tell together, each by its certainty [m]."""
    weight, rest = one.sd_m**-2.0, other.sd_m**-2.0
    depth: FloatArray = (weight * one.depth_m + rest * other.depth_m) / (weight + rest)
    return depth
