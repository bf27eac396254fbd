"""Fitting the correction of limb directions: closed form, so that it repeats exactly.

For each part of the body and each variant (level known or assumed): weights of
bells round examples by regularised least squares, errors by leaving scenes out,
and from those errors the local spread, its widening per view and its growth where
the posture is unusual.
"""

from dataclasses import dataclass, replace

import numpy as np

from ergo.arrays import BoolArray, FloatArray, IndexArray
from ergo.posture import geometry as g
from ergo.posture.angle_names import COLUMN
from ergo.posture.angles import body_angles
from ergo.posture.body_points import BodyPoints
from ergo.posture.learned.body_regions import COLUMNS, PARTS
from ergo.posture.learned.correction import (
    PartModel,
    bent,
    features,
    in_view,
    kernel_weights,
    local_sd,
    plain_limbs,
    scaled,
    view_bin,
    wide_nearness,
)
from ergo.posture.learned.correction import model as stored_models
from ergo.posture.learned.novelty import KNOTS, distance2, novelty_of
from ergo.posture.limbs import (
    LIMB,
    limbs_of,
    mirrored_limbs,
    mirrored_points,
    mirrored_spread,
    with_limbs,
)
from ergo.posture.uncertainty import CHANGES_SIDE
from ergo.training.examples import FOLDS, Examples, seen_points, true_points
from ergo.training.kernel_centres import spread_out

EXAMPLES_KEPT = 300
"""Bells per part; 700 of them gain at most 0.2 degrees and take twice as long (ours)."""

RIDGE = {
    "known": {"trunk": 0.5, "head": 0.5, "upper_arm": 40.0, "forearm": 10.0},
    "assumed": {"trunk": 0.5, "head": 0.5, "upper_arm": 10.0, "forearm": 10.0},
}
"""Cost of a large correction. High for the arms: there the refined joints of real people are
better than a correction that has only seen seated work; less so where it must also make up
for a camera that is not level (ours)."""

BROAD_WEIGHT = {"trunk": 2.0, "head": 2.0, "upper_arm": 6.0, "forearm": 6.0}
"""How much an example of a posture far outside chairside work counts (ours)."""

BROAD_IN_SPREAD = {"trunk": 3, "head": 3, "upper_arm": 2, "forearm": 2}
"""How often it counts for the spreads, which must hold for unusual postures too; less for the
arms, of which fewer would be told (ours)."""

_ROUND = np.float16
_QUANTILE, _OF_NORMAL = 0.9, 1.6449
_BROAD_SHRINK = 12.0  # examples that the widening of all views counts in each view
_VIEWS = 8
_OWN = {name: [COLUMN[angle] for angle in part.angles] for name, part in PARTS.items()}
LEAST_SHARE = 0.1  # of the sd: errors smaller than this tell no more than this (ours)
SLOPE_RIDGE = 10.0
GROWTH_QUANTILE = 0.92
"""Of errors over their spread, at each knot of the growth: more than 0.9, because one in six of the
postures drawn far outside looks usual and is not widened; 86 to 93 % of left-out intervals of
such postures then hold (ours)."""
FAR_QUANTILE = 0.9  # of the plain joints' errors, and by how much more where no example is near:
FAR_WIDENING = 1.5  # there nothing was checked, and pictures of other kinds err more (ours)


@dataclass(frozen=True, slots=True, eq=False)
class Task:
    """One variant's examples, each followed later by its mirror image.

    Attributes
    ----------
    variant : str
    seen : BodyPoints
        In view axes.
    spread_m : array (example, point)
        Of ``seen``. [m]
    limbs : array (example, limb, xyz)
        True directions in the same axes.
    angle : array (example, angle)
        True angles; NaN where this person's neutral posture is not known.
    is_broad : array (example,)
    fold : array (example,)
    """

    variant: str
    seen: BodyPoints
    spread_m: FloatArray
    limbs: FloatArray
    angle: FloatArray
    is_broad: BoolArray
    fold: IndexArray

    def some(self, rows: BoolArray) -> "Task":
        """Return the examples ``rows`` alone."""
        return Task(
            variant=self.variant,
            seen=BodyPoints(self.seen.xyz[rows]),
            spread_m=self.spread_m[rows],
            limbs=self.limbs[rows],
            angle=self.angle[rows],
            is_broad=self.is_broad[rows],
            fold=self.fold[rows],
        )


def task(examples: Examples, variant: str) -> Task:
    """Return what one variant is fitted on, mirror images included."""
    refined, spread_m = seen_points(examples, variant)
    turn, seen = in_view(refined)
    truth = true_points(examples)
    limbs = np.einsum("fij,flj->fli", turn, g.unit(limbs_of(truth)))
    angle = body_angles(truth, examples.neutral)
    mirrored_truth = body_angles(mirrored_points(truth), mirrored_neutral(examples.neutral))
    return Task(
        variant=variant,
        seen=BodyPoints(np.concatenate([seen.xyz, mirrored_points(seen).xyz])),
        spread_m=np.concatenate([spread_m, mirrored_spread(spread_m)]),
        limbs=np.concatenate([limbs, mirrored_limbs(limbs)]),
        angle=np.concatenate([angle, mirrored_truth]),
        is_broad=np.tile(examples.is_broad, 2),
        fold=np.tile(examples.fold, 2),
    )


def mirrored_neutral(neutral: BodyPoints) -> BodyPoints:
    """Return neutral postures as seen in a mirror; x is the person's left-right axis."""
    return mirrored_points(neutral)


def scaling(of: FloatArray) -> tuple[FloatArray, float]:
    """Return mean and scale that bring features to a mean squared length of 1."""
    mean = of.mean(axis=0)
    return mean, float(1 / np.sqrt(((of - mean) ** 2).sum(axis=1).mean()))


def kernels(
    of: FloatArray, wanted: FloatArray, weight: FloatArray, centres: FloatArray, ridge: float
) -> FloatArray:
    """Return array (example, output): weights of the bells by regularised least squares.

    Minimises the weighted squared error plus ``ridge`` times the squared size
    of the sum as a function (the bells' own inner product).
    """
    near, among = kernel_weights(of, centres), kernel_weights(centres, centres)
    normal = near.T @ (near * weight[:, None]) + ridge * among
    normal[np.diag_indices(len(normal))] += 1e-6
    solved = np.linalg.solve(normal, near.T @ (wanted * weight[:, None]))
    return np.asarray(solved, dtype=np.float64)


def fit_part(
    job: Task, name: str, used: BoolArray, before: FloatArray | None = None
) -> tuple[FloatArray, float, FloatArray, FloatArray]:
    """Return mean, scale, centres and weights of one part, fitted on the examples ``used``."""
    part = PARTS[name]
    raw = features(job.seen, job.spread_m, part)[used]
    mean, scale = scaling(raw)
    of = (raw - mean) * scale
    columns = [LIMB[limb] for limb in part.limbs]
    plain = plain_limbs(job.seen, part)[used]
    wanted = (job.limbs[used][:, columns] - plain).reshape(len(raw), -1)
    weight = np.where(job.is_broad[used], BROAD_WEIGHT[name], 1.0)
    kept = spread_out(of, EXAMPLES_KEPT, before)
    centres = of[kept].astype(_ROUND).astype(np.float64)
    return mean, scale, centres, kernels(of, wanted, weight, centres, RIDGE[job.variant][name])


def left_out_limbs(job: Task) -> FloatArray:
    """Return every limb as corrected by models that never saw its scene, (example, limb, xyz)."""
    found = g.unit(limbs_of(job.seen))
    half = len(found) // 2
    for name, part in PARTS.items():
        of = features(job.seen, job.spread_m, part)
        for fold in range(FOLDS):
            mean, scale, centres, weights = fit_part(job, name, job.fold != fold)
            out = np.flatnonzero(job.fold == fold)
            near = kernel_weights((of[out] - mean) * scale, centres)
            columns = [LIMB[limb] for limb in part.limbs]
            plain = plain_limbs(job.seen, part)[out]
            found[out[:, None], columns] = plain + (near @ weights).reshape(plain.shape)
    # the right limbs of a body are the left ones of its mirror image
    mirrored = mirrored_limbs(np.concatenate([found[half:], found[:half]]))
    has_right = [name.endswith("_right") for name in LIMB]
    found[:, has_right] = mirrored[:, has_right]
    return found


def left_out_angles(job: Task, neutral: BodyPoints) -> FloatArray:
    """Return array (example, angle): as corrected by models that never saw the scene."""
    return body_angles(with_limbs(job.seen, left_out_limbs(job)), neutral)


def plain_errors(job: Task, neutral: BodyPoints) -> FloatArray:
    """Return array (example, angle): by refined joints alone minus true angle; NaN unknown."""
    return wrapped(body_angles(job.seen, neutral) - job.angle)


def wrapped(difference: FloatArray) -> FloatArray:
    """Return differences within -180..180; those in mm are never that large."""
    return (difference + 180.0) % 360.0 - 180.0


def learned(job: Task, found: FloatArray, plain: FloatArray) -> dict[str, PartModel]:
    """Return the models of all parts.

    Parameters
    ----------
    job : Task
    found : array (example, angle)
        From :func:`left_out_angles`.
    plain : array (example, angle)
        From :func:`plain_errors`.
    """
    errors = wrapped(found - job.angle)
    before = {name: stored.centres for name, stored in stored_models(job.variant).items()}
    models = {name: learned_part(job, name, errors, plain, before[name]) for name in PARTS}
    usual = {name: _usual(found[~job.is_broad], name) for name in PARTS}
    far = novelty_of(distance2(found[:, columns], *usual[name]) for name, columns in COLUMNS)
    for name, model in models.items():
        sd = left_out_sd(job, name, errors, plain)
        ratio = np.abs(errors[:, _OWN[name]]) / (_OF_NORMAL * sd)
        ratio[~(sd < model.blank_sd)] = np.nan
        mean, inverse = usual[name]
        grows = growth_at_knots(ratio, far, job.is_broad)
        models[name] = replace(model, usual_mean=mean, usual_inverse=inverse, growth=grows)
    return models


def _usual(found: FloatArray, name: str) -> tuple[FloatArray, FloatArray]:
    """Return mean and inverse covariance of a part's angles, the same for left and right."""
    angle = found[:, _OWN[name]]
    seen = angle[np.isfinite(angle).all(axis=1)]
    mirror = [-1.0 if angle in CHANGES_SIDE else 1.0 for angle in PARTS[name].angles]
    both = np.concatenate([seen, seen * mirror])
    return both.mean(axis=0), np.linalg.inv(np.atleast_2d(np.cov(both.T)))


def left_out_sd(job: Task, name: str, errors: FloatArray, plain: FloatArray) -> FloatArray:
    """Return the spreads (example, angle) by models that know none of the scene's errors."""
    sd = np.full((len(job.fold), len(_OWN[name])), np.nan)
    for fold in range(FOLDS):
        rest, out = job.fold != fold, job.fold == fold
        model = learned_part(job.some(rest), name, errors[rest], plain[rest])
        sd[out] = part_sd(job.some(out), name, model)
    return sd


def part_sd(job: Task, name: str, model: PartModel) -> FloatArray:
    """Return the spreads (example, angle) of one part, before their growth."""
    of = scaled(features(job.seen, job.spread_m, PARTS[name]), model)
    sd = local_sd(of, wide_nearness(of, model.centres), model)
    return sd * model.widening[view_bin(job.seen, has_sides=PARTS[name].has_mirror)]


def growth_at_knots(ratio: FloatArray, far: FloatArray, is_broad: BoolArray) -> FloatArray:
    """Return by how much spreads must grow at each knot, never falling; 1 for usual postures.

    Postures far outside chairside work count as much as all others together; all angles
    of the part are taken as one.

    Parameters
    ----------
    ratio : array (example, angle)
        Half a 90 % interval is 1; NaN does not count.
    far : array (example,)
        From :func:`ergo.posture.learned.novelty.novelty_of`.
    is_broad : array (example,)
    """
    weight = np.where(is_broad, (~is_broad).sum() / max(is_broad.sum(), 1), 1.0)
    knot, is_known = np.eye(len(KNOTS)), np.isfinite(ratio)
    needed = [
        _weighted_quantile(
            ratio[is_known],
            np.broadcast_to((weight * np.interp(far, KNOTS, at))[:, None], ratio.shape)[is_known],
        )
        for at in knot[1:]
    ]
    return np.maximum.accumulate([1.0, *needed])


def _weighted_quantile(values: FloatArray, weight: FloatArray) -> float:
    """Return the value that :data:`GROWTH_QUANTILE` of the weight does not pass."""
    order = np.argsort(values, kind="stable")
    passed = np.cumsum(weight[order])
    return float(values[order][np.searchsorted(passed, GROWTH_QUANTILE * passed[-1])])


def learned_part(
    job: Task,
    name: str,
    errors: FloatArray,
    plain: FloatArray,
    before: FloatArray | None = None,
) -> PartModel:
    """Return the model of one part, with its spread from left-out errors, far off from plain.

    What is usual and by how much spreads grow is not known yet: see :func:`learned`.
    """
    part = PARTS[name]
    everyone = np.ones(len(job.fold), dtype=bool)
    mean, scale, centres, weights = fit_part(job, name, everyone, before)
    columns = [COLUMN[angle] for angle in part.angles]
    error = errors[:, columns]
    known = np.isfinite(error).all(axis=1)
    first = PartModel(
        mean=mean,
        scale=scale,
        centres=centres,
        weights=weights.astype(np.float32).astype(np.float64),
        variance=np.zeros((len(centres), len(part.angles))),
        far_variance=(
            FAR_WIDENING * np.quantile(np.abs(plain[known][:, columns]), FAR_QUANTILE, axis=0)
        )
        ** 2,
        blank_sd=_blank_sd(job.angle[~job.is_broad][:, columns]),
        slope=np.zeros((2 * len(mean), len(part.angles))),
        widening=np.ones((_VIEWS, len(part.angles))),
        usual_mean=np.zeros(len(part.angles)),
        usual_inverse=np.eye(len(part.angles)),
        growth=np.ones(len(KNOTS)),
    )
    of = scaled(features(job.seen, job.spread_m, part), first)
    wide = wide_nearness(of, centres)
    view = view_bin(job.seen, has_sides=part.has_mirror)
    often = np.where(job.is_broad, BROAD_IN_SPREAD[name], 1)[known]  # as if seen several times
    some = np.repeat(np.flatnonzero(known), often)
    return _with_spread(first, of[some], wide[some], error[some], view[some])


def _with_spread(
    model: PartModel, of: FloatArray, wide: FloatArray, error: FloatArray, view: IndexArray
) -> PartModel:
    """Return the model with all that makes its standard deviations, from left-out errors."""
    fields = {name: getattr(model, name) for name in PartModel.__slots__}
    overall = (error**2).mean(axis=0)
    prior = 3.0
    fields["variance"] = (wide.T @ error**2 + prior * overall) / (wide.sum(axis=0)[:, None] + prior)
    fields["slope"] = _slope(of, error, local_sd(of, wide, PartModel(**fields)))
    sd = local_sd(of, wide, PartModel(**fields))
    ratio = np.abs(error) / (_OF_NORMAL * sd)
    fields["widening"] = np.stack([_widening(ratio, view, bin_) for bin_ in range(_VIEWS)])
    return PartModel(**fields)


def _blank_sd(angle: FloatArray) -> FloatArray:
    """Return the sd (angle,) whose 90 % interval is as wide as the middle 90 % of postures."""
    low, high = np.nanquantile(angle, [(1 - _QUANTILE) / 2, (1 + _QUANTILE) / 2], axis=0)
    return np.asarray((high - low) / 2 / _OF_NORMAL)


def _slope(of: FloatArray, error: FloatArray, sd: FloatArray) -> FloatArray:
    """Return (feature, angle): a ridge regression of the logarithm of errors over their sd."""
    size = np.log(np.abs(error) / sd + LEAST_SHARE)
    told_by = bent(of)
    normal = told_by.T @ told_by
    normal[np.diag_indices(len(normal))] += SLOPE_RIDGE
    slope: FloatArray = np.linalg.solve(normal, told_by.T @ (size - size.mean(axis=0)))
    return slope


def _widening(ratio: FloatArray, view: IndexArray, bin_: int) -> FloatArray:
    """Return what multiplies the sd in one view: its own quantile, drawn to that of all views."""
    own, overall = ratio[view == bin_], np.quantile(ratio, _QUANTILE, axis=0)
    if not len(own):
        return np.asarray(overall * 1.2)
    share = len(own) / (len(own) + _BROAD_SHRINK)
    high = np.quantile(own, min(1.0, _QUANTILE + 0.5 / len(own)), axis=0)
    return np.asarray(share * high + (1 - share) * overall)
