"""The few things that matter most, as figures; the sentences are made in ``views``."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from math import nan

import numpy as np

from ergo.arrays import BoolArray, FloatArray
from ergo.exposure.bands import LimitSet, strain_of
from ergo.exposure.exposure import HoldRecord, KeyFact, LimitShares
from ergo.exposure.groups import Labels
from ergo.exposure.limits import limit_set
from ergo.exposure.static_postures import longest
from ergo.posture.posture_track import PostureTrack

FACTS = 3
"""How many facts are picked at most."""

LEAST_SHARE = 0.02
"""Less time than this beyond a limit is not among the things that matter most (ours)."""

MOSTLY = 0.5
"""From this share on something holds for most of the time (ours)."""

LEAST_JUDGED = 0.5
"""An angle judged for less than this share of the session is too little seen (ours)."""

_HOLD_OF = {
    "trunk_flexion_deg": "trunk_inclination_deg",
    "neck_flexion_deg": "neck_flexion_deg",
    "shoulder_abduction_deg_left": "upper_arm_elevation_deg_left",
    "shoulder_abduction_deg_right": "upper_arm_elevation_deg_right",
}
_MAIN_ANGLES = ("neck_flexion_deg", "trunk_flexion_deg")


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """What the facts are made from.

    Attributes
    ----------
    posture : PostureTrack
        What may be counted.
    held : array (frame,)
        [unit of the timeline]
    hours : tuple (frame,) of str or None
    limits : tuple of LimitShares
        Of the whole session.
    holds : tuple of HoldRecord
    """

    posture: PostureTrack
    held: FloatArray
    hours: Labels
    limits: tuple[LimitShares, ...]
    holds: tuple[HoldRecord, ...]


def first_three(seen: Seen) -> tuple[KeyFact, ...]:
    """Return at most three facts, most important first.

    What could hardly be judged comes first, then time beyond limits by the
    lower end of its interval (what is sure), then the hold furthest beyond its
    line; if nothing passed a limit, that is the fact.

    Parameters
    ----------
    seen : Seen

    Returns
    -------
    tuple of KeyFact
    """
    headline = [each for each in seen.limits if each.limits.is_headline]
    unseen = [_unseen(each) for each in headline if _is_unseen(each)][:1]
    strained = [each for each in headline if each.beyond.share >= LEAST_SHARE]
    strained.sort(key=lambda each: (each.beyond.low, each.beyond.share), reverse=True)
    beyond = [_beyond(each, seen) for each in _one_side(strained)]
    long_holds = _long_hold(seen, {fact.longest for fact in beyond if fact.longest})
    room = FACTS - len(unseen) - len(long_holds)
    facts = [*unseen, *beyond[:room], *long_holds]
    if not beyond and not long_holds and len(unseen) < len(headline):
        facts += _nothing_beyond(headline)
    return tuple(facts)


def _is_unseen(shares: LimitShares) -> bool:
    is_main = shares.limits.angle.name in _MAIN_ANGLES
    return is_main and not shares.unjudged.share <= 1 - LEAST_JUDGED


def _unseen(shares: LimitShares) -> KeyFact:
    return KeyFact(
        key="too_little_seen",
        angle=shares.limits.angle,
        rule=shares.limits.rule,
        limit=shares.limits.limit,
        beyond=shares.unjudged,
        judged=_judged(shares),
        longest=None,
        clock_hour=None,
        clock_share=nan,
        while_key=None,
        while_share=nan,
    )


def _judged(shares: LimitShares) -> float:
    return shares.unjudged.of - shares.unjudged.amount if shares.unjudged.of else 0.0


def _one_side(strained: Sequence[LimitShares]) -> list[LimitShares]:
    """Return the worse of left and right only, in the same order."""
    stems: dict[str, LimitShares] = {}
    for each in strained:
        stem = each.limits.angle.name.removesuffix("_left").removesuffix("_right")
        stems.setdefault(stem, each)
    return list(stems.values())


def _beyond(shares: LimitShares, seen: Seen) -> KeyFact:
    limits = shares.limits
    is_beyond = strain_of(limits, seen.posture) == 2
    hour, hour_share = _usual_hour(seen, is_beyond)
    while_key, while_share = _trunk_meanwhile(seen, is_beyond, limits)
    return KeyFact(
        key="beyond_limit",
        angle=limits.angle,
        rule=limits.rule,
        limit=limits.limit,
        beyond=shares.beyond,
        judged=_judged(shares),
        longest=longest(seen.holds, _HOLD_OF.get(limits.angle.name, "")),
        clock_hour=hour,
        clock_share=hour_share,
        while_key=while_key,
        while_share=while_share,
    )


def _usual_hour(seen: Seen, is_beyond: BoolArray) -> tuple[int | None, float]:
    """Return the clock hour of most of that time and its share of it."""
    held: Counter[str] = Counter()
    frames = np.flatnonzero(is_beyond)
    for frame in frames:
        hour = seen.hours[frame]
        if hour is not None:
            held[hour] += seen.held[frame]
    if not held:
        return None, nan
    hour, amount = held.most_common(1)[0]
    return int(hour), float(amount / np.sum(seen.held[frames]))


def _trunk_meanwhile(
    seen: Seen, is_beyond: BoolArray, limits: LimitSet
) -> tuple[str | None, float]:
    """Return how the trunk was in most of that time, and the share of it."""
    if limits.angle.name.startswith("trunk"):
        return None, nan
    trunk = limit_set("dental_sitting", "trunk_flexion_deg")
    lean = seen.posture.angle(trunk.angle.name)
    total = np.sum(seen.held[is_beyond])
    target = next(band.high for band in trunk.bands if band.name == "within")
    shares = {
        "trunk_upright": np.sum(seen.held[is_beyond & (lean <= target)]) / total,
        "trunk_bent": np.sum(seen.held[is_beyond & (lean > trunk.limit)]) / total,
    }
    key = max(shares, key=lambda each: float(shares[each]))
    return (key, float(shares[key])) if shares[key] > MOSTLY else (None, nan)


def _long_hold(seen: Seen, told: set[HoldRecord]) -> list[KeyFact]:
    """Return the hold furthest beyond its line, unless it is told already."""
    passed = [hold for hold in seen.holds if hold.is_beyond_line]
    if not passed:
        return []
    worst = max(passed, key=lambda hold: hold.length_s - (hold.limit_s or 0.0))
    if worst in told:
        return []
    return [
        KeyFact(
            key="long_hold",
            angle=worst.angle,
            rule="iso11226",
            limit=nan,
            beyond=None,
            judged=float(np.sum(seen.held[np.isfinite(seen.posture.angle(worst.angle.name))])),
            longest=worst,
            clock_hour=worst.clock_hour,
            clock_share=nan,
            while_key=None,
            while_share=nan,
        )
    ]


def _nothing_beyond(headline: Sequence[LimitShares]) -> list[KeyFact]:
    """Return the fact that the best-seen angle stayed within its limit."""
    judged = [each for each in headline if _judged(each) > 0]
    if not judged:
        return []
    best = min(judged, key=lambda each: each.unjudged.share)
    return [
        KeyFact(
            key="nothing_beyond",
            angle=best.limits.angle,
            rule=best.limits.rule,
            limit=best.limits.limit,
            beyond=best.beyond,
            judged=_judged(best),
            longest=None,
            clock_hour=None,
            clock_share=nan,
            while_key=None,
            while_share=nan,
        )
    ]
