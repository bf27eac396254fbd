"""Where to break the work so that no hold passes its ISO 11226 holding line.

The plan leaves the work as it was and puts a short break in wherever a hold would
pass its line: as late as allowed, so that there are as few breaks as possible. How
long one must rest is open: one reading of the standard asks for a rest as long as
the hold, another for three times as long; both are given as information only.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from ergo.exposure.exposure import HoldRecord

BREAK_S = 10.0
"""Length of a micro-break in the plan: out of the posture, hands down (ours). [s]"""

REST_PER_HOLD = (1.0, 3.0)
"""Rest for each second held, by two readings of ISO 11226: [iso11226-page-be] and
[iso11226-page-be-new]."""


@dataclass(frozen=True, slots=True)
class Break:
    """One break of the plan.

    Attributes
    ----------
    source : str
    at_s : float
        When the work is broken off, in the time of the recording. [s]
    holds : tuple of HoldRecord
        The holds that would have passed their line next.
    rest_s : tuple of float
        Rest after the longest of them by the two readings. [s]
    """

    source: str
    at_s: float
    holds: tuple[HoldRecord, ...]
    rest_s: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Stretch:
    """A hold, or the part of one between two breaks, in the time of the plan.

    Attributes
    ----------
    hold : HoldRecord
        As recorded.
    start_s, length_s : float
        Breaks before it included in the start. [s]
    """

    hold: HoldRecord
    start_s: float
    length_s: float


@dataclass(frozen=True, slots=True)
class BreakPlan:
    """How the same work could be broken up.

    Attributes
    ----------
    breaks : tuple of Break
        By source and time.
    stretches : tuple of Stretch
        Every hold with a line, as it would be with the breaks.
    not_by_breaks : tuple of HoldRecord
        Holds of postures that the standard does not recommend for any time:
        breaks do not help, the posture has to change.
    """

    breaks: tuple[Break, ...]
    stretches: tuple[Stretch, ...]
    not_by_breaks: tuple[HoldRecord, ...]


def break_plan(holds: Sequence[HoldRecord]) -> BreakPlan:
    """Return the fewest breaks after which no hold passes its line.

    Parameters
    ----------
    holds : sequence of HoldRecord
        Of one session.
    """
    limited = [hold for hold in holds if hold.limit_s]
    sources = dict.fromkeys(hold.source for hold in limited)
    breaks: list[Break] = []
    stretches: list[Stretch] = []
    for source in sources:
        here = [hold for hold in limited if hold.source == source]
        found = _breaks(source, here)
        breaks += found
        stretches += [part for hold in here for part in _stretches(hold, found)]
    return BreakPlan(
        tuple(breaks), tuple(stretches), tuple(hold for hold in holds if hold.limit_s == 0.0)
    )


def _breaks(source: str, holds: Sequence[HoldRecord]) -> list[Break]:
    """Break at the first moment at which any hold reaches its line, and go on from there."""
    breaks: list[Break] = []
    last_s = -1.0
    while (at_s := min((_deadline_s(hold, last_s) for hold in holds), default=_NEVER)) < _NEVER:
        due = tuple(hold for hold in holds if _deadline_s(hold, last_s) == at_s)
        held_s = max(at_s - max(hold.start_s, last_s) for hold in due)
        breaks.append(
            Break(source, at_s, due, (held_s * REST_PER_HOLD[0], held_s * REST_PER_HOLD[1]))
        )
        last_s = at_s
    return breaks


_NEVER = float("inf")


def _deadline_s(hold: HoldRecord, last_s: float) -> float:
    """Return when a hold reaches its line if the last break was at ``last_s``."""
    end_s = hold.start_s + hold.length_s
    reaches_s = max(hold.start_s, last_s) + (hold.limit_s or 0.0)
    return reaches_s if end_s > reaches_s else _NEVER


def _stretches(hold: HoldRecord, breaks: Sequence[Break]) -> list[Stretch]:
    end_s = hold.start_s + hold.length_s
    within = [each.at_s for each in breaks if hold.start_s < each.at_s < end_s]
    before = sum(each.at_s <= hold.start_s for each in breaks)
    edges = [hold.start_s, *within, end_s]
    return [
        Stretch(hold, start_s + (before + number) * BREAK_S, stop_s - start_s)
        for number, (start_s, stop_s) in enumerate(zip(edges, edges[1:], strict=False))
    ]
