"""The figures that a comparison compares, each with what chance and measurement do to it."""

from dataclasses import dataclass, replace
from math import nan

import numpy as np
from scipy.special import ndtri

from ergo.arrays import BoolArray, FloatArray
from ergo.comparison.intervals import (
    NOTHING,
    Spread,
    spread_of_pictures,
    spread_of_recording,
    spread_of_sessions,
)
from ergo.comparison.lasting import effective_number
from ergo.comparison.pool import Pool
from ergo.exposure.bands import NOT_KNOWN, LimitSet, edges_of, strain_of
from ergo.exposure.exposure import GroupKind
from ergo.exposure.groups import Labels, gap_labels
from ergo.exposure.percentiles import weighted_quantiles
from ergo.exposure.shares import alike_angles
from ergo.exposure.uncertain import (
    COMMON_ERRORS,
    COMMON_SHARE,
    alike_frames,
    band_probabilities,
    common_shares,
    weights_of,
)
from ergo.scores.method_score import NOT_SEEN

_SURE = 6.0
_FINE = 10.0


@dataclass(frozen=True, slots=True, eq=False)
class Figure:
    """One figure of a pool.

    Attributes
    ----------
    value : float
        NaN where nothing was judged.
    spread : Spread
        What chance does to it.
    moved : array (draw,)
        How far a common error of the angle moves it, for each of
        :data:`ergo.exposure.uncertain.COMMON_ERRORS`.
    judged_share : float
        Judged share of the time the figure is about, 0..1.
    """

    value: float
    spread: Spread
    moved: FloatArray
    judged_share: float


@dataclass(frozen=True, slots=True, eq=False)
class Asked:
    """The part of a pool that a figure is about.

    Attributes
    ----------
    held : array (frame,)
        0 outside the part. [s or pictures]
    total : float
        What the part stands for, jumps in time included. [s or pictures]
    """

    held: FloatArray
    total: float


def whole(pool: Pool) -> Asked:
    """Return the whole pool."""
    return Asked(pool.held, float(np.sum(pool.held) + np.sum(pool.gap_after)))


def part(pool: Pool, kind: GroupKind, labels: Labels, name: str) -> Asked:
    """Return the part of a pool at one clock hour or in one task.

    Parameters
    ----------
    pool : Pool
    kind : str
    labels : tuple (frame,) of str or None
        Of the pool, of this kind.
    name : str
    """
    wanted = np.array([label == name for label in labels], dtype=bool)
    held = np.where(wanted, pool.held, 0.0)
    return Asked(
        held, float(np.sum(held) + np.sum(pool.gap_after[gap_labels(kind, labels) == name]))
    )


def beyond_share(pool: Pool, limits: LimitSet, asked: Asked) -> Figure:
    """Return the share of the judged time beyond a limit.

    Parameters
    ----------
    pool : Pool
    limits : LimitSet
    asked : Asked
        What the figure is about.
    """
    name = limits.angle.name
    alike = alike_angles(pool.posture, name, weights_of(asked.held[None]))
    edges = edges_of(limits, alike.is_supported)
    probability = band_probabilities(alike, edges)[limits.strained].sum(axis=0)
    strain = strain_of(limits, pool.posture)
    return _share(
        pool,
        asked,
        strain == 2,
        strain != NOT_KNOWN,
        common_shares(alike, probability)[:, 0],
    )


def level_share(pool: Pool, key: tuple[str, str], asked: Asked) -> Figure:
    """Return the share of the judged time at the upper levels of a method.

    Parameters
    ----------
    pool : Pool
    key : tuple of str
        Method and side. The upper levels are :func:`upper_level` and above.
    asked : Asked
        What the figure is about.
    """
    scores = pool.levels[key]
    first = upper_level(len(scores[0].levels))
    level = np.concatenate([score.level for score in scores])
    lower = np.concatenate(
        [score.level_probability[:, : first - 1].sum(axis=1) for score in scores]
    )
    judged = level != NOT_SEEN
    cut = np.where(judged, np.clip(ndtri(np.clip(lower, 0, 1)), -_SURE, _SURE), np.nan)
    alike = alike_frames(_FINE * cut, np.full(len(cut), _FINE), weights_of(asked.held[None]))
    below = band_probabilities(alike, np.array([0.0]))[1]
    return _share(pool, asked, level >= first, judged, 1 - common_shares(alike, below)[:, 0])


def upper_level(levels: int) -> int:
    """Return the position, from 1, of the first level that counts as upper.

    The last two levels of a method are upper, but never its lowest one.
    """
    return max(2, levels - 1)


def _share(
    pool: Pool,
    asked: Asked,
    is_counted: BoolArray,
    judged: BoolArray,
    common: FloatArray,
) -> Figure:
    judged_held = np.where(judged, asked.held, 0.0)
    counted = np.where(is_counted, judged_held, 0.0)
    total = float(np.sum(judged_held))
    return Figure(
        value=float(np.sum(counted)) / total if total > 0 else nan,
        spread=_share_spread(pool, counted, judged_held),
        moved=common - np.mean(common),
        judged_share=total / asked.total if asked.total > 0 else 0.0,
    )


def _share_spread(pool: Pool, counted: FloatArray, held: FloatArray) -> Spread:
    """Return what chance does to a share of the judged time, each array (frame,)."""
    total = float(np.sum(held))
    pieces = effective_number(total)
    unseen = 0.5 / (pieces + 1)  # half a posture, where none or all of them was counted
    return _spread(pool, counted, held, unseen * (1 - unseen) / max(pieces, 1e-9))


def _spread(pool: Pool, counted: FloatArray, held: FloatArray, least: float) -> Spread:
    """Return what chance does to a ratio of sums over judged frames, each array (frame,)."""
    total, judged = float(np.sum(held)), (held > 0) | (counted > 0)
    if not total > 0:
        return NOTHING
    residual = (counted - held * (float(np.sum(counted)) / total))[judged]
    session = pool.session[judged]
    if len(np.unique(session)) > 1:
        return spread_of_sessions(residual, session, total)
    if pool.is_stills:
        return spread_of_pictures(residual, total)
    length_s = float(np.sum(pool.held[judged]))
    return spread_of_recording(residual, pool.cell[judged], total, length_s, least)


def percentile(pool: Pool, angle: str, share: float) -> Figure:
    """Return the angle that is passed in ``1 - share`` of the judged time.

    Parameters
    ----------
    pool : Pool
    angle : str
    share : float
        0..1.
    """
    value, sd = pool.posture.angle(angle), pool.posture.angle_sd(angle)
    seen = np.isfinite(value)
    held = np.where(seen, pool.held, 0.0)
    total = float(np.sum(held))
    if total <= 0:
        return Figure(nan, NOTHING, np.zeros(len(COMMON_ERRORS)), 0.0)
    common_sd = np.sqrt(COMMON_SHARE) * float(np.average(sd[seen], weights=held[seen]))
    (found,) = weighted_quantiles(value[seen], held[seen], np.array([share])).tolist()
    return Figure(
        value=found,
        spread=_percentile_spread(pool, value, held, share),
        moved=-COMMON_ERRORS * common_sd,
        judged_share=total / whole(pool).total,
    )


def _percentile_spread(pool: Pool, value: FloatArray, held: FloatArray, share: float) -> Spread:
    """Return what chance does to a percentile; ``held`` is 0 where it was not judged.

    Of several sessions, by how their own percentiles differ. Of one, by the
    percentiles one standard error of the share below to either side (Woodruff RS 1952.
    Confidence intervals for medians and other position measures. J Am Stat Assoc
    47(260):635-646; status: memory), with as many independent values as the angle has. At the
    ends of the distribution, fewer of these count.
    """
    judged = held > 0
    value, held, session = value[judged], held[judged], pool.session[judged]
    wanted = np.array([share])
    units = np.unique(session)
    if len(units) > 1:
        own = [
            weighted_quantiles(value[session == k], held[session == k], wanted)[0] for k in units
        ]
        return Spread(float(np.var(own, ddof=1)) / len(units), float(len(units) - 1))
    mean = float(np.average(value, weights=held))
    amount = np.zeros(len(judged))
    amount[judged] = held * (value - mean)
    spread = _spread(pool, amount, np.where(judged, pool.held, 0.0), 0.0)
    pieces = min(spread.effective, float(len(value)))
    error = np.sqrt(share * (1 - share) / max(pieces, 1e-9))
    ends = np.clip([share - error, share + error], 0.0, 1.0)
    low, high = weighted_quantiles(value, held, ends).tolist()
    return replace(
        spread,
        variance=((high - low) / 2) ** 2,
        effective=spread.effective * 4 * share * (1 - share),
    )


def holds_per_hour(pool: Pool, angle: str) -> Figure:
    """Return how many holds passed their holding line in an hour judged.

    Parameters
    ----------
    pool : Pool
    angle : str
    """
    judged_h = np.where(np.isfinite(pool.posture.angle(angle)), pool.held, 0.0) / 3600.0
    passed = np.zeros(len(judged_h))
    for frame, hold in pool.holds:
        if hold.angle.name == angle and hold.is_beyond_line:
            passed[frame] += 1
    total = float(np.sum(judged_h))
    return Figure(
        value=float(np.sum(passed)) / total if total > 0 else nan,
        spread=_spread(pool, passed, judged_h, 1 / total**2 if total > 0 else nan),
        moved=np.zeros(len(COMMON_ERRORS)),
        judged_share=3600 * total / whole(pool).total if total > 0 else 0.0,
    )
