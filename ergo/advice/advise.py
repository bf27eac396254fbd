"""From what was measured to what is worth changing first, by the stated rules."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import isfinite, nan

import numpy as np

from ergo.advice.measured import (
    SD_OF_90_PERCENT,
    Measurement,
    Place,
    claims_told,
    measured_place,
    measurements,
)
from ergo.advice.rules import Rule, While, rules
from ergo.arrays import BoolArray, FloatArray
from ergo.exposure.assessed import assessed
from ergo.exposure.bands import NOT_KNOWN, strain_of
from ergo.exposure.exposure import Exposure, HoldRecord, LimitShares
from ergo.exposure.groups import mouth_area_labels, task_labels
from ergo.exposure.limits import limit_set
from ergo.notes.excluded import is_excluded
from ergo.notes.notes import Notes
from ergo.notes.vocabulary import area_keys, task_keys
from ergo.posture.angle_names import ANGLES, AngleName
from ergo.posture.posture_track import PostureTrack
from ergo.timeline import Timeline
from ergo.workplace.clock_track import ClockTrack
from ergo.workplace.place_track import PlaceTrack

LEAST_SHARE = 0.02
"""Less than this share of the session is not worth advice (ours)."""

SAME_TIME_SHARE = 0.5
"""Two rules explain the same time if they share at least this much of the shorter one (ours)."""


@dataclass(frozen=True, slots=True)
class Removable:
    """Strained time that a change could remove, with its 90 % interval.

    Attributes
    ----------
    amount, low, high : float
        NaN where no interval is known. [unit of the exposure]
    """

    amount: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Declination:
    """What loupes would have to look down by, to see the same with the neck at its limit.

    The line of sight is the bend of the neck plus the declination: what the neck is
    to bend less, the loupes must look down more.

    Attributes
    ----------
    stated : float
        From the line ear to eye down to the line of sight, as stated. [deg]
    needed, low, high : float
        The same, and its 90 % interval. [deg]
    """

    stated: float
    needed: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Advice:
    """One change that is worth trying.

    Attributes
    ----------
    rule : Rule
    angle : AngleName
        The strained angle, left or right.
    removable : Removable
        Time that fulfils the rule: at best all of it would no longer be strained.
    of : float
        All strained time of this angle. [unit of the exposure]
    typical : float
        Median of the strained angle in that time. [unit of the angle]
    others : tuple of str
        Keys of rules that explain the same time as well.
    measured : tuple of Measurement
        What was measured in that time of the place that the rule is about.
    declination : Declination or None
        None unless the rule is about loupes whose declination is stated.
    """

    rule: Rule
    angle: AngleName
    removable: Removable
    of: float
    typical: float
    others: tuple[str, ...]
    measured: tuple[Measurement, ...] = ()
    declination: Declination | None = None


@dataclass(frozen=True, slots=True)
class Advices:
    """All that is worth trying, most strained time first.

    Attributes
    ----------
    given : tuple of Advice
    untested : tuple of str
        Keys of rules about strain that was there but whose conditions were
        never seen or stated.
    """

    given: tuple[Advice, ...]
    untested: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    timeline: Timeline
    posture: PostureTrack
    place: Place
    areas: tuple[str | None, ...]
    tasks: tuple[str | None, ...]
    loupes_deg: FloatArray
    exposure: Exposure


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    advice: Advice
    frames: BoolArray
    was_testable: bool


def advise(
    timeline: Timeline,
    posture: PostureTrack,
    clock: ClockTrack,
    notes: Sequence[Notes],
    exposure: Exposure,
    wanted: Sequence[Rule] | None = None,
    *,
    place: PlaceTrack | None = None,
    readings: Mapping[str, str] | None = None,
) -> Advices:
    """Return what is worth changing, ranked by the strained time it could remove.

    What was measured of the place overrules what is guessed from joint angles: a
    rule that takes the contrary for granted is silent in those frames.

    Parameters
    ----------
    timeline : Timeline
    posture : PostureTrack
    clock : ClockTrack
    notes : sequence of Notes
        One per source.
    exposure : Exposure
        Of the same session.
    wanted : sequence of Rule, optional
        All rules if not stated.
    place : PlaceTrack, optional
        Where people sat, as far as it was measured.
    readings : mapping of str to str, optional
        As for :func:`ergo.scores.methods.score_all`.
    """
    excluded = is_excluded(timeline, notes)
    sat = None if place is None else place.without(excluded)
    seen = _Seen(
        timeline,
        assessed(timeline, posture, notes, readings),
        measured_place(timeline, clock.without(excluded), sat),
        mouth_area_labels(timeline, notes),
        task_labels(timeline, notes),
        _loupes_deg(timeline, notes),
        exposure,
    )
    found = [each for rule in wanted or rules() for each in _by_rule(rule, seen)]
    least = LEAST_SHARE * exposure.total
    given = [each for each in found if each.advice.removable.amount >= max(least, 1e-9)]
    given.sort(key=lambda each: -each.advice.removable.amount)
    told = {each.advice.rule.key for each in given}
    untested = dict.fromkeys(
        each.advice.rule.key
        for each in found
        if not each.was_testable and each.advice.of >= max(least, 1e-9)
    )
    return Advices(
        tuple(replace(each.advice, others=_others(each, given, timeline)) for each in given),
        tuple(key for key in untested if key not in told),
    )


def _loupes_deg(timeline: Timeline, notes: Sequence[Notes]) -> FloatArray:
    """Return the stated declination of the loupes, array (frame,); NaN = not stated. [deg]."""
    stated = [each.loupes_declination_deg for each in notes]
    of_source = np.array([nan if each is None else each for each in stated])
    loupes: FloatArray = of_source[timeline.source_index]
    return loupes


def _by_rule(rule: Rule, seen: _Seen) -> list[_Found]:
    if rule.holds:
        return _long_holds(rule, seen)
    return [_strained(rule, angle, seen) for angle in ANGLES if _stem(angle.name) == rule.angle]


def _stem(name: str) -> str:
    return name.removesuffix("_left").removesuffix("_right")


def _strained(rule: Rule, angle: AngleName, seen: _Seen) -> _Found:
    held = seen.timeline.held
    beyond = _strain(rule.limit, angle.name, seen) == 2
    is_met, is_known = _fulfilled(rule, angle, seen)
    is_met, is_known = is_met & beyond, is_known & beyond
    amount = float(np.sum(held[is_met]))
    advice = Advice(
        rule=rule,
        angle=angle,
        removable=_removable(amount, _shares(rule, angle, seen.exposure)),
        of=float(np.sum(held[beyond])),
        typical=_median(seen.posture.angle(angle.name)[is_met & (held > 0)]),
        others=(),
        measured=measurements(rule, seen.place, is_met & (held > 0)),
        declination=_declination(rule, angle, seen, is_met & (held > 0)),
    )
    return _Found(advice, is_met, bool(np.any(is_known)))


def _declination(
    rule: Rule, angle: AngleName, seen: _Seen, frames: BoolArray
) -> Declination | None:
    if rule.loupes != "stated" or not frames.any():
        return None
    stated = float(np.median(seen.loupes_deg[frames]))
    limit = limit_set(rule.limit, angle.name).limit
    needed = stated + _median(seen.posture.angle(angle.name)[frames]) - limit
    half = SD_OF_90_PERCENT * float(np.median(seen.posture.angle_sd(angle.name)[frames]))
    return Declination(stated, needed, needed - half, needed + half)


def _strain(rule: str, angle: str, seen: _Seen) -> FloatArray:
    """Return the strain of an angle by a rule, array (frame,); NaN where not seen."""
    strain = strain_of(limit_set(rule, angle), seen.posture)
    return np.where(strain == NOT_KNOWN, nan, strain)


def _fulfilled(rule: Rule, angle: AngleName, seen: _Seen) -> tuple[BoolArray, BoolArray]:
    """Return where a rule fits, and where that could be told, each array (frame,)."""
    frames = len(seen.timeline)
    is_contradicted, is_sure, is_claim_known = claims_told(rule, seen.place, frames)
    if rule.loupes:
        is_contradicted |= np.isfinite(seen.loupes_deg) != (rule.loupes == "stated")
    is_met, is_known = ~is_contradicted, np.ones(frames, dtype=bool)
    for condition in rule.while_:
        met, known = _angle_condition(condition, angle, seen)
        is_met &= met | (is_sure & condition.is_guess)
        is_known &= known | (is_claim_known & condition.is_guess)
    for met, known in _stated_conditions(rule, seen):
        is_met &= met
        is_known &= known
    return is_met, is_known | is_contradicted


def _stated_conditions(rule: Rule, seen: _Seen) -> list[tuple[BoolArray, BoolArray]]:
    """Return where clock, area and task fit, and where they could be told."""
    conditions = []
    if rule.clock is not None:
        low, high = rule.clock
        hours = seen.place.hours
        conditions.append(((hours >= low) & (hours <= high), np.isfinite(hours)))
    if rule.mouth:
        parts = [area_keys(area or "") for area in seen.areas]
        met = np.array([not each.isdisjoint(rule.mouth) for each in parts], dtype=bool)
        conditions.append((met, np.array([bool(each) for each in parts], dtype=bool)))
    if rule.not_tasks:
        tasks = [task_keys(task or "") for task in seen.tasks]
        fits = np.array([each.isdisjoint(rule.not_tasks) for each in tasks], dtype=bool)
        conditions.append((fits, np.ones(len(tasks), dtype=bool)))
    return conditions


def _angle_condition(
    condition: While, strained: AngleName, seen: _Seen
) -> tuple[BoolArray, BoolArray]:
    met = np.zeros(len(seen.timeline), dtype=bool)
    known = met.copy()
    for name in _names(condition, strained):
        value = seen.posture.angle(name)
        known |= np.isfinite(value)
        if condition.beyond:
            met |= _strain(condition.beyond, name, seen) == 2
        elif condition.outside:
            met |= _strain(condition.outside, name, seen) >= 1
        elif condition.within:
            met |= _strain(condition.within, name, seen) == 0
        else:
            met |= value <= condition.at_most
    return met, known


def _names(condition: While, strained: AngleName) -> list[str]:
    """Return the angles that a condition is about: one, or both sides."""
    mine = [angle for angle in ANGLES if _stem(angle.name) == condition.angle]
    if condition.side == "either" or len(mine) == 1:
        return [angle.name for angle in mine]
    is_same = condition.side == "same"
    return [angle.name for angle in mine if (angle.side == strained.side) == is_same]


def _shares(rule: Rule, angle: AngleName, exposure: Exposure) -> LimitShares | None:
    for each in exposure.limits:
        if (each.limits.rule, each.limits.angle.name) == (rule.limit, angle.name):
            return each
    return None


def _removable(amount: float, shares: LimitShares | None) -> Removable:
    """Return the amount with the interval of the whole strained time, scaled to it."""
    if shares is None or not shares.beyond.share > 0:
        return Removable(amount, nan, nan)
    low = amount * shares.beyond.low / shares.beyond.share
    high = min(amount * shares.beyond.high / shares.beyond.share, shares.beyond.amount_high)
    return Removable(amount, low, max(high, amount))


def _median(values: FloatArray) -> float:
    return float(np.median(values)) if len(values) else nan


def _long_holds(rule: Rule, seen: _Seen) -> list[_Found]:
    """Return the time of all holds past their lines as one piece of advice."""
    passed = [hold for hold in seen.exposure.holds if hold.is_beyond_line and hold.limit_s]
    if not passed:
        return []
    frames = np.any([_past_line(hold, seen.timeline) for hold in passed], axis=0)
    worst = max(passed, key=lambda hold: hold.length_s - (hold.limit_s or 0.0))
    amount = float(np.sum(seen.timeline.held[frames]))
    strained = [_hold_frames(hold, 0.0, seen.timeline) for hold in passed]
    of = float(np.sum(seen.timeline.held[np.any(strained, axis=0)]))
    advice = Advice(rule, worst.angle, Removable(amount, nan, nan), of, worst.mean, ())
    return [_Found(advice, frames, was_testable=True)]


def _past_line(hold: HoldRecord, timeline: Timeline) -> BoolArray:
    return _hold_frames(hold, hold.limit_s or 0.0, timeline)


def _hold_frames(hold: HoldRecord, after_s: float, timeline: Timeline) -> BoolArray:
    """Return the frames of a hold from ``after_s`` after its start on."""
    source = timeline.sources.index(hold.source)
    start_s, end_s = hold.start_s + after_s, hold.start_s + hold.length_s
    inside = (timeline.time_s >= start_s) & (timeline.time_s < end_s)
    is_of_hold: BoolArray = (timeline.source_index == source) & inside
    return is_of_hold


def _others(one: _Found, given: Sequence[_Found], timeline: Timeline) -> tuple[str, ...]:
    """Return the keys of other rules that explain the same strain at the same time."""
    keys = [
        other.advice.rule.key
        for other in given
        if other.advice.rule.key != one.advice.rule.key
        and not other.advice.rule.holds
        and not one.advice.rule.holds
        and other.advice.angle == one.advice.angle
        and _is_same_time(one, other, timeline.held)
    ]
    return tuple(dict.fromkeys(keys))


def _is_same_time(one: _Found, other: _Found, held: FloatArray) -> bool:
    shared = float(np.sum(held[one.frames & other.frames]))
    shorter = min(one.advice.removable.amount, other.advice.removable.amount)
    return isfinite(shorter) and shared >= SAME_TIME_SHARE * shorter
