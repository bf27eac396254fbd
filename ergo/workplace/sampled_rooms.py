"""Many equally likely rooms: the uncertainty of camera, patient and seat, carried by drawing it."""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from ergo.arrays import BoolArray, FloatArray, IndexArray
from ergo.camera.camera import Camera
from ergo.camera.chair import Chair


@dataclass(frozen=True, slots=True, eq=False)
class SeatErrors:
    """What is uncertain about one person's seat, drawn.

    Attributes
    ----------
    hip_height, size, across, up : array (draw,)
        Standard normal numbers: height of the hips, size of the body, and the
        place of the hips in the picture.
    """

    hip_height: FloatArray
    size: FloatArray
    across: FloatArray
    up: FloatArray


def seat_errors(count: int, seed: int = 1) -> SeatErrors:
    """Return draws of what is uncertain about a seat, the same every time."""
    return SeatErrors(*np.random.default_rng(seed).standard_normal((4, count)))


@dataclass(frozen=True, slots=True, eq=False)
class Cameras:
    """One camera, drawn.

    Attributes
    ----------
    focal_px : array (draw,)
        [px]
    centre_px : array (xy,)
        [px]
    level_from_camera : array (draw, xyz, xyz)
        As of :class:`~ergo.camera.camera.Camera`.
    lens_m : array (draw,)
        Lens above the floor. [m]
    """

    focal_px: FloatArray
    centre_px: FloatArray
    level_from_camera: FloatArray
    lens_m: FloatArray

    def plan_rays(self, points_px: FloatArray) -> FloatArray:
        """Return the lines of sight of picture points in every drawn room.

        Parameters
        ----------
        points_px : array (draw, frame, xy) or (frame, xy)
            [px]

        Returns
        -------
        array (draw, frame, xyz)
            x to the right of the picture, y ahead, z up; one unit deep along the optical axis.
        """
        across = (points_px - self.centre_px) / self.focal_px[:, None, None]
        plan_from_camera = self.level_from_camera[:, [0, 2, 1]] * np.array([[1.0], [1.0], [-1.0]])
        x, y = across[..., 0], across[..., 1]
        by_x, by_y, ahead = plan_from_camera.transpose(2, 1, 0)[..., None]
        plan = np.array([by_x[to] * x + by_y[to] * y + ahead[to] for to in range(3)])
        return np.moveaxis(plan, 0, -1)

    def some(self, which: BoolArray | IndexArray) -> "Cameras":
        """Return some of the draws."""
        return Cameras(
            self.focal_px[which], self.centre_px, self.level_from_camera[which], self.lens_m[which]
        )


def cameras_of(drawn: Sequence[Camera]) -> Cameras:
    """Return drawn cameras as arrays; an unknown height is NaN."""
    heights = [np.nan if each.height_m is None else each.height_m for each in drawn]
    return Cameras(
        np.array([each.focal_px for each in drawn]),
        np.array(drawn[0].centre_px),
        np.array([each.level_from_camera for each in drawn]),
        np.array(heights),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Rooms:
    """Cameras, patients and errors of a seat, drawn together.

    Attributes
    ----------
    cameras : Cameras
    head_m : array (draw, xyz)
        Middle of the patient's head. Plan axes of the camera: x to the right of
        the picture, y ahead, z above the floor; the lens is above the origin. [m]
    feet : array (draw, xy)
        On the plan from the patient's head to the feet, length 1.
    errors : SeatErrors
    """

    cameras: Cameras
    head_m: FloatArray
    feet: FloatArray
    errors: SeatErrors

    def some(self, which: BoolArray | IndexArray) -> "Rooms":
        """Return some of the draws."""
        errors = [getattr(self.errors, each.name)[which] for each in fields(SeatErrors)]
        return Rooms(
            self.cameras.some(which), self.head_m[which], self.feet[which], SeatErrors(*errors)
        )


def rooms_of_set_up(drawn: Sequence[tuple[Camera, Chair | None]]) -> Rooms | None:
    """Return the rooms that a set-up allows; None where it has no chair."""
    chairs = [chair for _, chair in drawn if chair is not None]
    if len(chairs) < len(drawn):
        return None
    return Rooms(
        cameras_of([camera for camera, _ in drawn]),
        np.array([chair.head_m for chair in chairs]),
        np.array([chair.feet_direction for chair in chairs]),
        seat_errors(len(drawn)),
    )
