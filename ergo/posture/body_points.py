"""The body points that angles are measured on, in level axes."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ergo.arrays import FloatArray, IndexArray, frames_side_by_side
from ergo.errors import InputError

_PAIRED = (
    "eye_outer",
    "ear",
    "shoulder",
    "elbow",
    "wrist",
    "index",
    "pinky",
    "hip",
    "knee",
    "ankle",
)

POINTS: tuple[str, ...] = (
    "nose",
    *(f"{stem}_{side}" for stem in _PAIRED for side in ("left", "right")),
    "trunk_top",
)
"""Order of the point axis. ``index`` and ``pinky`` are knuckles; ``trunk_top`` is the upper
end of the trunk line: C7 where that is known, else the middle of the shoulders."""

POSITION = {name: position for position, name in enumerate(POINTS)}


@dataclass(frozen=True, slots=True, eq=False)
class BodyPoints:
    """Body points of one person.

    Attributes
    ----------
    xyz : array (frame, point, xyz)
        Level axes: x to the right of the picture and horizontal, y straight
        down, z ahead and horizontal; points in the order of :data:`POINTS` [m].
        The scale is the network's guess. NaN = not seen. In memory the frames lie
        side by side: arithmetic on (frame, xyz) is several times quicker then.
    """

    xyz: FloatArray

    def __post_init__(self) -> None:
        if self.xyz.ndim != 3 or self.xyz.shape[1:] != (len(POINTS), 3):
            raise InputError(
                f"xyz must have shape (frames, {len(POINTS)}, 3), got {self.xyz.shape}."
            )
        object.__setattr__(self, "xyz", frames_side_by_side(self.xyz))

    def __len__(self) -> int:
        """Return the number of frames."""
        return len(self.xyz)

    def __getitem__(self, name: str) -> FloatArray:
        """Return one point, array (frame, xyz) [m]."""
        return self.xyz[:, POSITION[name]]

    def middle(self, stem: str) -> FloatArray:
        """Return the middle of a left and right point, array (frame, xyz) [m]."""
        middle: FloatArray = (self[f"{stem}_left"] + self[f"{stem}_right"]) / 2
        return middle

    @property
    def trunk(self) -> FloatArray:
        """array (frame, xyz): from the middle of the hips to the top of the trunk [m]."""
        trunk: FloatArray = self["trunk_top"] - self.middle("hip")
        return trunk

    def frames(self, which: IndexArray) -> "BodyPoints":
        """Return some of the frames."""
        return BodyPoints(np.moveaxis(np.moveaxis(self.xyz, 0, -1)[..., which], -1, 0))

    def turned(self, rotation: FloatArray) -> "BodyPoints":
        """Return the points turned by ``rotation``, array (xyz, xyz), from the left."""
        return BodyPoints(turned(rotation, self.xyz))


def turned(rotation: FloatArray, xyz: FloatArray) -> FloatArray:
    """Return points (..., point, xyz) turned from the left by rotations (..., xyz, xyz)."""
    x, y, z = (xyz[..., axis] for axis in range(3))
    to = np.empty_like(xyz)
    for axis in range(3):
        by_x, by_y, by_z = (rotation[..., None, axis, other] for other in range(3))
        to[..., axis] = by_x * x + by_y * y + by_z * z
    return to


def body_points(by_name: Mapping[str, FloatArray]) -> BodyPoints:
    """Return body points from named arrays (frame, xyz); a missing name becomes NaN.

    ``trunk_top`` is the middle of the shoulders unless it is given.
    """
    frames = len(next(iter(by_name.values())))
    xyz = frames_side_by_side(np.full((frames, len(POINTS), 3), np.nan))
    for name in POINTS:
        if name in by_name:
            xyz[:, POSITION[name]] = by_name[name]
    if "trunk_top" not in by_name:
        shoulders = xyz[:, POSITION["shoulder_left"]] + xyz[:, POSITION["shoulder_right"]]
        xyz[:, POSITION["trunk_top"]] = shoulders / 2
    return BodyPoints(xyz)
