"""How long angles were in the bands of the published limits, and methods at their levels."""

from collections.abc import Mapping, Sequence

import numpy as np
from scipy.special import ndtri

from ergo.arrays import FloatArray
from ergo.exposure.bands import LimitSet, bands_held, edges_of
from ergo.exposure.exposure import Decider, LevelShares, LimitShares, Share
from ergo.exposure.uncertain import (
    DRAWS,
    AlikeFrames,
    Weights,
    alike_frames,
    band_probabilities,
    drawn_shares,
    shares_with_interval,
    sure_shares,
    weights_of,
)
from ergo.posture.posture_track import PostureTrack
from ergo.scores.method_score import NOT_SEEN, MethodScore

_SURE = 6.0  # a probability beyond 6 standard deviations counts as certain
_FINE = 10.0  # standard deviations are put together in twentieths


def limit_shares(
    posture: PostureTrack,
    held: FloatArray,
    limits: Sequence[LimitSet],
    gap: FloatArray | None = None,
) -> tuple[tuple[LimitShares, ...], ...]:
    """Return the shares of every set of limits, for every group of frames.

    Parameters
    ----------
    posture : PostureTrack
    held : array (group, frame)
        Weights of each group. [unit of the timeline]
    limits : sequence of LimitSet
    gap : array (group,), optional
        Time of each group for which no frame stands: not assessed. [unit of the timeline]

    Returns
    -------
    tuple (group,) of tuple (limits,) of LimitShares
    """
    names, weights = dict.fromkeys(each.angle.name for each in limits), weights_of(held, gap)
    alike = {name: alike_angles(posture, name, weights) for name in names}
    per_limit = [_limit_shares(each, posture, alike[each.angle.name], weights) for each in limits]
    return tuple(zip(*per_limit, strict=True)) if per_limit else tuple(() for _ in held)


def alike_angles(posture: PostureTrack, name: str, weights: Weights) -> AlikeFrames:
    """Return the frames of nearly the same value of one angle, put together."""
    sd, is_supported = posture.angle_sd(name), posture.is_supported(name)
    return alike_frames(posture.angle(name), sd, weights, is_supported)


def _limit_shares(
    limits: LimitSet, posture: PostureTrack, alike: AlikeFrames, weights: Weights
) -> tuple[LimitShares, ...]:
    bands, total = limits.bands, weights.total
    counted = weights.summed(bands_held(limits, posture), len(bands) + 1, weights.weight)
    probability = band_probabilities(alike, edges_of(limits, alike.is_supported))
    *per_band, beyond = shares_with_interval(
        _with_sum(counted[:-1], limits.strained),
        drawn_shares(alike, _with_sum(probability, limits.strained), total),
        total,
    )
    unjudged = sure_shares(counted[-1] + weights.gap, total)
    return tuple(
        LimitShares(limits, tuple(band[group] for band in per_band), beyond[group], unjudged[group])
        for group in range(len(total))
    )


def _with_sum(per_band: FloatArray, wanted: list[int]) -> FloatArray:
    """Return one more row: the sum of the wanted bands, array (band + 1, ...)."""
    return np.concatenate([per_band, per_band[wanted].sum(axis=0, keepdims=True)])


def level_shares(
    scores: Sequence[MethodScore], held: FloatArray, gap: FloatArray | None = None
) -> tuple[tuple[LevelShares, ...], ...]:
    """Return the shares of every method's levels, for every group of frames.

    Parameters
    ----------
    scores : sequence of MethodScore
    held : array (group, frame)
        Weights of each group. [unit of the timeline]
    gap : array (group,), optional
        Time of each group for which no frame stands: not assessed. [unit of the timeline]

    Returns
    -------
    tuple (group,) of tuple (score,) of LevelShares
    """
    weights = weights_of(held, gap)
    per_score = [_level_shares(score, weights) for score in scores]
    return tuple(zip(*per_score, strict=True)) if per_score else tuple(() for _ in held)


def _level_shares(score: MethodScore, weights: Weights) -> tuple[LevelShares, ...]:
    total = weights.total
    counted = weights.summed(score.level, len(score.levels) + 1, weights.weight)
    per_level = shares_with_interval(counted[1:], _drawn_levels(score, weights, total), total)
    unjudged = sure_shares(counted[NOT_SEEN] + weights.gap, total)
    decided = _decided(score, weights, total)
    return tuple(
        LevelShares(
            score.method,
            score.side,
            score.levels,
            tuple(level[group] for level in per_level),
            unjudged[group],
            tuple(of_level[group] for of_level in decided),
        )
        for group in range(len(total))
    )


def _decided(
    score: MethodScore, weights: Weights, total: FloatArray
) -> list[list[tuple[Decider, ...]]]:
    """Return what decided and how long, longest first: by level, then by group."""
    if not score.deciding:
        return []
    found: list[list[tuple[Decider, ...]]] = []
    for level in range(1, len(score.levels) + 1):
        held = {
            name: sure_shares(
                weights.summed((frames & (score.level == level)).astype(int), 2, weights.weight)[1],
                total,
            )
            for name, frames in score.deciding.items()
        }
        found.append([_longest_first(held, group) for group in range(len(total))])
    return found


def _longest_first(held: Mapping[str, tuple[Share, ...]], group: int) -> tuple[Decider, ...]:
    each = [Decider(name, shares[group]) for name, shares in held.items()]
    each = [decider for decider in each if decider.held.share > 0]
    return tuple(sorted(each, key=lambda decider: -decider.held.share))


def _drawn_levels(score: MethodScore, weights: Weights, total: FloatArray) -> FloatArray:
    """Return the drawn shares of each level, array (level, draw, group).

    Levels are ordered, so a frame's probabilities are those of a normal value
    cut at thresholds; part of its variance is common to the session.
    """
    judged = np.flatnonzero(score.level != NOT_SEEN)
    own, chance = weights.some(judged), score.level_probability.T[:, judged]
    passed = np.cumsum(chance, axis=0)[:-1]
    cuts = np.clip(ndtri(np.clip(passed, 0.0, 1.0)), -_SURE, _SURE)
    below = [_drawn_below(cut, own, total) for cut in cuts]
    seen = own.total / np.where(total > 0, total, np.nan)
    none, whole = np.zeros((DRAWS, len(total))), np.broadcast_to(seen, (DRAWS, len(total)))
    return np.clip(np.diff([none, *below, whole], axis=0), 0.0, 1.0)


def _drawn_below(cut: FloatArray, weights: Weights, total: FloatArray) -> FloatArray:
    """Return the drawn share of frames whose value lies below ``cut``, array (draw, group)."""
    alike = alike_frames(_FINE * cut, np.full(len(cut), _FINE), weights)
    drawn: FloatArray = drawn_shares(alike, band_probabilities(alike, np.array([0.0]))[1:], total)[
        0
    ]
    return drawn


def share_of(counted: float, total: float) -> Share:
    """Return a share that no error of an angle can change."""
    return sure_shares(np.array([counted]), np.array([total]))[0]
