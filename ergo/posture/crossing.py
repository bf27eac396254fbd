"""Two views at once: body points where the lines of sight of two cameras cross.

How the cameras stand to each other is found from the operator alone: first by
laying the two bodies, each as its own view guesses it, on each other; then by
turning and moving the second camera until the lines of sight to the same joints
meet in all frames as well as they can. Lens and level of each camera come from its
set-up, the notes or the room, as for one view.
"""

from dataclasses import dataclass, replace

import numpy as np

from ergo.arrays import FloatArray, IndexArray
from ergo.landmarks.pose_track import PoseTrack
from ergo.posture import geometry as g
from ergo.posture.angle_names import ANGLES, NAMES
from ergo.posture.angles import body_angles
from ergo.posture.body_points import BodyPoints
from ergo.posture.correction import neutral_with_c7
from ergo.posture.joints import joint_points
from ergo.posture.placing import placed_body
from ergo.posture.posture_track import PostureTrack
from ergo.posture.smoothing import bridged, smoothed
from ergo.posture.uncertainty import (
    AGAINST_GRAVITY,
    BRIDGED_SD_PER_S,
    UNKNOWN_FOCAL_SD,
    can_be_told,
)
from ergo.room.camera import Camera
from ergo.timeline import Timeline

FEWEST_COMMON = 200
"""Fewer joints seen by both cameras, over all frames, do not tell how these stand (ours)."""
LEAST_APART_DEG = 20.0
"""Lines of sight that lie closer together than this tell no depth (ours)."""
LARGEST_MISS = 3.0
"""Lines of sight that usually miss each other by more standard deviations do not belong
together (ours)."""
UNSHOWN = 0.25
"""Share of the error variance that lets lines of sight meet at a wrong place: it does not show
in how they miss each other (ours)."""
FURTHEST_TURN_DEG = 30.0
"""Bodies that disagree by more than this about how the cameras stand were not the same (ours)."""
BODY_SD_DEG = {"head": 3.0, "neck": 3.0, "trunk": 1.0}
"""How far a person's own neutral posture lies from the average body's (ours)."""
_FRAMES, _DRAWS, _SD_FRAMES = 200, 12, 400


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """One clip as its camera saw the operator.

    Attributes
    ----------
    timeline : Timeline
        Of this clip alone.
    track : PoseTrack
    camera : Camera
        Levelled as well as can be.
    start_s : float
        When the clip began on the common clock. [s]
    """

    timeline: Timeline
    track: PoseTrack
    camera: Camera
    start_s: float


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


def crossed_posture(first: View, second: View) -> PostureTrack | None:
    """Return the operator's angles from where the lines of sight of two views cross.

    Parameters
    ----------
    first, second : View

    Returns
    -------
    PostureTrack or None
        At the times of the first view; NaN where not both see what an angle needs.
        None where the views do not tell how the cameras stand to each other.
    """
    own, other = _sight(first), _sight(second)
    if own is None or other is None:
        return None
    other = _at_times(other, second, first.timeline.time_s + first.start_s)
    stand = found_stand(own, other, first.camera, second.camera)
    if stand is None:
        return None
    up, level_sd_deg = _common_up(stand, first.camera, second.camera)
    turn = _level_turn(up)
    points = BodyPoints(crossed(own, other, stand) @ turn.T)
    filled, away_s = bridged(first.timeline, points)
    value = body_angles(smoothed(first.timeline, filled), neutral_with_c7())
    shown = UNSHOWN + (1 - UNSHOWN) * stand.miss**2
    variance = shown * _drawn_variance(own, other, stand, turn, value)
    variance += _fixed_variance(level_sd_deg, first.camera, second.camera)
    sd = np.sqrt(variance + (BRIDGED_SD_PER_S * away_s[:, None]) ** 2)
    is_told = np.isfinite(value) & np.isfinite(sd) & can_be_told(sd) & _HAS_NO_SCALE
    value, sd = np.where(is_told, value, np.nan), np.where(is_told, sd, np.nan)
    return PostureTrack(value, sd, np.asarray(np.isfinite(value).any(axis=1)), away_s > 0)


_HAS_NO_SCALE = np.array(["_deg" in name for name in NAMES])


def _sight(view: View) -> Sight | None:
    hip_depth_m = placed_body(view.track, [view.camera], view.timeline).hip_depth_m
    refined = joint_points(view.track, [view.camera], view.timeline, hip_depth_m)
    if refined is None:
        return None
    points, spread_m = refined
    return Sight(points.xyz, spread_m / hip_depth_m[:, None])


def _at_times(sight: Sight, view: View, at_s: FloatArray) -> Sight:
    """Return lines of sight at other times of the common clock; NaN outside and beside gaps."""
    time_s = view.timeline.time_s + view.start_s
    flat = np.concatenate([sight.points, sight.sd[..., None]], axis=-1).reshape(len(time_s), -1)
    even = np.stack(
        [np.interp(at_s, time_s, column, left=np.nan, right=np.nan) for column in flat.T], axis=1
    ).reshape(len(at_s), -1, 4)
    return Sight(even[..., :3], even[..., 3])


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


def crossed(first: Sight, second: Sight, stand: Stand) -> FloatArray:
    """Return the points nearest to both lines of sight, each counting by its spread.

    Parameters
    ----------
    first, second : Sight
        The same frames.
    stand : Stand

    Returns
    -------
    array (frame, point, xyz)
        The first's camera axes. [m]
    """
    own = g.unit(_lines_of(first.slope))
    other = g.unit(_lines_of(second.slope)) @ stand.turn.T
    slant = g.dot(own, other)
    to_lens = np.broadcast_to(stand.lens_m, own.shape)
    along_own, along_other = g.dot(own, to_lens), g.dot(other, to_lens)
    with np.errstate(divide="ignore", invalid="ignore"):
        square = 1 - slant**2
        own_m = (along_own - slant * along_other) / square
        other_m = (slant * along_own - along_other) / square
        spread_own, spread_other = (first.sd * own_m) ** 2, (second.sd * other_m) ** 2
        share = (spread_own / (spread_own + spread_other))[..., None]
    is_ahead = (own_m > 0) & (other_m > 0)
    on_own = own * own_m[..., None]
    on_other = stand.lens_m + other * other_m[..., None]
    met = on_own + share * (on_other - on_own)
    return np.where(is_ahead[..., None], met, np.nan)


def _common_up(stand: Stand, first: Camera, second: Camera) -> tuple[FloatArray, float]:
    """Return up in the first's camera axes by both cameras, and its standard deviation. [deg]."""
    weight = np.array([first.level_sd_deg, second.level_sd_deg]) ** -2.0
    up = weight[0] * first.up + weight[1] * stand.turn @ second.up
    return up / np.linalg.norm(up), float(weight.sum() ** -0.5)


def _level_turn(up: FloatArray) -> FloatArray:
    """Return the turn (xyz, xyz) from camera axes to level axes, as a camera's own."""
    ahead = g.unit(g.without(np.array([0.0, 0.0, 1.0]), up))
    return np.stack([np.cross(-up, ahead), -up, ahead])


def _drawn_variance(
    first: Sight, second: Sight, stand: Stand, turn: FloatArray, value: FloatArray
) -> FloatArray:
    """Return how far angles (frame, angle) vary when lines of sight are off by their spreads.

    Drawn for some frames, and in between for the others. [deg^2]
    """
    frames = np.unique(np.linspace(0, len(value) - 1, _SD_FRAMES).astype(np.int64))
    own, other = first.frames(frames), second.frames(frames)
    numbers = np.random.default_rng(1)
    usual = body_angles(BodyPoints(crossed(own, other, stand) @ turn.T), neutral_with_c7())
    total = np.zeros_like(usual)
    for _ in range(_DRAWS):
        drawn = crossed(_moved(own, numbers), _moved(other, numbers), stand)
        off = body_angles(BodyPoints(drawn @ turn.T), neutral_with_c7()) - usual
        total += np.where(_HAS_NO_SCALE, g.wrapped_deg(off), off) ** 2 / _DRAWS
    at = np.arange(len(value))
    known = np.isfinite(total)
    between = [
        np.interp(at, frames[ok], column[ok]) if ok.any() else np.full(len(at), np.nan)
        for column, ok in zip(total.T, known.T, strict=True)
    ]
    return np.stack(between, axis=1)


def _moved(sight: Sight, numbers: np.random.Generator) -> Sight:
    """Return lines of sight each off by a chance error, the same in all frames."""
    off = numbers.standard_normal((1, sight.points.shape[1], 2)) * sight.sd[..., None]
    moved = sight.points.copy()
    moved[..., :2] += off * sight.points[..., 2:]
    return Sight(moved, sight.sd)


def _fixed_variance(level_sd_deg: float, *cameras: Camera) -> FloatArray:
    """Return what level, lenses and the person's own neutral add, array (angle,). [deg^2]."""
    gravity = np.array([name in AGAINST_GRAVITY for name in NAMES])
    body = np.array(
        [BODY_SD_DEG.get(angle.name.split("_")[0], 0.0) * angle.is_relative for angle in ANGLES]
    )
    assumed = sum(UNKNOWN_FOCAL_SD**2 for each in cameras if not each.focal_is_known)
    variance: FloatArray = np.where(gravity, level_sd_deg, 0.0) ** 2 + body**2 + assumed
    return variance
