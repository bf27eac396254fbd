"""The figures that a comparison compares, each with what chance and measurement do to it."""

from dataclasses import dataclass
from math import nan

import numpy as np
from scipy.special import ndtri

from ergo.arrays import BoolArray, FloatArray
from ergo.scores.method_score import NOT_SEEN
from ergo.stats.bands import NOT_KNOWN, LimitSet, edges_of, strain_of
from ergo.stats.bootstrap import Draws, Spread, figure_spread, ratio_spread
from ergo.stats.exposure import GroupKind
from ergo.stats.groups import Labels, gap_labels
from ergo.stats.neighbours import missed_by_blocks
from ergo.stats.pool import Pool
from ergo.stats.shares import alike_angles
from ergo.stats.uncertain import (
    COMMON_ERRORS,
    COMMON_SHARE,
    alike_frames,
    band_probabilities,
    common_shares,
    weights_of,
)

_BIN = 0.5  # percentiles of drawn blocks are read from classes of half a degree
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
        :data:`ergo.stats.uncertain.COMMON_ERRORS`.
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


def beyond_share(pool: Pool, draws: Draws, limits: LimitSet, asked: Asked) -> Figure:
    """Return the share of the judged time beyond a limit.

    Parameters
    ----------
    pool : Pool
    draws : Draws
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
        draws,
        asked,
        strain == 2,
        strain != NOT_KNOWN,
        common_shares(alike, probability)[:, 0],
    )


def level_share(pool: Pool, draws: Draws, key: tuple[str, str], asked: Asked) -> Figure:
    """Return the share of the judged time at the upper levels of a method.

    Parameters
    ----------
    pool : Pool
    draws : Draws
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
    return _share(pool, draws, asked, level >= first, judged, 1 - common_shares(alike, below)[:, 0])


def upper_level(levels: int) -> int:
    """Return the position, from 1, of the first level that counts as upper.

    The last two levels of a method are upper, but never its lowest one.
    """
    return max(2, levels - 1)


def _share(
    pool: Pool,
    draws: Draws,
    asked: Asked,
    is_counted: BoolArray,
    judged: BoolArray,
    common: FloatArray,
) -> Figure:
    judged_held = np.where(judged, asked.held, 0.0)
    counted = np.where(is_counted, judged_held, 0.0)
    amount, of = _by_block(pool, counted), _by_block(pool, judged_held)
    total = float(np.sum(of))
    return Figure(
        value=float(np.sum(amount)) / total if total > 0 else nan,
        spread=_raised(ratio_spread(amount, of, draws), pool, counted, judged_held),
        moved=common - np.mean(common),
        judged_share=total / asked.total if asked.total > 0 else 0.0,
    )


def _raised(spread: Spread, pool: Pool, counted: FloatArray, held: FloatArray) -> Spread:
    """Return a spread raised by what blocks miss; sessions are independent as they are.

    Blocks that are alike are worth fewer, so there are fewer degrees of freedom.
    """
    if pool.session_of_block.max(initial=0) > 0 or not np.sum(held) > 0:
        return spread
    residual = counted - held * (np.sum(counted) / np.sum(held))
    factor = missed_by_blocks(residual, pool.cell, pool.block_s)
    return Spread(spread.variance * factor, spread.freedom / factor)


def percentile(pool: Pool, draws: Draws, angle: str, share: float) -> Figure:
    """Return the angle that is passed in ``1 - share`` of the judged time.

    Parameters
    ----------
    pool : Pool
    draws : Draws
    angle : str
    share : float
        0..1.
    """
    value, sd = pool.posture.angle(angle), pool.posture.angle_sd(angle)
    seen = np.isfinite(value)
    held = np.where(seen, pool.held, 0.0)
    of = _by_block(pool, held)
    total = float(np.sum(of))
    if total <= 0:
        return Figure(nan, Spread(0.0, 0.0), np.zeros(len(COMMON_ERRORS)), 0.0)
    classes, least = _classes(pool, value, held)

    def quantile(times: FloatArray) -> FloatArray:
        passed = np.cumsum(times @ classes, axis=1)
        place = np.argmax(passed >= share * passed[:, -1:] - 1e-9, axis=1)
        return np.asarray(least + _BIN * (place + 0.5), dtype=np.float64)

    common_sd = np.sqrt(COMMON_SHARE) * float(np.average(sd[seen], weights=held[seen]))
    found = float(quantile(np.ones((1, len(of))))[0])
    return Figure(
        value=found,
        spread=_raised(
            figure_spread(quantile, of > 0, draws), pool, np.where(value > found, held, 0.0), held
        ),
        moved=-COMMON_ERRORS * common_sd,
        judged_share=total / whole(pool).total,
    )


def _classes(pool: Pool, value: FloatArray, held: FloatArray) -> tuple[FloatArray, float]:
    """Return the time of each block in each class, array (block, class), and the least edge."""
    seen = np.isfinite(value)
    least = float(np.floor(np.min(value[seen])))
    place = ((value[seen] - least) // _BIN).astype(np.int64)
    blocks, count = len(pool.session_of_block), int(place.max()) + 1
    flat = np.bincount(pool.block[seen] * count + place, held[seen], blocks * count)
    return flat.reshape(blocks, count).astype(np.float64), least


def holds_per_hour(pool: Pool, draws: Draws, angle: str) -> Figure:
    """Return how many holds passed their holding line in an hour judged.

    Parameters
    ----------
    pool : Pool
    draws : Draws
    angle : str
    """
    judged_h = np.where(np.isfinite(pool.posture.angle(angle)), pool.held, 0.0) / 3600.0
    of = _by_block(pool, judged_h)
    passed = np.zeros(len(of))
    for block, hold in pool.holds:
        if hold.angle.name == angle and hold.is_beyond_line:
            passed[block] += 1
    total = float(np.sum(of))
    return Figure(
        value=float(np.sum(passed)) / total if total > 0 else nan,
        spread=ratio_spread(passed, of, draws),
        moved=np.zeros(len(COMMON_ERRORS)),
        judged_share=3600 * total / whole(pool).total if total > 0 else 0.0,
    )


def _by_block(pool: Pool, amount: FloatArray) -> FloatArray:
    """Return the sum over the frames of each block, array (block,)."""
    return np.bincount(pool.block, amount, len(pool.session_of_block)).astype(np.float64)
