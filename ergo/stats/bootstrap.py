"""How far chance alone moves a figure of a recording: block bootstrap, 95 % intervals.

Blocks of time are drawn with replacement (block bootstrap: Künsch 1989, status:
memory); where a group holds several sessions, sessions are drawn first and blocks
within them. From the spread of the drawn figures follows a standard error, and
from that an interval with Student's t (Efron B, Tibshirani RJ 1993. An
introduction to the bootstrap, chapter 12; status: memory), with the degrees of
freedom of Welch and Satterthwaite. A percentile interval would be too narrow for
the dozen blocks of one recording.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtr, stdtrit

from ergo.arrays import BoolArray, FloatArray, IndexArray
from ergo.stats.exposure import Estimate

REPEATS = 1000
"""How many times blocks are drawn."""

CONFIDENCE = 0.95
"""Of the intervals of comparisons and trends."""

LEAST_BLOCKS = 5
"""With fewer judged blocks there is no telling what chance does (ours)."""

MEASURING_FREEDOM = 10.0
"""Degrees of freedom of the errors of measurement: their size is itself estimated (ours)."""

_SEED = 11


@dataclass(frozen=True, slots=True, eq=False)
class Draws:
    """How often each block was drawn.

    Attributes
    ----------
    times : array (repeat, block)
    session_of_block : array (block,)
    """

    times: FloatArray
    session_of_block: IndexArray


@dataclass(frozen=True, slots=True)
class Spread:
    """How far chance moves one figure.

    Attributes
    ----------
    variance : float
        Squared unit of the figure.
    freedom : float
        Degrees of freedom behind it; 0 where there are too few blocks.
    """

    variance: float
    freedom: float


def draws_of(session_of_block: IndexArray, repeats: int = REPEATS, seed: int = _SEED) -> Draws:
    """Draw blocks with replacement, sessions first where there are several.

    Parameters
    ----------
    session_of_block : array (block,)
        Numbers from 0.
    repeats, seed : int
        Always the same draws for the same seed.
    """
    chance = np.random.default_rng(seed)
    sizes = np.bincount(session_of_block)
    picked = chance.multinomial(len(sizes), np.full(len(sizes), 1 / len(sizes)), size=repeats)
    if len(sizes) == 1:
        picked = np.ones((repeats, 1), dtype=np.int64)
    times = np.zeros((repeats, len(session_of_block)))
    for session, size in enumerate(sizes):
        count = picked[:, session] * size
        times[:, session_of_block == session] = chance.multinomial(count, np.full(size, 1 / size))
    return Draws(times, session_of_block)


def ratio_spread(amount: FloatArray, of: FloatArray, draws: Draws) -> Spread:
    """Return the spread of a ratio of sums over blocks.

    Parameters
    ----------
    amount, of : array (block,)
        The figure is ``sum(amount) / sum(of)``.
    draws : Draws
    """
    return figure_spread(lambda times: _ratio(times @ amount, times @ of), of > 0, draws)


def figure_spread(
    figure: Callable[[FloatArray], FloatArray], judged: BoolArray, draws: Draws
) -> Spread:
    """Return the spread of any figure that can be computed from drawn blocks.

    Parameters
    ----------
    figure : callable
        From array (repeat, block), how often each block counts, to array (repeat,).
    judged : array (block,)
        True where the block says anything about the figure.
    draws : Draws
    """
    sessions = len(np.unique(draws.session_of_block[judged]))
    blocks = int(np.sum(judged))
    units = sessions if sessions > 1 else blocks
    drawn = figure(draws.times)
    drawn = drawn[np.isfinite(drawn)]
    if blocks < LEAST_BLOCKS or len(drawn) < 2:
        return Spread(0.0, 0.0)
    return Spread(float(np.var(drawn)) * units / (units - 1), float(units - 1))


def _ratio(amount: FloatArray, of: FloatArray) -> FloatArray:
    ratio: FloatArray = amount / np.where(of > 0, of, np.nan)
    return ratio


def difference(
    change: float, before: Spread, after: Spread, measuring_variance: float
) -> tuple[Estimate, float]:
    """Return a difference with its 95 % interval, and its probability by chance.

    Parameters
    ----------
    change : float
        After less before.
    before, after : Spread
    measuring_variance : float
        What errors of measurement add.

    Returns
    -------
    Estimate, float
        NaN where there are too few blocks; else the two-sided probability of a
        difference at least as large if there were none.
    """
    variance = before.variance + after.variance + measuring_variance
    if not (before.freedom and after.freedom):
        return Estimate(change, np.nan, np.nan), np.nan
    if variance == 0:
        return Estimate(change, change, change), float(change == 0)
    parts = before.variance**2 / before.freedom + after.variance**2 / after.freedom
    freedom = variance**2 / (parts + measuring_variance**2 / MEASURING_FREEDOM)
    error = np.sqrt(variance)
    half = float(stdtrit(freedom, (1 + CONFIDENCE) / 2) * error)
    chance = float(2 * stdtr(freedom, -abs(change) / error))
    return Estimate(change, change - half, change + half), chance


def holm(probabilities: FloatArray) -> FloatArray:
    """Return the probabilities raised for how many were looked at.

    Holm S (1979). A simple sequentially rejective multiple test procedure. Scand
    J Stat 6(2):65-70 (status: memory).

    Parameters
    ----------
    probabilities : array (test,)
        NaN is left out.

    Returns
    -------
    array (test,)
        0..1; NaN where it was NaN.
    """
    raised = np.full(len(probabilities), np.nan)
    order = [at for at in np.argsort(probabilities) if np.isfinite(probabilities[at])]
    least = 0.0
    for place, at in enumerate(order):
        least = max(least, min(1.0, (len(order) - place) * float(probabilities[at])))
        raised[at] = least
    return raised
