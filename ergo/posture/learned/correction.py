"""A learned correction of limb directions that fades out where it has learned nothing.

Each part of the body has its own small model: a weighted sum of bell curves
round examples in the space of that part's points. Far from the examples it fades
out, by how far the posture that the refined joints tell lies from the usual one
(``tables/reach.csv``), so the refined joints stay as they are and their uncertainty
widens: bells alone do not fade, since the place of a leaning body lies near others'.
The models are fitted by ``python -m ergo.training``; a model for cameras whose
level is known and one for cameras taken as level are never mixed.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from ergo.arrays import AnyArray, BoolArray, FloatArray, IndexArray
from ergo.posture import geometry as g
from ergo.posture.angle_names import COLUMN, NAMES
from ergo.posture.angles import body_angles
from ergo.posture.body_points import POSITION, BodyPoints, turned
from ergo.posture.learned.body_regions import COLUMNS, PARTS, Part
from ergo.posture.learned.novelty import distance2, growth, novelty_of
from ergo.posture.limbs import (
    LIMB,
    limbs_of,
    mirrored_points,
    mirrored_spread,
    other_side,
    with_limbs,
)
from ergo.published_tables import rows

MODEL_PATH = Path(__file__).parent / "models" / "correction.npz"
REACH_PATH = Path(__file__).parents[1] / "tables" / "reach.csv"
VARIANTS = ("known", "assumed")

_PLACE_WEIGHT, _DIRECTION_WEIGHT, _ELEVATION_WEIGHT = 4.0, 1.5, 3.0
_SPREAD_WEIGHT = 0.5
_FARTHEST = 27.0  # beyond it bells stay at 2e-12: smaller squares are slow to reckon with
_AT_ONCE = 512  # frames compared with all examples at once; measured quickest
_SQUARE_WEIGHT = 6.0
REACH = 1.4  # width of the bells; features have a mean squared length of 1
_VIEW_BINS = 8  # of 45 degrees, from the front to the left


@dataclass(frozen=True, slots=True, eq=False)
class PartModel:
    """What was learned for one part.

    Attributes
    ----------
    mean : array (feature,)
        Taken off the features; stands in for what was not seen.
    scale : float
        Multiplies the features.
    centres : array (example, feature)
    weights : array (example, limb * xyz)
        Of the bell round each example.
    variance : array (example, angle)
        Of the angle's error near each example. [deg^2]
    far_variance : array (angle,)
        Where no example is near. [deg^2]
    blank_sd : array (angle,)
        Of a guess without any picture, for chairside work. [deg]
    slope : array (feature, angle)
        How the logarithm of the standard deviation changes with the features
        of :func:`bent`.
    widening : array (view, angle)
        Multiplies the standard deviation, so that 90 % intervals hold in every view.
    usual_mean, usual_inverse : array (angle,), (angle, angle)
        Mean and inverse covariance of the part's angles in chairside work. [deg], [1/deg^2]
    growth : array (knot,)
        Multiplies the standard deviation where the posture is unusual, by
        :data:`ergo.posture.learned.novelty.KNOTS`.
    """

    mean: FloatArray
    scale: float
    centres: FloatArray
    weights: FloatArray
    variance: FloatArray
    far_variance: FloatArray
    blank_sd: FloatArray
    slope: FloatArray
    widening: FloatArray
    usual_mean: FloatArray
    usual_inverse: FloatArray
    growth: FloatArray


MOST_SLOPE = 1.0
"""Largest change of the logarithm of a standard deviation with the features (ours)."""

FAR_WEIGHT = 0.3
"""How many examples at full nearness the far variance weighs (ours)."""


@dataclass(frozen=True, slots=True, eq=False)
class Corrected:
    """Corrected body points, the angles made of them, and how far each can be off.

    Attributes
    ----------
    points : BodyPoints
        Level axes, ``trunk_top`` is C7. [m]
    angles : array (frame, angle)
        Against the average neutral body. [deg], shoulder raise [mm]
    sd : array (frame, angle)
        One standard deviation. NaN where not seen, and for angles about which
        nothing was learned (wrists, raised shoulders). Infinite where this view
        tells no more than a guess without any picture would. [deg]
    growth : array (frame, angle)
        By how much ``sd`` was multiplied because the whole posture is unusual.
    """

    points: BodyPoints
    angles: FloatArray
    sd: FloatArray
    growth: FloatArray


def corrected(points: BodyPoints, spread_m: FloatArray, is_level_known: BoolArray) -> Corrected:
    """Return level points with every limb's direction corrected.

    Parameters
    ----------
    points : BodyPoints
        Refined joints, in level axes with the camera at the origin.
    spread_m : array (frame, point)
        One standard deviation of each point across the line of sight. [m]
    is_level_known : array (frame,)
        Where False, level axes are those of a camera taken as level.
    """
    variants = {"known": is_level_known, "assumed": ~is_level_known}
    for variant, where in variants.items():
        if where.all():
            return _by_variant(points, spread_m, variant)
    xyz = points.xyz.copy(order="K")
    angles, sd, larger = np.full((3, len(points), len(NAMES)), np.nan)
    for variant, where in variants.items():
        if len(frames := np.flatnonzero(where)):
            done = _by_variant(points.frames(frames), spread_m[frames], variant)
            xyz[frames], angles[frames] = done.points.xyz, done.angles
            sd[frames], larger[frames] = done.sd, done.growth
    return Corrected(BodyPoints(xyz), angles, sd, larger)


@cache
def model(variant: str) -> Mapping[str, PartModel]:
    """Return the models of one variant by part."""
    with np.load(MODEL_PATH) as stored:
        return {
            part: PartModel(
                **{
                    name: stored[f"{variant}/{part}/{name}"].astype(np.float64)
                    for name in PartModel.__slots__
                }
            )
            for part in PARTS
        }


@cache
def neutral_with_c7() -> BodyPoints:
    """Return the average body in the neutral posture with C7 as the top of its trunk."""
    with np.load(MODEL_PATH) as stored:
        return BodyPoints(stored["neutral"].astype(np.float64))


def _by_variant(points: BodyPoints, spread_m: FloatArray, variant: str) -> Corrected:
    models, before = model(variant), body_angles(points, neutral_with_c7())
    turn, seen = in_view(points)
    as_seen = seen, spread_m
    mirrored = mirrored_points(seen), mirrored_spread(spread_m)
    limbs = limbs_of(seen)
    sd = np.full((len(points), len(NAMES)), np.nan)
    for name, part in PARTS.items():
        for is_mirrored in (False, *[True] * part.has_mirror):
            distance = distance_of(before, name, models[name], is_mirrored=is_mirrored)
            far = _far_share(distance, variant, name)
            found = _of_part(*(mirrored if is_mirrored else as_seen), far, part, models[name])
            _put(limbs, sd, *found, part, is_mirrored=is_mirrored)
    moved = with_limbs(points, turned(turn.swapaxes(1, 2), limbs))
    angles = body_angles(moved, neutral_with_c7())
    larger = growth_of(angles, models)
    return Corrected(moved, angles, sd * larger, larger)


def growth_of(angles: FloatArray, models: Mapping[str, PartModel]) -> FloatArray:
    """Return by how much standard deviations (frame, angle) grow in an unusual posture.

    What is told does not change: outside chairside work a guess without any picture would
    be further off as well.
    """
    far = novelty_of(
        distance2(angles[:, columns], models[name].usual_mean, models[name].usual_inverse)
        for name, columns in COLUMNS
    )
    larger = np.ones_like(angles)
    for name, columns in COLUMNS:
        larger[:, columns] = growth(far, models[name].growth)[:, None]
    return larger


def _put(
    limbs: FloatArray,
    sd: FloatArray,
    found: FloatArray,
    spread: FloatArray,
    part: Part,
    *,
    is_mirrored: bool,
) -> None:
    """Write one part's limbs and standard deviations where they belong."""
    for at, limb in enumerate(part.limbs):
        own = found[:, at] * (-1.0, 1.0, 1.0) if is_mirrored else found[:, at]
        limbs[:, LIMB[other_side(limb) if is_mirrored else limb]] = own
    for at, angle in enumerate(part.angles):
        sd[:, COLUMN[other_side(angle) if is_mirrored else angle]] = spread[:, at]


def in_view(points: BodyPoints) -> tuple[FloatArray, BodyPoints]:
    """Return points turned about the vertical so that the line of sight points ahead.

    Returns
    -------
    array (frame, xyz, xyz)
        The turn, to be multiplied from the left.
    BodyPoints
        x to the right of the sight, y down, z away from the camera.
    """
    ahead = (points.middle("hip") + points.middle("shoulder")) * (0.5, 0.0, 0.5)
    ahead = g.unit(ahead)
    down = np.broadcast_to(-g.UP, ahead.shape)
    turn = g.columns(g.cross(down, ahead), down, ahead).swapaxes(1, 2)
    return turn, BodyPoints(turned(turn, points.xyz))


def features(seen: BodyPoints, spread_m: FloatArray, part: Part) -> FloatArray:
    """Return array (frame, feature) of one part, from points of :func:`in_view`; may hold NaN."""
    middle = (seen.middle("hip") + seen.middle("shoulder")) / 2
    places = [(seen[name] - middle).T * _PLACE_WEIGHT for name in part.points]
    directions = np.concatenate([*np.moveaxis(plain_limbs(seen, part), 0, -1)])
    spread = np.log(spread_m.T[[POSITION[name] for name in part.points]])
    height = middle[:, 1] / g.length(middle)
    rows = [
        *places,
        directions * _DIRECTION_WEIGHT,
        spread * _SPREAD_WEIGHT,
        height[None] * _ELEVATION_WEIGHT,
    ]
    return np.concatenate(rows).T


def plain_limbs(seen: BodyPoints, part: Part) -> FloatArray:
    """Return the uncorrected directions of a part's limbs, array (frame, limb, xyz)."""
    return g.unit(limbs_of(seen, part.limbs))


def kernel_weights(of: AnyArray, centres: AnyArray, reach: float = REACH) -> AnyArray:
    """Return array (frame, example): 1 at an example, towards 0 far from it."""
    near: AnyArray = wide_nearness(of, centres, reach) ** 2
    return near


def wide_nearness(of: AnyArray, centres: AnyArray, reach: float = REACH) -> AnyArray:
    """Return array (frame, example): the square root of :func:`kernel_weights`, for spreads."""
    of, centres = of / of.dtype.type(reach), centres / centres.dtype.type(reach)
    near: AnyArray = _beside_square(of, 1) @ _beside_square(centres, -1).T
    np.clip(near, -_FARTHEST, 0.0, out=near)  # was minus half the squared distance
    return np.exp(near, out=near)


def _beside_square(values: AnyArray, side: int) -> AnyArray:
    """Return rows with minus half their square and a one beside, or the other way round.

    The product of one kind with the other is minus half the squared distance: one pass
    over memory instead of three.
    """
    half = (values**2).sum(axis=1, keepdims=True) / -2
    return np.concatenate([values, *(half, np.ones_like(half))[::side]], axis=1)


def scaled(of: FloatArray, model: PartModel) -> FloatArray:
    """Return features as the model wants them; the mean stands in for what was not seen."""
    return np.where(np.isnan(of), 0.0, of - model.mean) * model.scale


def distance_of(
    angles: FloatArray, name: str, learned: PartModel, *, is_mirrored: bool
) -> FloatArray:
    """Return how far a part's posture lies from the usual one, array (frame,).

    Parameters
    ----------
    angles : array (frame, angle)
        By the refined joints alone, against the average neutral body. [deg]
    name : str
        Of the part.
    learned : PartModel
    is_mirrored : bool
        Of the right limb of a part that is a left one.

    Returns
    -------
    array (frame,)
        Root mean square over its angles, in standard deviations; NaN where not seen.
    """
    own = [other_side(angle) if is_mirrored else angle for angle in PARTS[name].angles]
    columns = [COLUMN[angle] for angle in own]
    squared = distance2(angles[:, columns], learned.usual_mean, learned.usual_inverse)
    found: FloatArray = np.sqrt(squared)
    return found


def _far_share(distance: FloatArray, variant: str, name: str) -> FloatArray:
    """Return array (frame,): 0 as far as examples reach, 1 where the correction has faded out."""
    told = [r for r in rows("posture", "reach") if (r["variant"], r["part"]) == (variant, name)]
    if not told:  # it does not fade
        return np.zeros(len(distance))
    full, none = float(told[0]["full"]), float(told[0]["none"])
    share: FloatArray = np.clip((np.nan_to_num(distance) - full) / (none - full), 0.0, 1.0)
    return share


def _of_part(
    seen: BodyPoints, spread_m: FloatArray, far: FloatArray, part: Part, learned: PartModel
) -> tuple[FloatArray, FloatArray]:
    """Return the part's corrected limbs (frame, limb, xyz) and its angles' sd (frame, angle).

    ``far`` (frame,) is by how much the correction has faded out.
    """
    plain = plain_limbs(seen, part)
    move, spread = _answers(scaled(features(seen, spread_m, part), learned), learned)
    found = plain + ((1 - far)[:, None] * move).reshape(plain.shape)
    far_variance = np.maximum(spread**2, learned.far_variance)
    spread = np.sqrt((1 - far[:, None]) * spread**2 + far[:, None] * far_variance)
    spread = spread * learned.widening[view_bin(seen, has_sides=part.has_mirror)]
    spread = np.where(spread < learned.blank_sd, spread, np.inf)
    is_seen = np.isfinite(plain.sum(axis=(1, 2)))
    return found, np.where(is_seen[:, None], spread, np.nan)


def _answers(of: FloatArray, learned: PartModel) -> tuple[FloatArray, FloatArray]:
    """Return a part's moves (frame, weight) and spreads (frame, angle) before widening."""
    # some frames at a time and in 32-bit floats, for speed: far finer than what is measured
    quick = PartModel(*(getattr(learned, name).astype(np.float32) for name in PartModel.__slots__))
    of = of.astype(np.float32, order="C")
    moves = np.empty((len(of), learned.weights.shape[1]))
    spreads = np.empty((len(of), learned.variance.shape[1]))
    for start in range(0, len(of), _AT_ONCE):
        frames = slice(start, start + _AT_ONCE)
        some = of[frames]
        wide = wide_nearness(some, quick.centres)
        spreads[frames] = local_sd(some, wide, quick)
        moves[frames] = np.square(wide, out=wide) @ quick.weights
    return moves, spreads


def bent(of: FloatArray) -> FloatArray:
    """Return features and their squares: errors grow to both sides of the usual."""
    return np.concatenate([of, _SQUARE_WEIGHT * of**2], axis=1)


def local_sd(of: AnyArray, wide: AnyArray, learned: PartModel) -> FloatArray:
    """Return array (frame, angle): the spread of errors near each frame, before widening.

    Parameters
    ----------
    of : array (frame, feature)
        From :func:`scaled`.
    wide : array (frame, example)
        From :func:`wide_nearness`.
    learned : PartModel
    """
    weight = wide @ np.ones((wide.shape[1], 1), wide.dtype)  # quicker than a sum
    local = wide @ learned.variance / weight
    local *= np.exp(2 * np.clip(bent(of) @ learned.slope, -MOST_SLOPE, MOST_SLOPE))
    near = np.einsum("fe,fe->f", wide, wide)[:, None]
    far = FAR_WEIGHT / (FAR_WEIGHT + near)
    variance = (1 - far) * local + far * learned.far_variance
    sd: FloatArray = np.sqrt(variance)
    return sd


def view_bin(seen: BodyPoints, *, has_sides: bool) -> IndexArray:
    """Return array (frame,): the view in steps of 45 degrees, 0 = from the front.

    A part of the whole body is judged alike from left and right.
    """
    shoulders = seen["shoulder_left"] - seen["shoulder_right"]
    azimuth_deg = g.atan2_deg(shoulders[:, 2], shoulders[:, 0])
    azimuth_deg = np.nan_to_num(azimuth_deg if has_sides else np.abs(azimuth_deg))
    bins: IndexArray = np.rint(azimuth_deg / (360 / _VIEW_BINS)).astype(np.int64) % _VIEW_BINS
    return bins
