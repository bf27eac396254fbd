"""Before and after: what really differs between two sessions, or two groups of them.

Every difference has a 95 % interval that respects that frames are not independent
(:mod:`ergo.comparison.intervals`) and the errors of measurement. Recordings of the same
view share most of the common error; recordings of different views do not. A
verdict is given only where chance is unlikely even though many figures were
looked at (Holm 1979): once for the headline limits, which are asked first, once for
the other figures of the whole session, once for clock hours and tasks.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import nan
from typing import Literal

import numpy as np

from ergo.arrays import FloatArray
from ergo.comparison.comparable import SPOILING, Doubt, doubts_about
from ergo.comparison.compared_measures import (
    Asked,
    Figure,
    beyond_share,
    holds_per_hour,
    level_share,
    part,
    percentile,
    whole,
)
from ergo.comparison.intervals import Spread, difference, holm
from ergo.comparison.lasting import CONFIDENCE
from ergo.comparison.pool import Measured, Pool, pooled
from ergo.errors import InputError
from ergo.exposure.bands import LimitSet
from ergo.exposure.exposure import Estimate
from ergo.exposure.groups import Labels
from ergo.exposure.limits import limit_sets
from ergo.exposure.static_postures import HOLD_ANGLES
from ergo.exposure.uncertain import COMMON_ERRORS

Verdict = Literal["better", "worse", "no_evidence", "too_short", "too_little_seen"]
FigureKind = Literal["beyond", "p50", "p90", "level", "holds"]
Whereabouts = Literal["session", "clock", "task"]

SAME_PLACE_CORRELATION = 0.8
"""Correlation of the common errors of two recordings of the same view (ours)."""

LEAST_JUDGED_SHARE = 0.25
"""A figure judged in less of its time than this is too little seen (ours)."""

_PAIRS = np.random.default_rng(12).standard_normal((2, 2000))


@dataclass(frozen=True, slots=True)
class Difference:
    """One figure before and after.

    Attributes
    ----------
    kind : str
        ``"beyond"``: share of the judged time beyond the limit of ``rule``;
        ``"p50"``, ``"p90"``: percentile of the angle; ``"level"``: share of the
        judged time at the upper levels of the method; ``"holds"``: holds beyond
        their holding line, per hour judged. More is worse in every kind.
    name, rule : str
        Angle and rule of its limit, or method and side.
    where : str
        ``"session"``, or ``"clock"`` or ``"task"``.
    part : str
        Clock hour or task; empty for the whole session.
    before, after : float
        0..1, [unit of the angle] or [1/h].
    change : Estimate
        After less before, with its 95 % interval.
    chance : float
        Probability of such a difference by chance, raised for the number of
        figures looked at; NaN where too little was seen.
    verdict : str
        ``"too_short"``: the recording holds too few postures that do not depend on each other.
    judged_s, needs_s : float
        Where it is too short: how long was judged on the side that needs more, and how long
        must be; else NaN. [s]
    """

    kind: FigureKind
    name: str
    rule: str
    where: Whereabouts
    part: str
    before: float
    after: float
    change: Estimate
    chance: float
    verdict: Verdict
    judged_s: float = nan
    needs_s: float = nan


@dataclass(frozen=True, slots=True)
class Comparison:
    """What differs between two groups of sessions.

    Attributes
    ----------
    doubts : tuple of Doubt
        What speaks against comparing them; to be said first.
    differences : tuple of Difference
        Headline limits of the whole session first, then its other figures, then by
        clock hour and task.
    """

    doubts: tuple[Doubt, ...]
    differences: tuple[Difference, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Question:
    kind: FigureKind
    name: str
    rule: str
    where: Whereabouts
    part: str
    figure: Callable[[Pool], Figure]


def compare(before: Sequence[Measured], after: Sequence[Measured]) -> Comparison:
    """Compare two sessions or groups of sessions.

    Parameters
    ----------
    before, after : sequence of Measured
        At least one each.

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        If one side is empty.
    """
    if not before or not after:
        raise InputError("A comparison needs at least one session on either side.")
    doubts = doubts_about(before, after)
    groups = pooled(before), pooled(after)
    shared = 0.0 if any(doubt.key in SPOILING for doubt in doubts) else SAME_PLACE_CORRELATION
    families = (_main_questions(), _whole_questions(*groups), _part_questions(*groups))
    judged = [
        _judged([_difference(each, *groups, shared) for each in questions])
        for questions in families
    ]
    return Comparison(doubts, tuple(each for family in judged for each in family))


def _main_questions() -> list[_Question]:
    return [_beyond(each, "session", "", None) for each in limit_sets() if each.is_headline]


def _whole_questions(before: Pool, after: Pool) -> list[_Question]:
    limits = [each for each in limit_sets() if any(band.strain == 2 for band in each.bands)]
    further = [each for each in limits if not each.is_headline]
    upward = dict.fromkeys(each.angle.name for each in limits if _is_upward(each))
    methods = [key for key in before.levels if key in after.levels]
    return [
        *(_beyond(each, "session", "", None) for each in further),
        *(_percentile(name, "p50", 0.5) for name in upward),
        *(_percentile(name, "p90", 0.9) for name in upward),
        *(_level(key) for key in methods),
        *(_holds(name) for name in HOLD_ANGLES if name != "neck_flexion_deg"),
    ]


def _is_upward(limits: LimitSet) -> bool:
    """Return whether a larger angle is a more strained one throughout."""
    return limits.rule in ("iso11226", "dental_sitting")


def _part_questions(before: Pool, after: Pool) -> list[_Question]:
    headline = [each for each in limit_sets() if each.is_headline]
    places: list[tuple[Whereabouts, Callable[[Pool], Labels]]] = [
        ("clock", lambda pool: pool.hours),
        ("task", lambda pool: pool.tasks),
    ]
    return [
        _beyond(limits, where, name, labels)
        for where, labels in places
        for name in sorted(_named(labels(before)) & _named(labels(after)))
        for limits in headline
    ]


def _named(labels: Labels) -> set[str]:
    return {label for label in labels if label is not None}


def _beyond(
    limits: LimitSet, where: Whereabouts, name: str, labels: Callable[[Pool], Labels] | None
) -> _Question:
    def asked(pool: Pool) -> Asked:
        if labels is None or where == "session":
            return whole(pool)
        return part(pool, where, labels(pool), name)

    return _Question(
        "beyond",
        limits.angle.name,
        limits.rule,
        where,
        name,
        lambda group: beyond_share(group, limits, asked(group)),
    )


def _percentile(name: str, kind: FigureKind, share: float) -> _Question:
    return _Question(
        kind,
        name,
        "",
        "session",
        "",
        lambda group: percentile(group, name, share),
    )


def _level(key: tuple[str, str]) -> _Question:
    return _Question(
        "level",
        key[0],
        key[1],
        "session",
        "",
        lambda group: level_share(group, key, whole(group)),
    )


def _holds(name: str) -> _Question:
    return _Question(
        "holds",
        name,
        "iso11226",
        "session",
        "",
        lambda group: holds_per_hour(group, name),
    )


def _difference(question: _Question, before: Pool, after: Pool, shared: float) -> Difference:
    first, second = question.figure(before), question.figure(after)
    change, chance = difference(
        second.value - first.value,
        first.spread,
        second.spread,
        measuring_variance(first.moved, second.moved, shared),
    )
    if question.kind in ("beyond", "level"):  # shares differ by 1 at most
        low, high = (float(np.clip(end, -1, 1)) for end in (change.low, change.high))
        change = Estimate(change.value, low, high)
    is_seen = min(first.judged_share, second.judged_share) >= LEAST_JUDGED_SHARE
    shorter = max(first.spread, second.spread, key=_lack)
    if not is_seen or shorter.is_too_short:
        change, chance = Estimate(change.value, np.nan, np.nan), np.nan
    is_estimated = is_seen and shorter.is_too_short
    return Difference(
        question.kind,
        question.name,
        question.rule,
        question.where,
        question.part,
        first.value,
        second.value,
        change,
        chance,
        "too_short" if is_estimated else "too_little_seen",
        shorter.length_s if is_estimated else nan,
        shorter.needs_s if is_estimated else nan,
    )


def _lack(spread: Spread) -> float:
    """Return how much longer a recording would have to be, as a factor below or above 1."""
    return 1 / max(spread.effective, 1e-9)


def measuring_variance(before: FloatArray, after: FloatArray, correlation: float) -> float:
    """Return the variance that common errors of measurement give to a difference.

    Parameters
    ----------
    before, after : array (draw,)
        How far each common error moves the figure.
    correlation : float
        Of the common errors before and after, 0..1.
    """
    if not (np.all(np.isfinite(before)) and np.all(np.isfinite(after))):
        return 0.0
    first = _PAIRS[0]
    second = correlation * first + np.sqrt(1 - correlation**2) * _PAIRS[1]
    apart = np.interp(second, COMMON_ERRORS, after) - np.interp(first, COMMON_ERRORS, before)
    return float(np.var(apart))


def _judged(differences: Sequence[Difference]) -> list[Difference]:
    """Return the differences with chances raised for their number, and verdicts."""
    raised = holm(np.array([each.chance for each in differences]))
    return [
        replace(each, chance=float(chance), verdict=_verdict(each, float(chance)))
        for each, chance in zip(differences, raised, strict=True)
    ]


def _verdict(each: Difference, chance: float) -> Verdict:
    if not np.isfinite(chance):
        return each.verdict
    if chance >= 1 - CONFIDENCE:
        return "no_evidence"
    return "worse" if each.change.value > 0 else "better"
