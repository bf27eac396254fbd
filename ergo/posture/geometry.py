"""Directions, angles between them and the frames of the body.

A frame of the body is an array (frame, xyz, axis) whose columns are *left*,
*forward* and *up*, each of length 1, with forward = left x up.
"""

import numpy as np

from ergo.arrays import FloatArray
from ergo.posture.body_points import BodyPoints

UP = np.array([0.0, -1.0, 0.0])  # y points straight down in level axes
_NOTHING = 1e-9


def unit(vector: FloatArray) -> FloatArray:
    """Return each vector (..., xyz) with length 1; NaN where it has no length."""
    size = length(vector)
    usable: FloatArray = np.where(size > _NOTHING, size, np.nan)
    return vector / usable[..., None]


def length(vector: FloatArray) -> FloatArray:
    """Return the length of each vector (..., xyz)."""
    size: FloatArray = np.sqrt(dot(vector, vector))
    return size


def dot(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the scalar product of vectors (..., xyz)."""
    product: FloatArray = np.einsum("...i,...i->...", a, b)
    return product


def cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the vector product of vectors (..., xyz)."""
    ax, ay, az = (a[..., axis] for axis in range(3))
    bx, by, bz = (b[..., axis] for axis in range(3))
    return np.moveaxis(np.array([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx]), 0, -1)


def product(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the product of matrices (..., row, column); quicker than ``@`` for many small ones."""
    both: FloatArray = np.einsum("...ij,...jk->...ik", a, b)
    return both


def without(vector: FloatArray, axis: FloatArray) -> FloatArray:
    """Return each vector (..., xyz) less its part along ``axis``, which has length 1."""
    return vector - dot(vector, axis)[..., None] * axis


def atan2_deg(y: FloatArray, x: FloatArray) -> FloatArray:
    """Return the direction of (x, y); -180..180, NaN where both are 0 [deg]."""
    angle: FloatArray = np.degrees(np.arctan2(y, x))
    return np.where(x * x + y * y > _NOTHING**2, angle, np.nan)


def between_deg(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the angle between vectors (..., xyz); 0..180, NaN where one has no length [deg]."""
    angle: FloatArray = np.degrees(np.arctan2(length(cross(a, b)), dot(a, b)))
    return np.where((length(a) > _NOTHING) & (length(b) > _NOTHING), angle, np.nan)


def wrapped_deg(angle: FloatArray) -> FloatArray:
    """Return the same angle within -180 < angle <= 180 [deg]."""
    return angle - 360.0 * np.ceil((angle - 180.0) / 360.0)  # quicker than a modulus


def axes(left: FloatArray, up: FloatArray) -> FloatArray:
    """Return the frame (frame, xyz, axis) that keeps ``up`` and turns ``left`` square to it."""
    up = unit(up)
    left = unit(without(left, up))
    return columns(left, cross(left, up), up)


def columns(*vectors: FloatArray) -> FloatArray:
    """Return vectors (frame, xyz) side by side, array (frame, xyz, axis)."""
    kept = np.empty((len(vectors), *vectors[0].shape[::-1]))
    for of_axis, vector in zip(kept, vectors, strict=True):
        of_axis[:] = vector.T
    return kept.T


def within(frame: FloatArray, vector: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the parts of ``vector`` (frame, xyz) along left, forward and up of ``frame``."""
    parts = np.einsum("fij,fi->jf", frame, vector)
    return parts[0], parts[1], parts[2]


def heading_axes(points: BodyPoints) -> FloatArray:
    """Return the heading frame H: the hip line made horizontal, and the vertical."""
    hips = points["hip_left"] - points["hip_right"]
    return axes(hips, np.broadcast_to(UP, hips.shape))


def trunk_axes(points: BodyPoints) -> FloatArray:
    """Return the trunk frame T: the trunk line, and the shoulder line square to it."""
    return axes(points["shoulder_left"] - points["shoulder_right"], points.trunk)


def head_axes(points: BodyPoints) -> FloatArray:
    """Return the head frame K: the ear line, and the ear-eye line square to it."""
    left = unit(points["ear_left"] - points["ear_right"])
    forward = unit(without(ear_eye_line(points), left))
    return columns(left, forward, cross(forward, left))


def ear_eye_line(points: BodyPoints) -> FloatArray:
    """Return the line from the middle of the ears to the middle of the outer eye corners [m]."""
    line: FloatArray = points.middle("eye_outer") - points.middle("ear")
    return line


def neutral_trunk_axes(points: BodyPoints, neutral: BodyPoints | None) -> FloatArray:
    """Return the trunk frame that is upright in the neutral posture.

    It is T turned by the fixed rotation that makes T equal to H in the neutral
    posture; T itself where no neutral posture is given.
    """
    trunk = trunk_axes(points)
    if neutral is None:
        return trunk
    return product(trunk, product(_transposed(trunk_axes(neutral)), heading_axes(neutral)))


def head_on_trunk(points: BodyPoints, neutral: BodyPoints | None) -> FloatArray:
    """Return the turn of the head against the trunk away from neutral, (frame, axis, axis)."""
    turn = product(_transposed(trunk_axes(points)), head_axes(points))
    if neutral is None:
        return turn
    zero = product(_transposed(trunk_axes(neutral)), head_axes(neutral))
    return product(turn, _transposed(zero))


def _transposed(matrices: FloatArray) -> FloatArray:
    return np.swapaxes(matrices, -1, -2)
