"""The trend of every figure that matters over many sessions, judged together.

Looking at many figures finds a "trend" in one of them by chance; their
probabilities are therefore raised for how many were looked at (Holm 1979, status:
memory).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from scipy.special import stdtr, stdtrit

from ergo.comparison.comparable import SPOILING, doubts_about
from ergo.comparison.compared_measures import Figure, percentile
from ergo.comparison.intervals import holm
from ergo.comparison.lasting import CONFIDENCE
from ergo.comparison.pool import Measured, Pool, pooled
from ergo.comparison.trend import Trend, pools_trend, share_beyond
from ergo.exposure.bands import LimitSet
from ergo.exposure.limits import limit_sets

PEAKS = ("neck_flexion_deg", "trunk_flexion_deg")
"""Angles whose 90th percentile is followed too."""


@dataclass(frozen=True, slots=True, eq=False)
class FigureTrend:
    """The trend of one figure.

    Attributes
    ----------
    kind : str
        ``"beyond"``: share of the judged time beyond ``limits``; ``"p90"``.
    name : str
        Of the angle.
    limits : LimitSet or None
    trend : Trend
        Its verdict allows for the number of figures.
    chance : float
        Probability of such a slope by chance, raised for the number of figures;
        NaN where too little was seen.
    """

    kind: Literal["beyond", "p90"]
    name: str
    limits: LimitSet | None
    trend: Trend
    chance: float


def figure_trends(days: Sequence[float], sessions: Sequence[Measured]) -> tuple[FigureTrend, ...]:
    """Return the trends of time beyond the headline limits and of peaks.

    Parameters
    ----------
    days : sequence of float
        When each session was recorded. [d]
    sessions : sequence of Measured
    """
    same_view = has_same_view(sessions)
    pools = [pooled([session]) for session in sessions]

    def trend(figure: Callable[[Pool], Figure]) -> Trend:
        return pools_trend(days, pools, figure, same_view=same_view)

    headline = [each for each in limit_sets() if each.is_headline]
    trends = [
        *(FigureTrend("beyond", x.angle.name, x, trend(share_beyond(x)), 0.0) for x in headline),
        *(FigureTrend("p90", name, None, trend(_peak_of(name)), 0.0) for name in PEAKS),
    ]
    raised = holm(np.array([_chance(each.trend) for each in trends]))
    return tuple(_judged(each, float(chance)) for each, chance in zip(trends, raised, strict=True))


def has_same_view(sessions: Sequence[Measured]) -> bool:
    """Return whether the camera stood alike in all sessions."""
    return not any(
        doubt.key in SPOILING
        for other in sessions[1:]
        for doubt in doubts_about(sessions[:1], [other])
    )


def _peak_of(name: str) -> Callable[[Pool], Figure]:
    return lambda pool: percentile(pool, name, 0.9)


def _chance(trend: Trend) -> float:
    """Return the two-sided probability of the slope if there were no trend."""
    half = (trend.slope.high - trend.slope.low) / 2
    if not np.isfinite(half):
        return float("nan")
    freedom = len(trend.days) - 2
    if half == 0:
        return float(trend.slope.value == 0)
    error = half / stdtrit(freedom, (1 + CONFIDENCE) / 2)
    return float(2 * stdtr(freedom, -abs(trend.slope.value) / error))


def _judged(each: FigureTrend, chance: float) -> FigureTrend:
    trend = each.trend
    if trend.verdict in ("better", "worse") and not chance < 1 - CONFIDENCE:
        trend = replace(trend, verdict="no_evidence")
    return replace(each, trend=trend, chance=chance)
