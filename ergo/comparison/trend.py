"""Many sessions over time: a trend, or noise.

A straight line through one figure per session, each weighted by how well it is
known and by how much sessions scatter anyway (random-effects regression; scatter
by the method of moments: DerSimonian R, Laird N 1986. Meta-analysis in clinical
trials. Control Clin Trials 7(3):177-188; interval after Knapp G, Hartung J 2003.
Improved tests for a random effects meta-regression with a single covariate. Stat
Med 22(17):2693-2710; both status: memory).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import stdtrit

from ergo.arrays import FloatArray
from ergo.comparison.compare import SAME_PLACE_CORRELATION, measuring_variance
from ergo.comparison.compared_measures import Figure, beyond_share, whole
from ergo.comparison.lasting import CONFIDENCE
from ergo.comparison.pool import Measured, Pool, pooled
from ergo.errors import InputError
from ergo.exposure.bands import LimitSet
from ergo.exposure.exposure import Estimate

TrendVerdict = Literal["better", "worse", "no_evidence", "too_little_seen"]

LEAST_SESSIONS = 5
"""With fewer sessions there is no telling a trend from noise (ours)."""

PER_DAYS = 30.0
"""The slope is given over this many days."""

_TINY = 1e-12


@dataclass(frozen=True, slots=True, eq=False)
class Trend:
    """A line through one figure of many sessions.

    Attributes
    ----------
    days, value, error : array (session,)
        When, the figure, and one standard error of it (chance and measurement).
        [d], [unit of the figure]
    line : array (session,)
        The fitted line at ``days``; NaN if there are too few sessions.
    slope : Estimate
        Change in :data:`PER_DAYS` days with its 95 % interval.
    scatter : float
        Standard deviation of sessions about the line beyond their own errors.
    verdict : str
        More counts as worse.
    """

    days: FloatArray
    value: FloatArray
    error: FloatArray
    line: FloatArray
    slope: Estimate
    scatter: float
    verdict: TrendVerdict


def trend_of(days: FloatArray, value: FloatArray, error: FloatArray) -> Trend:
    """Fit a line and judge it.

    Parameters
    ----------
    days, value, error : array (session,)
        As in :class:`Trend`; sessions with a NaN are left out.

    Returns
    -------
    Trend

    Raises
    ------
    InputError
        If the arrays differ in length.
    """
    if not len(days) == len(value) == len(error):
        raise InputError("days, value and error must have one value per session.")
    known = np.isfinite(days) & np.isfinite(value) & np.isfinite(error)
    days, value, error = days[known], value[known], np.maximum(error[known], _TINY)
    if len(days) < LEAST_SESSIONS or np.ptp(days) == 0:
        unknown = np.full(len(days), np.nan)
        slope = Estimate(np.nan, np.nan, np.nan)
        return Trend(days, value, error, unknown, slope, np.nan, "too_little_seen")
    design = np.stack([np.ones(len(days)), (days - np.mean(days)) / PER_DAYS], axis=1)
    scatter2 = _scatter_variance(design, value, error)
    weight = 1 / (error**2 + scatter2)
    fitted, covariance = _fit(design, value, weight)
    line = design @ fitted
    freedom = len(days) - 2
    inflation = max(1.0, float(np.sum(weight * (value - line) ** 2)) / freedom)
    standard = float(np.sqrt(covariance[1, 1] * inflation))
    half = float(stdtrit(freedom, (1 + CONFIDENCE) / 2)) * standard
    slope = Estimate(float(fitted[1]), float(fitted[1]) - half, float(fitted[1]) + half)
    return Trend(days, value, error, line, slope, float(np.sqrt(scatter2)), _verdict(slope))


def _fit(
    design: FloatArray, value: FloatArray, weight: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return coefficients and their covariance by weighted least squares."""
    covariance = np.asarray(np.linalg.inv(design.T @ (weight[:, None] * design)), np.float64)
    return covariance @ design.T @ (weight * value), covariance


def _scatter_variance(design: FloatArray, value: FloatArray, error: FloatArray) -> float:
    """Return the variance between sessions beyond their own errors; at least 0."""
    weight = 1 / error**2
    fitted, covariance = _fit(design, value, weight)
    excess = float(np.sum(weight * (value - design @ fitted) ** 2)) - (len(value) - 2)
    squares = design.T @ ((weight**2)[:, None] * design)
    scale = float(np.sum(weight) - np.trace(covariance @ squares))
    return max(0.0, excess / scale) if scale > 0 else 0.0


def _verdict(slope: Estimate) -> TrendVerdict:
    if slope.low > 0:
        return "worse"
    return "better" if slope.high < 0 else "no_evidence"


def figure_trend(
    days: Sequence[float],
    sessions: Sequence[Measured],
    figure: Callable[[Pool], Figure],
    *,
    same_view: bool,
) -> Trend:
    """Return the trend of any figure of :mod:`ergo.comparison.compared_measures`.

    Parameters
    ----------
    days : sequence of float
        When each session was recorded. [d]
    sessions : sequence of Measured
    figure : callable
        For example ``lambda pool: percentile(pool, angle, 0.9)``.
    same_view : bool
        True if the camera stood alike; then most of the error of measurement is
        the same in all sessions and cannot make a trend.
    """
    pools = [pooled([session]) for session in sessions]
    return pools_trend(days, pools, figure, same_view=same_view)


def pools_trend(
    days: Sequence[float],
    pools: Sequence[Pool],
    figure: Callable[[Pool], Figure],
    *,
    same_view: bool,
) -> Trend:
    """Return the trend of any figure of sessions that were pooled before, one by one.

    Parameters
    ----------
    days, figure, same_view
        As for :func:`figure_trend`.
    pools : sequence of Pool
        One per session.
    """
    shared = SAME_PLACE_CORRELATION if same_view else 0.0
    figures = [figure(pool) for pool in pools]
    errors = [np.sqrt(each.spread.variance + _own_variance(each, shared)) for each in figures]
    known = [each.value if each.spread.freedom else np.nan for each in figures]
    return trend_of(np.asarray(days, dtype=np.float64), np.array(known), np.array(errors))


def beyond_trend(
    days: Sequence[float], sessions: Sequence[Measured], limits: LimitSet, *, same_view: bool
) -> Trend:
    """Return the trend of the share of the judged time beyond a limit.

    Parameters
    ----------
    days, sessions, same_view
        As for :func:`figure_trend`.
    limits : LimitSet
    """
    return figure_trend(days, sessions, share_beyond(limits), same_view=same_view)


def share_beyond(limits: LimitSet) -> Callable[[Pool], Figure]:
    """Return the figure "share of the judged time beyond a limit"."""

    def share(pool: Pool) -> Figure:
        return beyond_share(pool, limits, whole(pool))

    return share


def _own_variance(figure: Figure, shared: float) -> float:
    """Return the part of the variance of measurement that is new in this session."""
    return measuring_variance(figure.moved, figure.moved, shared) / 2
