"""Refined joint centres as body points, each with its spread: what the correction works on."""

from collections.abc import Sequence

import numpy as np

from ergo.arrays import BoolArray, FloatArray, frames_side_by_side
from ergo.camera.camera import Camera
from ergo.landmarks.joints import JOINTS
from ergo.landmarks.names import INDEX
from ergo.landmarks.pose_track import PoseTrack
from ergo.posture.body_points import POINTS, POSITION, BodyPoints, body_points
from ergo.timeline import Timeline

_POINT_OF = {"c7": "trunk_top"}


def joint_points(
    track: PoseTrack, cameras: Sequence[Camera], timeline: Timeline, hip_depth_m: FloatArray
) -> tuple[BodyPoints, FloatArray] | None:
    """Return the refined joints in camera axes and their spread; None where there are none.

    Parameters
    ----------
    track : PoseTrack
    cameras : sequence of Camera
        One per source.
    timeline : Timeline
    hip_depth_m : array (frame,)
        Of :func:`ergo.posture.placing.placed_body`. [m]

    Returns
    -------
    BodyPoints
        x right, y down, z ahead; ``trunk_top`` is C7. A joint outside the picture is NaN.
    array (frame, point)
        One standard deviation of each point across the line of sight. [m]
    """
    if track.joint_px is None or track.joint_sd_px is None:
        return None
    lens = [(c.focal_px, *c.centre_px, c.width_px, c.height_px) for c in cameras]
    of_frame = np.array(lens, dtype=float).reshape(-1, 5)[timeline.source_index]
    focal_px, centre_px, size_px = of_frame[:, 0], of_frame[:, 1:3], of_frame[:, 3:]
    joint_px = frames_side_by_side(track.joint_px)
    points, spread_m = placed_joints(joint_px, track.joint_sd_px, hip_depth_m, focal_px, centre_px)
    for at, joint in enumerate(JOINTS):
        inside = _is_inside(joint_px[:, at, :2], size_px)
        if joint in INDEX:  # where the landmark lies outside, its joint inside is a guess
            landmark_px = track.picture_px[:, :, INDEX[joint], :2].mean(axis=1)
            inside &= _is_inside(landmark_px, size_px)
        points[_POINT_OF.get(joint, joint)][~inside] = np.nan
    return points, spread_m


def _is_inside(places_px: FloatArray, size_px: FloatArray) -> BoolArray:
    """Return where places (frame, xy) lie in a picture of that size (frame, xy)."""
    x, y, width, height = *places_px.T, *size_px.T
    inside: BoolArray = (x >= 0) & (y >= 0) & (x <= width) & (y <= height)
    return inside


def placed_joints(
    joint_px: FloatArray,
    joint_sd_px: FloatArray,
    depth_m: FloatArray,
    focal_px: FloatArray,
    centre_px: FloatArray,
) -> tuple[BodyPoints, FloatArray]:
    """Return joints on their lines of sight, in camera axes, and their spread (frame, point). [m].

    Parameters
    ----------
    joint_px, joint_sd_px : array (frame, joint, xyz), (frame, joint)
    depth_m : array (frame,)
        Of mid-hip; sets the scale.
    focal_px, centre_px : array (frame,), (frame, xy)
    """
    metre = (depth_m / focal_px)[:, None]  # per px at the depth of the hips
    ahead = depth_m[:, None] + joint_px[..., 2] * metre
    across = (joint_px[..., :2] - centre_px[:, None]) / focal_px[:, None, None] * ahead[..., None]
    spread_m = frames_side_by_side(np.full((len(joint_px), len(POINTS)), np.nan))
    named = {}
    for at, joint in enumerate(JOINTS):
        point = _POINT_OF.get(joint, joint)
        named[point] = np.stack([*across[:, at].T, ahead[:, at]], axis=-1)
        spread_m[:, POSITION[point]] = joint_sd_px[:, at] * metre[:, 0]
    return body_points(named), spread_m
