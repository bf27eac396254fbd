"""How far chance moves a figure of a pool, and a difference of two: 95 % intervals.

Where a pool holds several sessions, they are the independent units: what a figure can be off
by follows from how their sums scatter (Cochran WG 1977. Sampling techniques, chapter 6, ratio
estimates; status: memory). Of one session it follows from how its slow changes scatter
(:mod:`ergo.comparison.lasting`). An interval uses Student's t, a difference with the degrees of
freedom of Welch and Satterthwaite.
"""

from dataclasses import dataclass
from math import inf, nan

import numpy as np
from scipy.special import stdtr, stdtrit

from ergo.arrays import FloatArray, IndexArray
from ergo.comparison.lasting import CONFIDENCE, LEAST_CELLS, effective_number, long_run
from ergo.exposure.exposure import Estimate

LEAST_PICTURES = 5
"""With fewer judged stills there is no telling what chance does (ours)."""

LEAST_EFFECTIVE = 6.0
"""With fewer independent postures a recording is too short to tell anything (ours)."""

MEASURING_FREEDOM = 10.0
"""Degrees of freedom of the errors of measurement: their size is itself estimated (ours)."""


@dataclass(frozen=True, slots=True)
class Spread:
    """How far chance moves one figure.

    Attributes
    ----------
    variance : float
        Squared unit of the figure.
    freedom : float
        Degrees of freedom behind it; 0 where nothing can be told of it.
    effective : float
        Number of independent postures of a single recording; inf where sessions or pictures
        are the units.
    length_s : float
        How long that recording was judged; NaN where there are several. [s]
    """

    variance: float
    freedom: float
    effective: float = inf
    length_s: float = nan

    @property
    def is_too_short(self) -> bool:
        """Return whether the recording holds too few independent postures."""
        return self.effective < LEAST_EFFECTIVE

    @property
    def needs_s(self) -> float:
        """Return how long a recording of such work must be judged; NaN where that is not asked."""
        return self.length_s * LEAST_EFFECTIVE / self.effective if self.is_too_short else nan


NOTHING = Spread(0.0, 0.0)
"""Where nothing was judged."""


def spread_of_sessions(residual: FloatArray, session: IndexArray, total: float) -> Spread:
    """Return the spread of a ratio over several sessions.

    Parameters
    ----------
    residual : array (frame,)
        What each judged frame adds to the figure, less its mean; sums to 0.
    session : array (frame,)
    total : float
        What the figure is divided by.
    """
    _, number = np.unique(session, return_inverse=True)
    sums = np.bincount(number.reshape(-1), residual)
    units = len(sums)
    return Spread(float(np.sum(sums**2)) * units / (units - 1) / total**2, float(units - 1))


def spread_of_pictures(residual: FloatArray, total: float) -> Spread:
    """Return the spread of a ratio over stills, which are independent; see the other spreads."""
    units = len(residual)
    if units < LEAST_PICTURES:
        return NOTHING
    return Spread(float(np.sum(residual**2)) * units / (units - 1) / total**2, float(units - 1))


def spread_of_recording(
    residual: FloatArray, cell: IndexArray, total: float, length_s: float, least: float
) -> Spread:
    """Return the spread of a ratio over one recording.

    Parameters
    ----------
    residual, total
        As for :func:`spread_of_sessions`.
    cell : array (frame,)
        Number of the cell of a few seconds of each judged frame.
    length_s : float
        How long was judged. [s]
    least : float
        Variance of the figure where nothing varied in the recording: that an event was not
        seen does not mean that it never comes.
    """
    used, number = np.unique(cell, return_inverse=True)
    run = long_run(np.bincount(number.reshape(-1), residual).astype(np.float64))
    if run.freedom > 0:
        return Spread(run.variance / total**2, run.freedom, run.effective, length_s)
    usual = effective_number(length_s)
    if len(used) < LEAST_CELLS:
        return Spread(0.0, 0.0, usual, length_s)
    return Spread(least, max(usual, 1.0), usual, length_s)


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
        NaN where nothing can be told of one; else the two-sided probability of a
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
