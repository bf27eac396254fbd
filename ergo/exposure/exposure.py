"""Time in posture of one session: the results, without the arithmetic and without words.

Every share is a share of the whole session (``Exposure.total``), so that the
shares of one set of bands and its ``unjudged`` share add up to 1. Intervals are
90 % intervals (5 % to 95 %) of what this view and these landmarks can tell.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from ergo.exposure.bands import LimitSet, Strain
from ergo.posture.angle_names import AngleName
from ergo.scores.method_score import Level, Side
from ergo.timeline import TimeUnit

GroupKind = Literal["clock", "task", "mouth_area"]

UNKNOWN = "unknown"
"""Name of the group of frames whose clock position or task nobody stated."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure with its 90 % interval, all in the same unit; NaN where not judged."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Share:
    """Part of the session with its 90 % interval.

    Attributes
    ----------
    of : float
        What the share is a share of. [unit of the exposure]
    share, low, high : float
        0..1; NaN where ``of`` is 0.
    """

    of: float
    share: float
    low: float
    high: float

    @property
    def amount(self) -> float:
        """Return the share as time or pictures. In the unit of the exposure."""
        return self.of * self.share

    @property
    def amount_low(self) -> float:
        """Return the lower end of the interval. In the unit of the exposure."""
        return self.of * self.low

    @property
    def amount_high(self) -> float:
        """Return the upper end of the interval. In the unit of the exposure."""
        return self.of * self.high


@dataclass(frozen=True, slots=True)
class LimitShares:
    """How long one angle was in each band of one rule.

    Attributes
    ----------
    limits : LimitSet
    held : tuple of Share
        One per band of ``limits``.
    beyond : Share
        All bands of strain 2 together, with an interval of its own.
    unjudged : Share
        Where the angle was not seen.
    """

    limits: LimitSet
    held: tuple[Share, ...]
    beyond: Share
    unjudged: Share


@dataclass(frozen=True, slots=True)
class Decider:
    """An input that alone gives a verdict.

    Attributes
    ----------
    name : str
        Of the input, as in ``MethodScore.deciding``.
    held : Share
        How long it does.
    """

    name: str
    held: Share


@dataclass(frozen=True, slots=True)
class LevelShares:
    """How long one method gave each of its levels on one side.

    Attributes
    ----------
    method, side : str
    levels : tuple of Level
        From least to most strained, as the method prints them.
    held : tuple of Share
        One per level.
    unjudged : Share
    decided_by : tuple of tuple of Decider
        One tuple per level, longest first; several inputs may decide at a time. Empty
        for methods whose score is not the worst of several verdicts.
    """

    method: str
    side: Side
    levels: tuple[Level, ...]
    held: tuple[Share, ...]
    unjudged: Share
    decided_by: tuple[tuple[Decider, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class Percentiles:
    """Amplitude distribution of one angle over the judged time (Jonsson 1982).

    Attributes
    ----------
    angle : AngleName
    p10, p50, p90 : Estimate
        The angle that is passed in 90, 50 and 10 % of the judged time.
        [unit of the angle]
    """

    angle: AngleName
    p10: Estimate
    p50: Estimate
    p90: Estimate


@dataclass(frozen=True, slots=True)
class HoldRecord:
    """One static hold (longer than 4 s, ISO 11226 sense).

    Attributes
    ----------
    angle : AngleName
    source : str
        Clip in which it happened.
    start_s, length_s : float
        Start since the beginning of the clip, and length. [s]
    mean, sd : float
        Mean angle over the hold and its standard deviation as a measurement.
        [unit of the angle]
    strain : int
        Strain of the mean angle by its ISO 11226 band; backward counts only if
        the mean lies more than one ``sd`` below zero.
    limit_s : float or None
        Maximum acceptable holding time at the mean angle by ISO 11226 (inf
        where the angle is acceptable, 0 above the end of the line); None where
        the standard draws no line for this angle. [s]
    is_beyond_line : bool or None
        Whether the hold was longer than ``limit_s``; None without a line.
    beyond_probability : float
        Probability of that, given ``sd``; NaN without a line.
    clock_hour : int or None
        Nearest full clock hour, 1..12, where known.
    task : str or None
    rest_after_s : float
        Time to the next strained hold of the same angle in the same clip; NaN
        where there is none. [s]
    """

    angle: AngleName
    source: str
    start_s: float
    length_s: float
    mean: float
    sd: float
    strain: Strain
    limit_s: float | None
    is_beyond_line: bool | None
    beyond_probability: float
    clock_hour: int | None
    task: str | None
    rest_after_s: float

    @property
    def is_strained(self) -> bool:
        """Return whether the angle held lies outside the acceptable band."""
        return self.strain > 0


@dataclass(frozen=True, slots=True)
class Group:
    """The part of the session at one clock hour or in one task.

    Attributes
    ----------
    kind : str
        ``"clock"``, ``"task"`` or ``"mouth_area"``.
    name : str
        ``"1"`` .. ``"12"``, the task as stated, or :data:`UNKNOWN`.
    held : Share
        Of the whole session.
    limits : tuple of LimitShares
        Shares of this group's own time, in the order of ``Exposure.limits``.
    scores : tuple of LevelShares
        Shares of this group's own time.
    """

    kind: GroupKind
    name: str
    held: Share
    limits: tuple[LimitShares, ...]
    scores: tuple[LevelShares, ...]


@dataclass(frozen=True, slots=True)
class WorstMoment:
    """A moment to look at.

    Attributes
    ----------
    source : str
    time_s : float
        Since the start of the source; 0 for a still. [s]
    frame : int
        Position in the timeline.
    reason : str
        Name of the angle that was furthest beyond its limit.
    rule : str
        Rule whose limit it passed.
    limit : float
        Edge of that limit. [unit of the angle]
    values, sds : mapping of str to float
        The angles at that moment that lie beyond their limits, by name.
    """

    source: str
    time_s: float
    frame: int
    reason: str
    rule: str
    limit: float
    values: Mapping[str, float]
    sds: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class KeyFact:
    """One of the few things that matter most; its sentence is made in ``views``.

    Attributes
    ----------
    key : str
        ``"beyond_limit"`` (an angle spent much time beyond a limit),
        ``"long_hold"`` (a hold passed its holding line), ``"nothing_beyond"``
        (no judged angle passed a limit) or ``"too_little_seen"``.
    angle : AngleName or None
    rule : str
        Rule of the limit.
    limit : float
        The edge that was passed, NaN if none. [unit of the angle]
    beyond : Share or None
        Time beyond the limit; for ``"too_little_seen"`` the unjudged time.
    judged : float
        Time in which the angle was judged. [unit of the exposure]
    longest : HoldRecord or None
        Longest hold of the same joint outside the band that ISO 11226 accepts
        (trunk: of its inclination; upper arm: of its elevation); for
        ``"long_hold"`` the hold itself.
    clock_hour : int or None
        Where most of the time beyond the limit was spent, if known.
    clock_share : float
        Share of the time beyond the limit spent at that hour; NaN if unknown.
    while_key : str or None
        ``"trunk_upright"`` or ``"trunk_bent"`` if the trunk was so in most of
        the time beyond the limit.
    while_share : float
        Share of the time beyond the limit of which that holds; NaN if None.
    """

    key: str
    angle: AngleName | None
    rule: str
    limit: float
    beyond: Share | None
    judged: float
    longest: HoldRecord | None
    clock_hour: int | None
    clock_share: float
    while_key: str | None
    while_share: float


@dataclass(frozen=True, slots=True)
class Exposure:
    """All that the session says about time in posture.

    Attributes
    ----------
    unit : str
        ``"second"`` or ``"picture"``.
    total : float
        What the session stands for. [unit]
    seen : Share
        Where the operator was seen at all.
    limits : tuple of LimitShares
        Every angle by every rule that limits it.
    scores : tuple of LevelShares
        Every method and side.
    percentiles : tuple of Percentiles
        Every angle that was seen at least once.
    holds : tuple of HoldRecord
        In order of source and time; empty for stills.
    by_clock, by_task, by_mouth_area : tuple of Group
        Empty where nothing is known; else with an :data:`UNKNOWN` group for
        the rest, so that the groups add up to the session.
    worst_moments : tuple of WorstMoment
        Worst first, picked apart in time.
    first_three : tuple of KeyFact
        At most three, most important first.
    """

    unit: TimeUnit
    total: float
    seen: Share
    limits: tuple[LimitShares, ...]
    scores: tuple[LevelShares, ...]
    percentiles: tuple[Percentiles, ...]
    holds: tuple[HoldRecord, ...]
    by_clock: tuple[Group, ...]
    by_task: tuple[Group, ...]
    by_mouth_area: tuple[Group, ...]
    worst_moments: tuple[WorstMoment, ...]
    first_three: tuple[KeyFact, ...]

    @property
    def longest_hold(self) -> HoldRecord | None:
        """Return the longest strained hold, or None."""
        strained = [hold for hold in self.holds if hold.is_strained]
        return max(strained, key=lambda hold: hold.length_s, default=None)
