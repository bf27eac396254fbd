"""Figures that are parts of one whole, rounded once, so that they add up as they are read.

Amounts of one session are told in one step: a tenth of a second, a second or a minute, by
how long the session is. Parts of a whole are rounded down, and what is missing goes to
those that lost most (method of largest remainders).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ergo.arrays import FloatArray
from ergo.exposure.exposure import Exposure, LevelShares, LimitShares, Share
from ergo.report.text.words import Words
from ergo.timeline import TimeUnit

_TENTHS_BELOW_S, _SECONDS_BELOW_S = 9.95, 3600.0
_SLACK = 1e-9


def step_of(total: float, unit: TimeUnit) -> float:
    """Return the step in which amounts of a session are told. In ``unit``.

    Parameters
    ----------
    total : float
        What the session stands for. [unit]
    unit : str
    """
    if unit == "picture" or total >= _SECONDS_BELOW_S:
        return 1.0 if unit == "picture" else 60.0
    return 0.1 if total < _TENTHS_BELOW_S else 1.0


def adding_up(parts: Sequence[float], step: float) -> FloatArray:
    """Return parts in whole steps that add up to the whole, rounded, array (part,).

    No part is moved by a whole step or more. Parts of less than half a step are 0:
    they are told as "under", and the others add up without them.

    Parameters
    ----------
    parts : sequence of float
        Not negative.
    step : float
        In the same unit.
    """
    exact = np.asarray(parts, dtype=np.float64) / step
    whole = np.floor(exact + _SLACK)
    lost = np.where(exact < 0.5, -1.0, exact - whole)
    missing = max(round(float(np.sum(exact))) - int(np.sum(whole)), 0)
    order = np.argsort(-lost, kind="stable")[:missing]
    whole[order[lost[order] > _SLACK]] += 1
    return whole * step


@dataclass(frozen=True, slots=True, eq=False)
class Parts:
    """Parts of one whole as they are read.

    Attributes
    ----------
    shares : tuple of Share
        Exactly; of the same whole, which they make up together.
    amounts : array (part,)
        Rounded. [unit]
    percents : array (part,)
        Rounded.
    step : float
        [unit]
    unit : str
    """

    shares: tuple[Share, ...]
    amounts: FloatArray
    percents: FloatArray
    step: float
    unit: TimeUnit

    def amount(self, places: Sequence[int], words: Words) -> str:
        """Return some parts together: "6 s"; "under 1 s" where that is not nothing."""
        exact = sum(self.shares[place].amount for place in places)
        return amount_text(exact, float(np.sum(self.amounts[list(places)])), self, words)

    def share(self, places: Sequence[int], words: Words) -> str:
        """Return some parts together in per cent; never 0 or 100 unless exactly so."""
        exact = sum(self.shares[place].share for place in places)
        if not 0.005 <= exact < 0.995:
            return words.share(exact)
        percent = float(np.clip(np.sum(self.percents[list(places)]), 1, 99))
        return words.share(percent / 100)

    def between(self, share: Share, places: Sequence[int], words: Words) -> str:
        """Return the interval of the amount of some parts, ``share``, with what is told of it."""
        told = float(np.sum(self.amounts[list(places)]))
        ends = min(share.amount_low, told), max(share.amount_high, told)
        low, high = (round(end / self.step) * self.step for end in ends)
        return words.between(low, high, self.unit)

    def interval(self, place: int, words: Words) -> str:
        """Return the interval of one part in per cent; "" where it is sure."""
        share, percent = self.shares[place], self.percents[place] / 100
        if not share.high > share.low:
            return ""
        ends = min(share.low, percent), max(share.high, percent)
        low, high = (words.share(end) for end in ends)
        return words.say("number.range", low=low, high=high)


def amount_text(exact: float, rounded: float, parts: Parts, words: Words) -> str:
    """Return a rounded amount in words; "under" a step where it is not exactly nothing."""
    if exact > _SLACK and not rounded > 0:
        return words.say("number.under", amount=words.amount(parts.step, parts.unit))
    return words.amount(rounded if np.isfinite(exact) else exact, parts.unit)


def parts_of_whole(shares: Sequence[Share], total: float, unit: TimeUnit) -> Parts:
    """Return the parts of one whole as they are read.

    Parameters
    ----------
    shares : sequence of Share
        Make up their whole.
    total : float
        What the session stands for; tells the step. [unit]
    unit : str
    """
    step = step_of(total, unit)
    known = [share if np.isfinite(share.share) else Share(0.0, 0.0, 0.0, 0.0) for share in shares]
    return Parts(
        tuple(shares),
        adding_up([share.amount for share in known], step),
        adding_up([100 * share.share for share in known], 1.0),
        step,
        unit,
    )


def rounded_whole(amount: float, total: float, unit: TimeUnit, words: Words) -> str:
    """Return an amount that is no part among others, in the session's step."""
    step = step_of(total, unit)
    if not np.isfinite(amount):
        return words.amount(amount, unit)
    if 0 < amount < step / 2:
        return words.say("number.under", amount=words.amount(step, unit))
    return words.amount(round(amount / step) * step, unit)


def limit_parts(limits: LimitShares, exposure: Exposure) -> Parts:
    """Return the bands of one rule and, last, what was not judged."""
    return parts_of_whole((*limits.held, limits.unjudged), exposure.total, exposure.unit)


def level_parts(levels: LevelShares, exposure: Exposure) -> Parts:
    """Return the levels of one method and, last, what was not judged."""
    return parts_of_whole((*levels.held, levels.unjudged), exposure.total, exposure.unit)


def strained_places(limits: LimitShares, strain: int) -> list[int]:
    """Return the places of the bands of one strain among :func:`limit_parts`."""
    return [at for at, band in enumerate(limits.limits.bands) if band.strain == strain]
