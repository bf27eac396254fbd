"""How far an angle can be wrong: by angle, by view and by what is known of the camera.

``tables/hybrid_errors.csv`` holds, for views in steps of 45 degrees, the usual
error (``offset``) and the standard deviation of what remains.
"""

from collections.abc import Sequence
from functools import cache
from pathlib import Path

import numpy as np

from ergo.arrays import BoolArray, FloatArray, IndexArray
from ergo.camera.camera import Camera
from ergo.posture import geometry as g
from ergo.posture.angle_names import ANGLES, AngleName
from ergo.posture.body_points import BodyPoints
from ergo.published_tables import rows

ERRORS_PATH = Path(__file__).parent / "tables" / "hybrid_errors.csv"

AGAINST_GRAVITY = (
    "trunk_inclination_deg",
    "trunk_flexion_deg",
    "trunk_side_bend_deg",
    "head_inclination_deg",
    "upper_arm_elevation_deg_left",
    "upper_arm_elevation_deg_right",
)
"""Angles that an error in the camera's level enters one to one."""

CHANGES_SIDE = (
    "trunk_side_bend_deg",
    "trunk_twist_deg",
    "neck_side_bend_deg",
    "neck_rotation_deg",
)
"""Angles of the whole body whose sign changes when the body is mirrored."""

BRIDGED_SD_PER_S = 15.0
"""Growth of the standard deviation with the distance to the nearest seen frame (ours) [1/s]."""

UNKNOWN_FOCAL_SD = 1.5
"""What an assumed field of view adds to the standard deviation (ours)."""


WIDEST_SD = {"deg": 30.0, "mm": 25.0}
"""Beyond this an angle cannot be told: its 90 % interval is wider than the joint moves in
seated work, and a number would only look like a measurement (ours)."""


def is_estimable(sd: FloatArray) -> BoolArray:
    """Return where a standard deviation (frame, angle) still lets an angle be told."""
    widest = [WIDEST_SD["mm" if "_mm" in angle.name else "deg"] for angle in ANGLES]
    told: BoolArray = sd <= np.array(widest)
    return told


def view_azimuth_deg(points: BodyPoints) -> FloatArray:
    """Return from where the person was seen, by the shoulder line.

    array (frame,): 0 = from the front, + = from the person's left, 180 = from
    behind, -180..180; NaN where the shoulders were not seen. [deg]
    """
    shoulders = points["shoulder_left"] - points["shoulder_right"]
    left = g.unit(g.without(shoulders, g.UP))
    forward = g.cross(left, g.UP)
    to_camera = -points.middle("shoulder")
    return g.atan2_deg(g.dot(to_camera, left), g.dot(to_camera, forward))


def usual_error(azimuth_deg: FloatArray, is_level_known: BoolArray) -> FloatArray:
    """Return the usual error of every relative angle, array (frame, angle), 0 for others."""
    error = _looked_up("offset", azimuth_deg, is_level_known)
    error[:, [not angle.is_relative for angle in ANGLES]] = 0.0
    return error


def usual_spread(azimuth_deg: FloatArray, is_level_known: BoolArray) -> FloatArray:
    """Return the usual standard deviation of every angle in each view, array (frame, angle).

    Where the view is not known (NaN) the worst one is taken.
    """
    return _looked_up("sd", azimuth_deg, is_level_known)


def standard_deviation(
    spread: FloatArray,
    away_s: FloatArray,
    cameras: Sequence[Camera],
    camera_of: IndexArray,
) -> FloatArray:
    """Return one standard deviation of every angle with all that adds to it, (frame, angle).

    Parameters
    ----------
    spread : array (frame, angle)
        From :func:`usual_spread`, or as it was learned.
    away_s : array (frame,)
        Distance to the nearest seen frame of what was bridged. [s]
    cameras : sequence of Camera
    camera_of : array (frame,)
        Position in ``cameras`` of each frame's camera.
    """
    known = level_is_known(cameras)[camera_of]
    variance = spread**2
    level_sd = np.array([camera.level_sd_deg for camera in cameras])[camera_of]
    gravity = [angle.name in AGAINST_GRAVITY for angle in ANGLES]
    variance[:, gravity] += np.where(known, level_sd, 0.0)[:, None] ** 2
    assumed_focal = np.array([not camera.focal_is_known for camera in cameras])[camera_of]
    variance += np.where(assumed_focal, UNKNOWN_FOCAL_SD, 0.0)[:, None] ** 2
    variance += (BRIDGED_SD_PER_S * away_s[:, None]) ** 2
    sd: FloatArray = np.sqrt(variance)
    return sd


def level_is_known(cameras: Sequence[Camera]) -> BoolArray:
    """Return which cameras' level is more than an assumption, array (camera,)."""
    return np.array([camera.level_origin != "assumed" for camera in cameras], dtype=bool)


def _looked_up(column: str, azimuth_deg: FloatArray, is_level_known: BoolArray) -> FloatArray:
    """Return ``column`` of the table between its views, array (frame, angle)."""
    found = np.empty((len(ANGLES), len(azimuth_deg)))
    for level, frames in (("known", is_level_known), ("assumed", ~is_level_known)):
        if frames.any():
            from_view = azimuth_deg[frames]
            for of_angle, angle in zip(found, ANGLES, strict=True):
                of_angle[frames] = _of_angle(column, angle, level, from_view)
    return found.T


def _of_angle(column: str, angle: AngleName, level: str, azimuth_deg: FloatArray) -> FloatArray:
    views, values = _views(column, _stem(angle), level)
    towards = -azimuth_deg if angle.side == "right" else azimuth_deg
    if angle.side == "whole":
        towards = np.abs(azimuth_deg)
    between = np.interp(np.mod(towards, 360.0), views, values)
    if column == "offset" and angle.name in CHANGES_SIDE:
        between = between * np.sign(azimuth_deg)
    worst = float(np.max(values)) if column == "sd" else 0.0
    return np.where(np.isnan(azimuth_deg), worst, between)


def _stem(angle: AngleName) -> str:
    return angle.name.removesuffix("_left").removesuffix("_right")


@cache
def _views(column: str, stem: str, level: str) -> tuple[FloatArray, FloatArray]:
    """Return the views of the table, rising [deg], and the value of ``column`` in each."""
    table = [
        (float(row["azimuth_deg"]), float(row[column]))
        for row in rows("posture", "hybrid_errors")
        if row["angle"] == stem and row["level"] == level
    ]
    views, values = np.array(sorted(table)).T
    if views[-1] > 180:  # one side of the body: the views go all the way round
        views, values = np.append(views, 360.0), np.append(values, values[0])
    return views, values
