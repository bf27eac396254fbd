"""From the networks' landmarks to body points in level axes.

The hybrid of two things a network gives: each point keeps the line of sight of
its place in the picture, and takes its depth from the network's own metric
guess, which is first moved so that it projects onto the picture as well as it can.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ergo.arrays import FloatArray
from ergo.camera.camera import Camera
from ergo.landmarks.names import INDEX
from ergo.landmarks.pose_track import PoseTrack
from ergo.posture.body_points import POINTS, BodyPoints, body_points, turned
from ergo.timeline import Timeline

_NEAREST_M = 0.1
_SEEN_POINTS = tuple(name for name in POINTS if name in INDEX)
_LANDMARKS = [INDEX[name] for name in _SEEN_POINTS]
_HIPS = [_SEEN_POINTS.index("hip_left"), _SEEN_POINTS.index("hip_right")]


def level_points(track: PoseTrack, cameras: Sequence[Camera], timeline: Timeline) -> BodyPoints:
    """Return the body points of every frame in level axes, the mean of all looks.

    A point that lies outside the picture is not seen, wherever a network
    believes it to be.

    Parameters
    ----------
    track : PoseTrack
    cameras : sequence of Camera
        One per source.
    timeline : Timeline
    """
    return levelled(camera_points(track, cameras, timeline), cameras, timeline)


def levelled(points: BodyPoints, cameras: Sequence[Camera], timeline: Timeline) -> BodyPoints:
    """Return points given in each source's camera axes (x right, y down, z ahead) in level axes."""
    level = np.array([camera.level_from_camera for camera in cameras]).reshape(-1, 3, 3)
    level = level[timeline.source_index]
    return BodyPoints(turned(level, points.xyz))


def camera_points(track: PoseTrack, cameras: Sequence[Camera], timeline: Timeline) -> BodyPoints:
    """Return the body points of every frame in camera axes: x right, y down, z ahead."""
    return placed_body(track, cameras, timeline).points


@dataclass(frozen=True, slots=True, eq=False)
class PlacedBody:
    """One person in camera axes: x to the right, y down, z ahead.

    Attributes
    ----------
    points : BodyPoints
        A point outside the picture is NaN. [m]
    hip_depth_m : array (frame,)
        How far ahead mid-hip is, also where it lies outside the picture. [m]
    """

    points: BodyPoints
    hip_depth_m: FloatArray


def placed_body(track: PoseTrack, cameras: Sequence[Camera], timeline: Timeline) -> PlacedBody:
    """Return the body of every frame in camera axes, the mean of all looks."""
    lens = [(c.focal_px, *c.centre_px, c.width_px, c.height_px) for c in cameras]
    of_frame = np.array(lens, dtype=float).reshape(-1, 5)[timeline.source_index]
    focal_px, centre_px, size_px = of_frame[:, 0], of_frame[:, 1:3], of_frame[:, 3:]
    picture_px = _of_body(track.picture_px[..., :2])
    of_looks = _on_sight_m(picture_px, _of_body(track.world_m), focal_px, centre_px)
    points_m, middle_px = _mean_look(of_looks), _mean_look(picture_px)
    is_outside = ((middle_px < 0) | (middle_px > size_px[:, None])).any(axis=-1)
    points_m[is_outside] = np.nan
    return PlacedBody(_as_body(points_m), _hip_depth_m(of_looks))


def placed_landmarks(
    picture_px: FloatArray, world_m: FloatArray, focal_px: FloatArray, centre_px: FloatArray
) -> BodyPoints:
    """Return the body points in camera axes, those outside the picture too. [m].

    Parameters
    ----------
    picture_px, world_m : array (frame, look, landmark, xy), (frame, look, landmark, xyz)
    focal_px, centre_px : array (frame,), (frame, xy)
    """
    body = _of_body(picture_px), _of_body(world_m)
    return _as_body(_mean_look(_on_sight_m(*body, focal_px, centre_px)))


def _as_body(points_m: FloatArray) -> BodyPoints:
    return body_points({name: points_m[:, at] for at, name in enumerate(_SEEN_POINTS)})


def hip_depth_m(
    picture_px: FloatArray, world_m: FloatArray, focal_px: FloatArray, centre_px: FloatArray
) -> FloatArray:
    """Return how far ahead of the camera mid-hip is, array (frame,). [m].

    Parameters
    ----------
    picture_px, world_m : array (frame, look, landmark, xy), (frame, look, landmark, xyz)
    focal_px, centre_px : array (frame,), (frame, xy)
    """
    body = _of_body(picture_px), _of_body(world_m)
    return _hip_depth_m(_on_sight_m(*body, focal_px, centre_px))


def _hip_depth_m(of_looks: FloatArray) -> FloatArray:
    depth: FloatArray = of_looks[:, :, _HIPS, 2].mean(axis=2).mean(axis=1)
    return depth


def _of_body(landmarks: FloatArray) -> FloatArray:
    """Return the landmarks (frame, look, landmark, ...) that are body points."""
    return np.moveaxis(np.moveaxis(landmarks, 0, -1)[:, _LANDMARKS], -1, 0)


def _on_sight_m(
    picture_px: FloatArray, world_m: FloatArray, focal_px: FloatArray, centre_px: FloatArray
) -> FloatArray:
    """Return the body's landmarks where they were seen, array (frame, look, landmark, xyz). [m]."""
    rays = (picture_px - centre_px[:, None, None]) / focal_px[:, None, None, None]
    return placed_m(rays, world_m)


def _mean_look(of_looks: FloatArray) -> FloatArray:
    """Return the mean over axis 1; adding whole looks is much faster than ``mean``."""
    total = of_looks[:, 0].copy(order="K")
    for look in range(1, of_looks.shape[1]):
        total += of_looks[:, look]
    mean: FloatArray = total / of_looks.shape[1]
    return mean


def placed_m(rays: FloatArray, world_m: FloatArray) -> FloatArray:
    """Return the landmarks on their lines of sight.

    Parameters
    ----------
    rays : array (frame, look, landmark, xy)
        Where each line of sight meets the plane one metre ahead of the camera.
    world_m : array (frame, look, landmark, xyz)
        The network's metric guess, as seen from straight ahead of the crop. [m]

    Returns
    -------
    array (frame, look, landmark, xyz)
        Camera axes: x right, y down, z ahead. [m]
    """
    shape_m = turned(_turn_to(rays.mean(axis=2)), world_m)
    depth_m = shape_m[..., 2] + _best_distance_m(rays, shape_m)[..., None]
    depth_m = np.maximum(depth_m, _NEAREST_M)
    placed = np.empty_like(shape_m)
    placed[..., :2] = rays * depth_m[..., None]
    placed[..., 2] = depth_m
    return placed


def _turn_to(sight: FloatArray) -> FloatArray:
    """Return the shortest turn (..., xyz, xyz) from straight ahead to lines of sight (..., xy).

    A network sees its crop as if the camera had been aimed at it.
    """
    length = np.sqrt(1 + (sight**2).sum(axis=-1))
    x, y, z = sight[..., 0] / length, sight[..., 1] / length, 1 / length
    rows = (
        (1 - x * x / (1 + z), -x * y / (1 + z), x),
        (-x * y / (1 + z), 1 - y * y / (1 + z), y),
        (-x, -y, z),
    )
    return np.moveaxis(np.array(rows), (0, 1), (-2, -1))


def _best_distance_m(rays: FloatArray, shape_m: FloatArray) -> FloatArray:
    """Return how far ahead (frame, look) the shape projects best onto the rays. [m].

    Least squares of ``x + tx - rx (z + tz)`` and the same in y, over tx, ty
    and tz; the first two are eliminated by taking deviations from the means.
    """
    spread, joint = np.zeros((2, *rays.shape[:2]))
    depth = shape_m[..., 2]
    for axis in (0, 1):
        ray = rays[..., axis]
        off = ray * depth - shape_m[..., axis]
        deviation = ray - ray.mean(axis=-1, keepdims=True)
        spread += (deviation**2).sum(axis=-1)
        joint += (deviation * off).sum(axis=-1)
    best: FloatArray = -joint / spread
    return best
