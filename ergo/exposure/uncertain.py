"""Shares of time with intervals: what errors of angles mean for counts of frames.

An angle's error is partly common to the whole session (the view, the person's
build) and partly new in every frame. The variance of each frame is split by
:data:`COMMON_SHARE`. Common parts are drawn as equally probable values; given
one of them, a frame lies in a band with the probability of the normal
distribution. The interval of a share runs from the 5 % to the 95 % point of the
drawn shares, widened where needed to hold the share as counted.

All shares are computed for several groups of frames at once (the session, each
clock hour, each task), see :class:`Weights`.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from ergo.arrays import BoolArray, FloatArray, IndexArray
from ergo.errors import InputError
from ergo.exposure.exposure import Share

COMMON_SHARE = 0.7
"""Part of the variance of an angle's error that is common to the session (ours)."""

DRAWS = 32
"""How many equally probable common errors are tried."""

INTERVAL = (0.05, 0.95)
"""Ends of every interval of this module."""

_LEVELS = (np.arange(DRAWS) + 0.5) / DRAWS
COMMON_ERRORS = ndtri(_LEVELS)
"""The common errors that are tried, rising. [standard deviations of the common part]"""

_REST = ndtri(np.random.default_rng(20).permutation(_LEVELS))
_STEP = 0.5  # frames within half a degree (and a fifth of their sd) count as alike
_TINY_SD = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Weights:
    """What every frame weighs, and in which groups of frames it counts.

    Frames that count in the same groups are summed up before they are laid to each group,
    so that many groups cost hardly more than one.

    Attributes
    ----------
    weight : array (frame,)
        [unit of the timeline]
    pattern : array (frame,)
        Row of ``counts`` that holds for the frame.
    counts : array (pattern, group)
        1 where a group counts such frames, else 0.
    gap : array (group,)
        What belongs to each group although no frame stands for it (jumps in
        time): never assessed. [unit of the timeline]
    """

    weight: FloatArray
    pattern: IndexArray
    counts: FloatArray
    gap: FloatArray

    @property
    def total(self) -> FloatArray:
        """array (group,): what each group stands for, in the unit of the timeline."""
        everywhere = np.zeros(len(self.weight), dtype=np.int64)
        total: FloatArray = self.summed(everywhere, 1, self.weight)[0] + self.gap
        return total

    def some(self, frames: IndexArray) -> "Weights":
        """Return the weights of some of the frames alone."""
        none = np.zeros_like(self.gap)
        return Weights(self.weight[frames], self.pattern[frames], self.counts, none)

    def summed(self, place: IndexArray, places: int, values: FloatArray) -> FloatArray:
        """Return the sums of values (frame,) by their place (frame,), array (place, group)."""
        patterns = len(self.counts)
        cell = place * patterns + self.pattern
        by_pattern = np.bincount(cell, values, places * patterns).reshape(places, patterns)
        sums: FloatArray = by_pattern @ self.counts
        return sums


def weights_of(held: FloatArray, gap: FloatArray | None = None) -> Weights:
    """Return rows of weights, array (group, frame), as one weight a frame and its groups.

    Parameters
    ----------
    held : array (group, frame)
        [unit of the timeline]
    gap : array (group,), optional
        As in :class:`Weights`; none where it is not given. [unit of the timeline]

    Raises
    ------
    InputError
        If a frame weighs more in one group than in another that counts it.
    """
    weight = held.max(axis=0, initial=0.0)
    pattern = np.zeros(len(weight), dtype=np.int64)
    for is_in in held > 0:
        pattern, _ = _kinds(pattern, is_in.astype(np.int64))
    _, example = np.unique(pattern, return_index=True)
    gap = np.zeros(len(held)) if gap is None else gap
    found = Weights(weight, pattern, (held[:, example] > 0).T.astype(np.float64), gap)
    if not np.array_equal(held, (weight[:, None] * found.counts[pattern]).T):
        raise InputError("A frame must weigh the same in every group that counts it.")
    return found


@dataclass(frozen=True, slots=True, eq=False)
class AlikeFrames:
    """Frames of nearly the same angle and sd, put together.

    Attributes
    ----------
    value, sd : array (kind,)
        Mean of the frames put together. [unit of the angle]
    is_supported : array (kind,)
        Whether the part is fully supported in them.
    held, held_squared : array (group, kind)
        Sum of the frames' weights, and of their squares. [unit of the timeline]
    """

    value: FloatArray
    sd: FloatArray
    is_supported: BoolArray
    held: FloatArray
    held_squared: FloatArray


def alike_frames(
    value: FloatArray, sd: FloatArray, weights: Weights, is_supported: BoolArray | bool = False
) -> AlikeFrames:
    """Return the judged frames, those of nearly equal angle and sd put together.

    Parameters
    ----------
    value, sd : array (frame,)
        NaN = not judged. [unit of the angle]
    weights : Weights
    is_supported : array (frame,) or bool
        Where the part is fully supported; such frames are never put with others.
    """
    judged = np.flatnonzero(np.isfinite(value))
    carried = np.broadcast_to(is_supported, value.shape)[judged]
    value, sd = value[judged], np.maximum(sd[judged], _TINY_SD)
    kind, _ = _kinds(
        np.round(value / _STEP).astype(np.int64), np.round(5 * np.log(sd)).astype(np.int64)
    )
    kind, count = _kinds(kind, carried.astype(np.int64))
    own, frames = weights.some(judged), np.maximum(np.bincount(kind, minlength=count), 1)
    return AlikeFrames(
        value=np.bincount(kind, value, count) / frames,
        sd=np.bincount(kind, sd, count) / frames,
        is_supported=np.bincount(kind, carried, count) > 0,
        held=own.summed(kind, count, own.weight).T,
        held_squared=own.summed(kind, count, own.weight**2).T,
    )


def _kinds(first: IndexArray, second: IndexArray) -> tuple[IndexArray, int]:
    """Return the number of each pair, without gaps, and how many there are."""
    if not len(first):
        return first, 0
    span = int(second.max() - second.min()) + 1
    key = (first - first.min()) * span + second - second.min()
    is_used = np.bincount(key) > 0
    return (np.cumsum(is_used) - 1)[key], int(is_used.sum())


def band_probabilities(alike: AlikeFrames, edges: FloatArray) -> FloatArray:
    """Return the probability of each band for each common error.

    Parameters
    ----------
    alike : AlikeFrames
    edges : array (edge,) or (edge, kind)
        [unit of the angle]

    Returns
    -------
    array (band, draw, kind)
        Sums to 1 over the bands.
    """
    centre = alike.value - np.sqrt(COMMON_SHARE) * COMMON_ERRORS[:, None] * alike.sd
    spread = np.sqrt(1 - COMMON_SHARE) * alike.sd
    below = np.empty((len(edges) + 2, *centre.shape))
    below[0], below[-1] = 0.0, 1.0
    for place, edge in enumerate(edges, start=1):
        below[place] = ndtr((edge - centre) / spread)
    probability: FloatArray = np.diff(below, axis=0)
    return probability


def common_shares(alike: AlikeFrames, probability: FloatArray) -> FloatArray:
    """Return the share of the judged time for each common error.

    Parameters
    ----------
    alike : AlikeFrames
    probability : array (draw, kind)
        Of lying in the band.

    Returns
    -------
    array (draw, group)
        0..1; NaN where a group was never judged.
    """
    judged = alike.held.sum(axis=1)
    shares: FloatArray = probability @ alike.held.T / np.where(judged > 0, judged, np.nan)
    return shares


def drawn_shares(alike: AlikeFrames, probability: FloatArray, total: FloatArray) -> FloatArray:
    """Return the share of each group in each band for each draw.

    Parameters
    ----------
    alike : AlikeFrames
    probability : array (band, draw, kind)
        Of lying in the band.
    total : array (group,)
        What each group stands for. [unit of the timeline]

    Returns
    -------
    array (band, draw, group)
        0..1; NaN where a group stands for nothing.
    """
    whole = np.where(total > 0, total, np.nan)
    mean = probability @ alike.held.T / whole
    spread = np.sqrt((probability * (1 - probability)) @ alike.held_squared.T) / whole
    judged = alike.held.sum(axis=1) / whole
    drawn: FloatArray = np.clip(mean + _REST[:, None] * spread, 0.0, judged)
    return drawn


def shares_with_interval(
    counted: FloatArray, drawn: FloatArray, total: FloatArray
) -> list[tuple[Share, ...]]:
    """Return one share per group, for each band.

    Parameters
    ----------
    counted : array (band, group)
        Weight of the frames in the band. [unit of the timeline]
    drawn : array (band, draw, group)
        0..1.
    total : array (group,)
        What each group stands for. [unit of the timeline]
    """
    share = counted / np.where(total > 0, total, np.nan)
    low, high = np.quantile(drawn, INTERVAL, axis=1)
    figures = zip(
        share.tolist(),
        np.minimum(share, low).tolist(),
        np.maximum(share, high).tolist(),
        strict=True,
    )
    return [tuple(map(Share, total.tolist(), *each)) for each in figures]


def sure_shares(counted: FloatArray, total: FloatArray) -> tuple[Share, ...]:
    """Return one share per group that no error of an angle can change.

    Parameters
    ----------
    counted, total : array (group,)
        [unit of the timeline]
    """
    share = counted / np.where(total > 0, total, np.nan)
    return tuple(
        Share(float(of), float(s), float(s), float(s)) for of, s in zip(total, share, strict=True)
    )
