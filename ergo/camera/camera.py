"""The camera: how pixels become directions, and where up is."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from ergo.arrays import FloatArray
from ergo.errors import InputError

LevelOrigin = Literal["notes", "set-up", "neutral", "room", "people", "assumed"]


@dataclass(frozen=True, slots=True)
class Level:
    """What one source tells of a camera's level.

    Attributes
    ----------
    pitch_deg, roll_deg : float
        As of :class:`Camera`. [deg]
    pitch_sd_deg, roll_sd_deg : float
        One standard deviation of each; infinite where it tells nothing. [deg]
    origin : str
        Which source.
    """

    pitch_deg: float
    roll_deg: float
    pitch_sd_deg: float
    roll_sd_deg: float
    origin: LevelOrigin


@dataclass(frozen=True, slots=True, eq=False)
class Camera:
    """A pinhole camera without distortion, as in OpenCV, and its level.

    Attributes
    ----------
    width_px, height_px : int
        Size of the upright picture. [px]
    focal_px : float
        Focal length. [px]
    centre_px : tuple of float
        Principal point (x, y). [px]
    pitch_deg : float
        Elevation of the optical axis; negative = looking down. [deg]
    roll_deg : float
        Positive = turned counter-clockwise about the optical axis as seen from
        behind the camera: a true vertical leans to the right in the picture. [deg]
    height_m : float or None
        Lens above the floor; None where unknown. [m]
    level_sd_deg : float
        One standard deviation of pitch and of roll. [deg]
    level_origin : str
        Where pitch and roll come from; ``"assumed"`` = taken as level.
    focal_is_known : bool
        False where the field of view was assumed.
    levels : tuple of Level
        All that was told of the level and is fused in it (:func:`ergo.camera.level.fused`);
        of a level that is assumed: what was told, but not surely enough.
    """

    width_px: int
    height_px: int
    focal_px: float
    centre_px: tuple[float, float]
    pitch_deg: float = 0.0
    roll_deg: float = 0.0
    height_m: float | None = None
    level_sd_deg: float = 6.0
    level_origin: LevelOrigin = "assumed"
    focal_is_known: bool = False
    levels: tuple[Level, ...] = ()

    def __post_init__(self) -> None:
        if self.focal_px <= 0 or self.width_px <= 0 or self.height_px <= 0:
            raise InputError("A camera needs a positive size and focal length.")

    @property
    def up(self) -> FloatArray:
        """array (xyz,): the direction of up, in camera axes (x right, y down, z ahead).

        Computed as ``R @ (0, 0, 1)`` of the OpenCV convention in which pitch is
        ``asin(R[2] . up)`` and roll is ``atan2(R[0] . up, -(R[1] . up))``.
        """
        pitch, roll = np.radians(self.pitch_deg), np.radians(self.roll_deg)
        return np.array(
            [
                np.cos(pitch) * np.sin(roll),
                -np.cos(pitch) * np.cos(roll),
                np.sin(pitch),
            ]
        )

    @property
    def level_from_camera(self) -> FloatArray:
        """array (xyz, xyz): turns camera axes into level axes.

        Level axes: x to the right of the picture and horizontal, y straight
        down, z ahead and horizontal. Multiply from the left:
        ``level = level_from_camera @ camera``.
        """
        down = -self.up
        ahead = np.array([0.0, 0.0, 1.0])
        ahead = ahead - down * (ahead @ down)
        ahead /= np.linalg.norm(ahead)
        return np.stack([np.cross(down, ahead), down, ahead])

    def rays(self, points_px: FloatArray) -> FloatArray:
        """Return the direction of each picture point, with depth 1.

        Parameters
        ----------
        points_px : array (..., xy)
            Points in the upright picture. [px]

        Returns
        -------
        array (..., xyz)
            Camera axes, z = 1.
        """
        centred = (points_px - np.asarray(self.centre_px)) / self.focal_px
        return np.concatenate([centred, np.ones_like(centred[..., :1])], axis=-1)

    def plan_rays(self, points_px: FloatArray) -> FloatArray:
        """Return the direction of each picture point in plan axes.

        Parameters
        ----------
        points_px : array (..., xy)
            Points in the upright picture. [px]

        Returns
        -------
        array (..., xyz)
            x to the right of the picture, y ahead, both horizontal, z up; one
            unit deep along the optical axis.
        """
        level = self.rays(points_px) @ self.level_from_camera.T
        return np.stack([level[..., 0], level[..., 2], -level[..., 1]], axis=-1)

    def at_height(self, points_px: FloatArray, height_m: FloatArray | float) -> FloatArray:
        """Return where the line of sight of each picture point reaches a height.

        Parameters
        ----------
        points_px : array (..., xy)
            Points in the upright picture. [px]
        height_m : array (...,) or float
            Above the floor. [m]

        Returns
        -------
        array (..., xy)
            On the plan: x to the right of the picture, y ahead of the camera. [m]
            NaN where the line of sight never gets there.
        """
        rays = self.plan_rays(points_px)
        with np.errstate(divide="ignore", invalid="ignore"):
            times = (height_m - self._height_m) / rays[..., 2]
        times = np.where(np.isfinite(times) & (times > 0), times, np.nan)
        return rays[..., :2] * times[..., None]

    def pixels(self, points_m: FloatArray) -> FloatArray:
        """Return where points of the room are seen.

        Parameters
        ----------
        points_m : array (..., xyz)
            Plan axes: x to the right of the picture, y ahead, z above the
            floor; the lens is above the origin. [m]

        Returns
        -------
        array (..., xy)
            [px]; NaN behind the camera.
        """
        x, y, z = np.moveaxis(points_m, -1, 0)
        level = np.stack([x, self._height_m - z, y], axis=-1)
        seen = level @ self.level_from_camera
        depth = np.where(seen[..., 2:] > 0, seen[..., 2:], np.nan)
        pixels: FloatArray = self.focal_px * seen[..., :2] / depth + np.asarray(self.centre_px)
        return pixels

    @property
    def _height_m(self) -> float:
        if self.height_m is None:
            raise InputError("Places in the room need the height of the lens above the floor.")
        return self.height_m
