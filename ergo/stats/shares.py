"""How long angles were in the bands of the published limits, and methods at their levels."""

from collections.abc import Sequence

import numpy as np
from scipy.special import ndtri

from ergo.arrays import FloatArray, StepArray
from ergo.posture.posture_track import PostureTrack
from ergo.scores.method_score import NOT_SEEN, MethodScore
from ergo.stats.exposure import LevelShares, LimitSet, LimitShares, Share
from ergo.stats.uncertain import (
    AlikeFrames,
    alike_frames,
    band_of,
    band_probabilities,
    drawn_shares,
    edges_of,
    shares_with_interval,
    sure_shares,
)

_SURE = 6.0  # a probability beyond 6 standard deviations counts as certain


def limit_shares(
    posture: PostureTrack, held: FloatArray, limits: Sequence[LimitSet]
) -> tuple[tuple[LimitShares, ...], ...]:
    """Return the shares of every set of limits, for every group of frames.

    Parameters
    ----------
    posture : PostureTrack
    held : array (group, frame)
        Weights of each group. [unit of the timeline]
    limits : sequence of LimitSet

    Returns
    -------
    tuple (group,) of tuple (limits,) of LimitShares
    """
    names = dict.fromkeys(each.angle.name for each in limits)
    alike = {
        name: alike_frames(posture.angle(name), posture.angle_sd(name), held) for name in names
    }
    per_limit = [
        _limit_shares(each, posture.angle(each.angle.name), alike[each.angle.name], held)
        for each in limits
    ]
    return tuple(zip(*per_limit, strict=True)) if per_limit else tuple(() for _ in held)


def _limit_shares(
    limits: LimitSet, value: FloatArray, alike: AlikeFrames, held: FloatArray
) -> tuple[LimitShares, ...]:
    bands, total = limits.bands, held.sum(axis=1)
    counted = _counted(band_of(bands, value), len(bands) + 1, held)
    probability = band_probabilities(alike, edges_of(bands))
    per_band = [
        shares_with_interval(counted[:, n], drawn_shares(alike, probability[..., n], total), total)
        for n in range(len(bands))
    ]
    strained = [n for n, band in enumerate(bands) if band.strain == 2]
    beyond = shares_with_interval(
        counted[:, strained].sum(axis=1),
        drawn_shares(alike, probability[..., strained].sum(axis=-1), total),
        total,
    )
    unjudged = sure_shares(counted[:, -1], total)
    return tuple(
        LimitShares(limits, tuple(band[group] for band in per_band), beyond[group], unjudged[group])
        for group in range(len(held))
    )


def _counted(place: StepArray, places: int, held: FloatArray) -> FloatArray:
    """Return the weight at each place, array (group, place)."""
    return np.array([np.bincount(place, row, places) for row in held])


def level_shares(
    scores: Sequence[MethodScore], held: FloatArray
) -> tuple[tuple[LevelShares, ...], ...]:
    """Return the shares of every method's levels, for every group of frames.

    Parameters
    ----------
    scores : sequence of MethodScore
    held : array (group, frame)
        Weights of each group. [unit of the timeline]

    Returns
    -------
    tuple (group,) of tuple (score,) of LevelShares
    """
    per_score = [_level_shares(score, held) for score in scores]
    return tuple(zip(*per_score, strict=True)) if per_score else tuple(() for _ in held)


def _level_shares(score: MethodScore, held: FloatArray) -> tuple[LevelShares, ...]:
    total = held.sum(axis=1)
    counted = _counted(score.level, len(score.levels) + 1, held)
    drawn = _drawn_levels(score, held)
    per_level = [
        shares_with_interval(counted[:, n + 1], drawn[n], total) for n in range(len(score.levels))
    ]
    unjudged = sure_shares(counted[:, NOT_SEEN], total)
    return tuple(
        LevelShares(
            score.method,
            score.side,
            score.levels,
            tuple(level[group] for level in per_level),
            unjudged[group],
        )
        for group in range(len(held))
    )


def _drawn_levels(score: MethodScore, held: FloatArray) -> list[FloatArray]:
    """Return the drawn shares of each level, one array (draw, group) per level.

    Levels are ordered, so a frame's probabilities are those of a normal value
    cut at thresholds; of its variance :data:`COMMON_SHARE` is common.
    """
    total = held.sum(axis=1)
    passed = np.cumsum(score.level_probability, axis=1)[:, :-1]
    cuts = np.clip(ndtri(np.clip(passed, 0.0, 1.0)), -_SURE, _SURE)
    judged = np.where((score.level != NOT_SEEN)[:, None], 1.0, np.nan)
    below = [_drawn_below(cut, held, total) for cut in (cuts * judged).T]
    seen = held[:, score.level != NOT_SEEN].sum(axis=1) / np.where(total > 0, total, np.nan)
    sums = [np.zeros_like(seen)[None, :], *below, seen[None, :]]
    return [
        np.clip(after - before, 0.0, 1.0) for before, after in zip(sums, sums[1:], strict=False)
    ]


def _drawn_below(cut: FloatArray, held: FloatArray, total: FloatArray) -> FloatArray:
    """Return the drawn share of frames whose normal value lies below ``cut``."""
    alike = alike_frames(10 * cut, np.where(np.isfinite(cut), 10.0, np.nan), held)
    probability = band_probabilities(alike, np.array([0.0]))[..., 1]
    return drawn_shares(alike, probability, total)


def share_of(counted: float, total: float) -> Share:
    """Return a share that no error of an angle can change."""
    return sure_shares(np.array([counted]), np.array([total]))[0]
