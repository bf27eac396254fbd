"""How two cameras stand to each other, told from the operator alone.

First the two bodies, each as its own view guesses it, are laid on each other; then
the second camera is turned and moved until the lines of sight to the same joints
meet in all frames as well as they can. Lens and level of each camera come from its
set-up, the notes or the room, as for one view.
"""

from dataclasses import dataclass, replace

import numpy as np

from ergo.arrays import FloatArray, IndexArray
from ergo.camera.camera import Camera
from ergo.posture import geometry as g

FEWEST_COMMON = 200
"""Fewer joints seen by both cameras, over all frames, do not tell how these stand (ours)."""
LEAST_APART_DEG = 20.0
"""Lines of sight that lie closer together than this tell no depth (ours)."""
LARGEST_MISS = 3.0
"""Lines of sight that usually miss each other by more standard deviations do not belong
together (ours)."""
FURTHEST_TURN_DEG = 30.0
"""Bodies that disagree by more than this about how the cameras stand were not the same (ours)."""
_FRAMES = 200


@dataclass(frozen=True, slots=True, eq=False)
class Sight:
    """Lines of sight to the joints.

    Attributes
    ----------
    points : array (frame, point, xyz)
        As this view guesses them, in camera axes (x right, y down, z ahead). [m]
    sd : array (frame, point)
        One standard deviation of each line of sight, per axis, one metre ahead. [m]
    """

    points: FloatArray
    sd: FloatArray

    @property
    def slope(self) -> FloatArray:
        """array (frame, point, xy): where each line meets the plane one metre ahead. [m]."""
        slope: FloatArray = self.points[..., :2] / self.points[..., 2:]
        return slope

    def frames(self, which: IndexArray) -> "Sight":
        """Return some of the frames."""
        return Sight(self.points[which], self.sd[which])


@dataclass(frozen=True, slots=True, eq=False)
class Stand:
    """How the second camera stands to the first.

    Attributes
    ----------
    turn : array (xyz, xyz)
        From the second's camera axes to the first's, to be multiplied from the left.
    lens_m : array (xyz,)
        The second's lens in the first's camera axes. [m]
    miss : float
        By how many of their standard deviations the lines of sight usually miss each
        other: 1 where their spreads are right.
    """

    turn: FloatArray
    lens_m: FloatArray
    miss: float = 1.0


def found_stand(
    first: Sight, second: Sight, first_camera: Camera, second_camera: Camera
) -> Stand | None:
    """Return how the cameras stand to each other; None where that cannot be told.

    Parameters
    ----------
    first, second : Sight
        The same frames.
    first_camera, second_camera : Camera
    """
    both = np.isfinite(first.points + second.points).all(axis=-1) & np.isfinite(
        first.sd + second.sd
    )
    frames = np.flatnonzero(both.any(axis=1))
    if both.sum() < FEWEST_COMMON:
        return None
    chosen = frames[np.linspace(0, len(frames) - 1, min(_FRAMES, len(frames))).astype(np.int64)]
    pick = both[chosen]
    from scipy.optimize import least_squares  # only who has several views loads it

    start = _by_bodies(
        first.points[chosen][pick], second.points[chosen][pick], first_camera, second_camera
    )
    lines = _Lines(
        first.slope[chosen][pick],
        second.slope[chosen][pick],
        first.sd[chosen][pick],
        second.sd[chosen][pick],
        start,
    )
    best = least_squares(lines.misses, np.zeros(5), loss="soft_l1")
    stand = lines.stand(best.x)
    miss = 1.4826 * float(np.median(np.abs(lines.misses(best.x))))  # of a normal spread
    is_apart = _apart_deg(lines, stand) >= LEAST_APART_DEG
    is_near = np.degrees(np.linalg.norm(best.x[:3])) <= FURTHEST_TURN_DEG
    is_found = miss <= LARGEST_MISS and is_apart and is_near
    return replace(stand, miss=miss) if is_found else None


def _by_bodies(
    first: FloatArray, second: FloatArray, first_camera: Camera, second_camera: Camera
) -> Stand:
    """Return how the cameras stand if both guessed the same points (point, xyz) right."""
    own, other = first_camera.level_from_camera, second_camera.level_from_camera
    here, there = first @ own.T, second @ other.T
    a, b = here - here.mean(axis=0), there - there.mean(axis=0)
    yaw = np.arctan2(
        np.sum(b[:, 2] * a[:, 0] - b[:, 0] * a[:, 2]), np.sum(b[:, 0] * a[:, 0] + b[:, 2] * a[:, 2])
    )
    about = _turned_by(np.array([0.0, yaw, 0.0]))
    lens_m = here.mean(axis=0) - about @ there.mean(axis=0)
    return Stand(own.T @ about @ other, own.T @ lens_m)


def _turned_by(turn: FloatArray) -> FloatArray:
    """Return the matrix (xyz, xyz) of a turn about an axis by its length. [rad]."""
    from scipy.spatial.transform import Rotation

    return np.asarray(Rotation.from_rotvec(turn).as_matrix())


@dataclass(frozen=True, slots=True, eq=False)
class _Lines:
    """Pairs of lines of sight (pair, xy) with their spreads, and where the search starts."""

    first: FloatArray
    second: FloatArray
    first_sd: FloatArray
    second_sd: FloatArray
    start: Stand

    def stand(self, change: FloatArray) -> Stand:
        """Return the stand changed by (turn xyz, lens across its direction two ways)."""
        turn = _turned_by(change[:3]) @ self.start.turn
        away_m = float(np.linalg.norm(self.start.lens_m))
        ahead = self.start.lens_m / away_m
        across = g.unit(np.cross(ahead, np.roll(ahead, 1)))
        lens = ahead + change[3] * across + change[4] * np.cross(ahead, across)
        lens_m = away_m * lens / np.linalg.norm(lens)
        return Stand(turn, lens_m)

    def misses(self, change: FloatArray) -> FloatArray:
        """Return by how many standard deviations each pair of lines misses.

        The distance of a point from its epipolar line, to first order, as Sampson
        (1982) has it.
        """
        stand = self.stand(change)
        own, other = _lines_of(self.first), _lines_of(self.second)
        x, y, z = stand.lens_m / np.linalg.norm(stand.lens_m)
        essential = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]]) @ stand.turn
        at_own, at_other = other @ essential.T, own @ essential
        variance = np.sum(at_own[:, :2] ** 2, axis=1) * self.first_sd**2
        variance += np.sum(at_other[:, :2] ** 2, axis=1) * self.second_sd**2
        misses: FloatArray = np.sum(own * at_own, axis=1) / np.sqrt(variance)
        return misses


def _lines_of(slope: FloatArray) -> FloatArray:
    """Return directions (..., xyz), one metre deep, of slopes (..., xy)."""
    return np.concatenate([slope, np.ones_like(slope[..., :1])], axis=-1)


def _apart_deg(lines: _Lines, stand: Stand) -> float:
    """Return the usual angle between the two lines of sight to a joint. [deg]."""
    apart = g.between_deg(_lines_of(lines.first), _lines_of(lines.second) @ stand.turn.T)
    return float(np.median(np.minimum(apart, 180 - apart)))
