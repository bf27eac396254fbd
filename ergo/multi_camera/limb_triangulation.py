"""Two views at once: limbs that each camera sees best across its own line of sight.

How the cameras stand to each other is found from the operator alone
(:mod:`ergo.multi_camera.relative_camera_pose`). Then every limb is joined: along its line of
sight a view only guesses, so there the other view counts more. Limbs are joined, not points:
how far away a whole body or head is, a view guesses far worse than how its points lie
to each other.
"""

from dataclasses import dataclass, field

import numpy as np

from ergo.arrays import FloatArray, IndexArray
from ergo.camera.camera import Camera
from ergo.landmarks.pose_track import PoseTrack
from ergo.multi_camera.relative_camera_pose import Sight, Stand, found_stand
from ergo.posture import geometry as g
from ergo.posture.angle_names import ANGLES, NAMES
from ergo.posture.angles import body_angles
from ergo.posture.body_points import POINTS, POSITION, BodyPoints
from ergo.posture.joints import joint_points
from ergo.posture.learned.correction import neutral_with_c7
from ergo.posture.limbs import LIMBS, limbs_of, with_limbs
from ergo.posture.mixing import IS_TURN, apart
from ergo.posture.neutral import neutral_body
from ergo.posture.placing import placed_body
from ergo.posture.posture_track import PostureTrack
from ergo.posture.rigid import held_rigid
from ergo.posture.smoothing import bridged, smoothed
from ergo.posture.uncertainty import (
    AGAINST_GRAVITY,
    BRIDGED_SD_PER_S,
    UNKNOWN_FOCAL_SD,
    is_estimable,
)
from ergo.timeline import Timeline

ALONG = 2.0
"""How much further off a view's guess of a limb is along its line of sight than across it. In the
1,223 people of the stored examples, whom the network never saw, it is 1.2 (ears) to 2.6 (upper
arms), median errors (ours)."""
USUAL_HEAD = 0.5
"""Share of the average head in the shape of a head: one head differs from the average by about
as much as its points are off in all frames alike (ours)."""
BODY_SD_DEG = {"head": 3.0, "neck": 3.0, "trunk": 1.0}
"""How far a person's own neutral posture lies from the average body's (ours)."""
HEAD = ("nose", "eye_outer_left", "eye_outer_right", "ear_left", "ear_right")
_HEAD = [POSITION[name] for name in HEAD]
_DRAWS, _SD_FRAMES = 12, 400


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
    neutral : array (frame,)
        Positions of the frames of the neutral moment; none where none is stated.
    """

    timeline: Timeline
    track: PoseTrack
    camera: Camera
    start_s: float
    neutral: IndexArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))


def crossed_posture(first: View, second: View) -> PostureTrack | None:
    """Return the operator's angles from limbs as two views tell them together.

    Parameters
    ----------
    first, second : View

    Returns
    -------
    PostureTrack or None
        At the times of the first view; NaN where not both see what an angle needs.
        None where the views do not tell how the cameras stand to each other.

    Notes
    -----
    Relative angles are read against the operator as both saw them in the first view's
    neutral moment, or where that is not stated or not seen, against an average body.
    """
    own, other = _sight(first), _sight(second)
    if own is None or other is None:
        return None
    other = _at_times(other, second, first.timeline.time_s + first.start_s)
    stand = found_stand(own, other, first.camera, second.camera)
    if stand is None:
        return None
    up, level_sd_deg = _common_up(stand, first.camera, second.camera)
    other = _as_large(Sight(other.points @ stand.turn.T, other.sd), own)
    filled, away_s = bridged(first.timeline, joined_body(own, other).turned(_level_turn(up)))
    points = smoothed(first.timeline, _with_one_head(filled))
    own_neutral = neutral_body(points, first.neutral)
    value = body_angles(points, own_neutral or neutral_with_c7())
    wider = max(1.0, stand.miss**2)  # where lines of sight miss by more than their spreads
    variance = wider * _drawn_variance(own, other, _level_turn(up))
    variance += _fixed_variance(level_sd_deg, first.camera, second.camera)
    variance += 0.0 if own_neutral else _BODY_VARIANCE
    sd = np.sqrt(variance + (BRIDGED_SD_PER_S * away_s[:, None]) ** 2)
    is_estimated = np.isfinite(value) & np.isfinite(sd) & is_estimable(sd) & IS_TURN  # no scale
    value, sd = np.where(is_estimated, value, np.nan), np.where(is_estimated, sd, np.nan)
    return PostureTrack(value, sd, np.asarray(np.isfinite(value).any(axis=1)), away_s > 0)


_BODY_VARIANCE = np.array(
    [(BODY_SD_DEG.get(each.name.split("_")[0], 0.0) * each.is_relative) ** 2 for each in ANGLES]
)


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


def _as_large(sight: Sight, model: Sight) -> Sight:
    """Return a view's body made as large as another view guesses it, by the trunk."""
    size, wanted = (
        np.nanmedian(g.length(BodyPoints(each.points).trunk)) for each in (sight, model)
    )
    return Sight(sight.points * wanted / size, sight.sd)


def _of_points() -> FloatArray:
    """Return array (vector, point): limbs, then the head's points from their middle."""
    one_by_one = BodyPoints(np.eye(len(POINTS))[..., None] * (1.0, 0.0, 0.0))
    head = np.eye(len(POINTS))[_HEAD]
    return np.concatenate([limbs_of(one_by_one)[..., 0].T, head - head.mean(axis=0)])


_VECTORS = _of_points()


def joined_body(first: Sight, second: Sight) -> BodyPoints:
    """Return the body whose every limb is as both views tell it.

    Parameters
    ----------
    first, second : Sight
        The same frames and axes, each from its own lens; bodies of one size.

    Returns
    -------
    BodyPoints
        As far away and as long in its limbs as the first view guesses. NaN where not
        both see a limb. [m]
    """
    weights, told = zip(*(_vectors(each) for each in (first, second)), strict=True)
    pulls = sum(np.einsum("fvij,fvj->fvi", w, t) for w, t in zip(weights, told, strict=True))
    is_seen = np.isfinite(pulls).all(axis=-1, keepdims=True)
    total = np.where(is_seen[..., None], sum(weights), np.eye(3))
    vectors = np.where(is_seen, np.linalg.solve(total, pulls[..., None])[..., 0], np.nan)
    body = with_limbs(BodyPoints(first.points), vectors[:, : len(LIMBS)])
    xyz = body.xyz.copy()
    xyz[:, _HEAD] = xyz[:, _HEAD].mean(axis=1, keepdims=True) + vectors[:, len(LIMBS) :]
    return BodyPoints(xyz)


def _vectors(sight: Sight) -> tuple[FloatArray, FloatArray]:
    """Return how sure one view is of each vector (frame, vector, xyz, xyz) [1/m^2], and it. [m]."""
    points = BodyPoints(sight.points)
    ahead = g.unit(points.middle("hip") + points.middle("shoulder"))
    told, variance = _combined(_VECTORS, sight.points), (sight.sd * g.length(sight.points)) ** 2
    across = _combined(_VECTORS**2, variance[..., None])[..., None]
    along = (1 - ALONG**-2.0) * ahead[:, :, None] * ahead[:, None]
    return (np.eye(3) - along[:, None]) / across, told


def _combined(parts: FloatArray, of: FloatArray) -> FloatArray:
    """Return sums (frame, vector, ...) over points; NaN where one that counts is NaN."""
    unseen = np.isnan(of[..., 0]) @ (parts != 0).T
    total = np.einsum("vp,fpi->fvi", parts, np.nan_to_num(of))
    return np.where(unseen[..., None], np.nan, total)


def _with_one_head(points: BodyPoints) -> BodyPoints:
    """Return the points with the head's in one shape throughout."""
    xyz = points.xyz.copy(order="K")
    xyz[:, _HEAD] = held_rigid(xyz[:, _HEAD], neutral_with_c7().xyz[0, _HEAD], USUAL_HEAD)
    return BodyPoints(xyz)


def _common_up(stand: Stand, first: Camera, second: Camera) -> tuple[FloatArray, float]:
    """Return up in the first's camera axes by both cameras, and its standard deviation. [deg]."""
    weight = np.array([first.level_sd_deg, second.level_sd_deg]) ** -2.0
    up = weight[0] * first.up + weight[1] * stand.turn @ second.up
    return up / np.linalg.norm(up), float(weight.sum() ** -0.5)


def _level_turn(up: FloatArray) -> FloatArray:
    """Return the turn (xyz, xyz) from camera axes to level axes, as a camera's own."""
    ahead = g.unit(g.without(np.array([0.0, 0.0, 1.0]), up))
    return np.stack([np.cross(-up, ahead), -up, ahead])


def _drawn_variance(first: Sight, second: Sight, turn: FloatArray) -> FloatArray:
    """Return how far angles (frame, angle) vary when both views are off by their spreads.

    Drawn for some frames, and in between for the others. [deg^2]
    """
    frames = np.unique(np.linspace(0, len(first.points) - 1, _SD_FRAMES).astype(np.int64))
    own, other = first.frames(frames), second.frames(frames)
    numbers = np.random.default_rng(1)
    usual = _angles(own, other, turn)
    total = np.zeros_like(usual)
    for _ in range(_DRAWS):
        drawn = _angles(_moved(own, numbers), _moved(other, numbers), turn)
        total += apart(drawn, usual) ** 2 / _DRAWS
    at = np.arange(len(first.points))
    known = np.isfinite(total)
    between = [
        np.interp(at, frames[ok], column[ok]) if ok.any() else np.full(len(at), np.nan)
        for column, ok in zip(total.T, known.T, strict=True)
    ]
    return np.stack(between, axis=1)


def _angles(first: Sight, second: Sight, turn: FloatArray) -> FloatArray:
    return body_angles(_with_one_head(joined_body(first, second).turned(turn)), neutral_with_c7())


def _moved(sight: Sight, numbers: np.random.Generator) -> Sight:
    """Return points each off by a chance error, the same in all frames."""
    across, along = (numbers.standard_normal((1, sight.points.shape[1], n)) for n in (3, 1))
    ahead = g.unit(sight.points)
    off = g.without(across, ahead) + ALONG * along * ahead
    spread_m = sight.sd * g.length(sight.points)
    return Sight(sight.points + off * spread_m[..., None], sight.sd)


def _fixed_variance(level_sd_deg: float, *cameras: Camera) -> FloatArray:
    """Return what level and lenses add, array (angle,). [deg^2]."""
    gravity = np.array([name in AGAINST_GRAVITY for name in NAMES])
    assumed = sum(UNKNOWN_FOCAL_SD**2 for each in cameras if not each.focal_is_known)
    variance: FloatArray = np.where(gravity, level_sd_deg, 0.0) ** 2 + assumed
    return variance
