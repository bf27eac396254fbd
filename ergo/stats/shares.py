"""How long angles were in the bands of the published limits, and methods at their levels."""

from collections.abc import Sequence

import numpy as np
from scipy.special import ndtri

from ergo.arrays import FloatArray, StepArray
from ergo.posture.posture_track import PostureTrack
from ergo.scores.method_score import NOT_SEEN, MethodScore
from ergo.stats.exposure import LevelShares, LimitSet, LimitShares, Share
from ergo.stats.uncertain import (
    DRAWS,
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
_FINE = 10.0  # standard deviations are put together in twentieths


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
    strained = [n for n, band in enumerate(bands) if band.strain == 2]
    *per_band, beyond = shares_with_interval(
        _with_sum(counted[:-1], strained),
        drawn_shares(alike, _with_sum(probability, strained), total),
        total,
    )
    unjudged = sure_shares(counted[-1], total)
    return tuple(
        LimitShares(limits, tuple(band[group] for band in per_band), beyond[group], unjudged[group])
        for group in range(len(held))
    )


def _with_sum(per_band: FloatArray, wanted: list[int]) -> FloatArray:
    """Return one more row: the sum of the wanted bands, array (band + 1, ...)."""
    return np.concatenate([per_band, per_band[wanted].sum(axis=0, keepdims=True)])


def _counted(place: StepArray, places: int, held: FloatArray) -> FloatArray:
    """Return the weight at each place, array (place, group)."""
    return np.array([np.bincount(place, row, places) for row in held]).T


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
    per_level = shares_with_interval(counted[1:], _drawn_levels(score, held), total)
    unjudged = sure_shares(counted[NOT_SEEN], total)
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


def _drawn_levels(score: MethodScore, held: FloatArray) -> FloatArray:
    """Return the drawn shares of each level, array (level, draw, group).

    Levels are ordered, so a frame's probabilities are those of a normal value
    cut at thresholds; part of its variance is common to the session.
    """
    total, judged = held.sum(axis=1), score.level != NOT_SEEN
    passed = np.cumsum(score.level_probability[judged], axis=1)[:, :-1]
    cuts = np.clip(ndtri(np.clip(passed, 0.0, 1.0)), -_SURE, _SURE)
    below = [_drawn_below(cut, held[:, judged], total) for cut in cuts.T]
    seen = held[:, judged].sum(axis=1) / np.where(total > 0, total, np.nan)
    none, whole = np.zeros((DRAWS, len(held))), np.broadcast_to(seen, (DRAWS, len(held)))
    return np.clip(np.diff([none, *below, whole], axis=0), 0.0, 1.0)


def _drawn_below(cut: FloatArray, held: FloatArray, total: FloatArray) -> FloatArray:
    """Return the drawn share of frames whose value lies below ``cut``, array (draw, group)."""
    alike = alike_frames(_FINE * cut, np.full(len(cut), _FINE), held)
    drawn: FloatArray = drawn_shares(alike, band_probabilities(alike, np.array([0.0]))[1:], total)[
        0
    ]
    return drawn


def share_of(counted: float, total: float) -> Share:
    """Return a share that no error of an angle can change."""
    return sure_shares(np.array([counted]), np.array([total]))[0]
