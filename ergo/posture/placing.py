"""From the networks' landmarks to body points in level axes.

The hybrid of two things a network gives: each point keeps the line of sight of
its place in the picture, and takes its depth from the network's own metric
guess, which is first moved so that it projects onto the picture as well as it can.
"""

from collections.abc import Sequence

import numpy as np

from ergo.arrays import FloatArray
from ergo.landmarks.names import INDEX
from ergo.landmarks.pose_track import PoseTrack
from ergo.posture.body_points import POINTS, BodyPoints, body_points
from ergo.room.camera import Camera
from ergo.timeline import Timeline

_NEAREST_M = 0.1
_LANDMARK_OF = {name: INDEX[name] for name in POINTS if name in INDEX}


def level_points(track: PoseTrack, cameras: Sequence[Camera], timeline: Timeline) -> BodyPoints:
    """Return the body points of every frame, the mean of all looks.

    A point that lies outside the picture is not seen, wherever a network
    believes it to be.

    Parameters
    ----------
    track : PoseTrack
    cameras : sequence of Camera
        One per source.
    timeline : Timeline
    """
    camera_of = timeline.source_index
    focal_px = np.array([camera.focal_px for camera in cameras])[camera_of]
    centre_px = np.array([camera.centre_px for camera in cameras])[camera_of]
    level = np.array([camera.level_from_camera for camera in cameras])[camera_of]
    size_px = np.array([(camera.width_px, camera.height_px) for camera in cameras])[camera_of]

    picture_px = track.picture_px[..., :2]
    rays = (picture_px - centre_px[:, None, None]) / focal_px[:, None, None, None]
    points_m = placed_m(rays, track.world_m).mean(axis=1)
    middle_px = picture_px.mean(axis=1)
    is_outside = ((middle_px < 0) | (middle_px > size_px[:, None])).any(axis=-1)
    points_m[is_outside] = np.nan
    levelled = np.einsum("fij,fpj->fpi", level, points_m)
    return body_points({name: levelled[:, at] for name, at in _LANDMARK_OF.items()})


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
    shape_m = _seen_along(rays.mean(axis=2), world_m)
    depth_m = shape_m[..., 2] + _shift_m(rays, shape_m)[..., None, 2]
    depth_m = np.maximum(depth_m, _NEAREST_M)
    return np.concatenate([rays * depth_m[..., None], depth_m[..., None]], axis=-1)


def _seen_along(sight: FloatArray, world_m: FloatArray) -> FloatArray:
    """Turn what was guessed as if straight ahead to the line of sight (frame, look, xy)."""
    ahead = np.concatenate([sight, np.ones_like(sight[..., :1])], axis=-1)
    ahead /= np.linalg.norm(ahead, axis=-1, keepdims=True)
    x, y, z = np.moveaxis(ahead, -1, 0)
    turn = np.stack(  # the shortest turn from (0, 0, 1) to ``ahead``
        [
            np.stack([1 - x * x / (1 + z), -x * y / (1 + z), x], axis=-1),
            np.stack([-x * y / (1 + z), 1 - y * y / (1 + z), y], axis=-1),
            np.stack([-x, -y, z], axis=-1),
        ],
        axis=-2,
    )
    turned: FloatArray = np.einsum("flij,flpj->flpi", turn, world_m)
    return turned


def _shift_m(rays: FloatArray, shape_m: FloatArray) -> FloatArray:
    """Return the shift (frame, look, xyz) under which the shape projects best onto the rays.

    Least squares of ``x + tx - rx (z + tz)`` and the same in y: three normal
    equations, of which the first two give tx and ty in terms of tz.
    """
    off = rays * shape_m[..., 2:] - shape_m[..., :2]
    mean_ray, mean_off = rays.mean(axis=2), off.mean(axis=2)
    spread = (rays**2).mean(axis=(2, 3)) * 2 - (mean_ray**2).sum(axis=-1)
    joint = (rays * off).mean(axis=(2, 3)) * 2 - (mean_ray * mean_off).sum(axis=-1)
    depth = -joint / spread
    return np.concatenate([mean_off + mean_ray * depth[..., None], depth[..., None]], axis=-1)
