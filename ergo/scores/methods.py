"""Every method, and how to apply all of them to one session."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from ergo.arrays import BoolArray
from ergo.notes.excluded import is_excluded
from ergo.notes.notes import Notes
from ergo.posture.posture_track import PostureTrack
from ergo.scores.circumstances import Circumstances, circumstances
from ergo.scores.dental_sitting import dental_sitting
from ergo.scores.interpretations import complete_readings, reading_named
from ergo.scores.iso11226 import iso11226
from ergo.scores.method_score import NOT_SEEN, MethodScore, Side
from ergo.scores.muscle_use import muscle_use
from ergo.scores.reba import reba
from ergo.scores.rula import rula
from ergo.timeline import Timeline

Method = Callable[[PostureTrack, Circumstances, Mapping[str, str]], tuple[MethodScore, ...]]

METHODS: Mapping[str, Method] = {
    "rula": rula,
    "reba": reba,
    "iso11226": iso11226,
    "dental_sitting": dental_sitting,
}
"""Method name to the function that scores a posture track by it."""


def score_all(
    timeline: Timeline,
    posture: PostureTrack,
    notes: Sequence[Notes],
    readings: Mapping[str, str],
) -> tuple[MethodScore, ...]:
    """Return every method's scores, side by side.

    Parameters
    ----------
    timeline : Timeline
    posture : PostureTrack
    notes : sequence of Notes
        One per source of the timeline. What they exclude is not judged, and ends a hold.
    readings : mapping of str to str
        Choices out of READINGS; an option not named has its default.

    Raises
    ------
    InputError
        If a reading or its choice does not exist.
    """
    complete = complete_readings(readings)
    posture = posture.without(is_excluded(timeline, notes))
    around = _circumstances(timeline, posture, notes, complete)
    return tuple(
        score for method in METHODS.values() for score in method(posture, around, complete)
    )


def _circumstances(
    timeline: Timeline,
    posture: PostureTrack,
    notes: Sequence[Notes],
    complete: Mapping[str, str],
) -> Circumstances:
    use = muscle_use(timeline, posture, complete["static_after"])
    return circumstances(timeline, notes, use)


@dataclass(frozen=True, slots=True)
class Difference:
    """How much of a session one side scores differently under another reading.

    Attributes
    ----------
    method, side : str
    option, used, other : str
        The reading's option, the choice that was used, and the other choice.
    judged : float
        Time (or pictures) that got a score under both. [unit of the timeline]
    score_differs, level_differs : float
        Of this, where the final score or the level differs. [unit of the timeline]
    """

    method: str
    side: Side
    option: str
    used: str
    other: str
    judged: float
    score_differs: float
    level_differs: float


def minutes_scored_differently(
    timeline: Timeline,
    posture: PostureTrack,
    notes: Sequence[Notes],
    readings: Mapping[str, str],
    options: Sequence[str],
) -> tuple[Difference, ...]:
    """Return how much would score differently under every other choice of some readings.

    Parameters
    ----------
    timeline, posture, notes, readings
        As for :func:`score_all`.
    options : sequence of str
        Keys of READINGS, for example ``"static_after"``; one is changed at a time.

    Returns
    -------
    tuple of Difference
        One per option, other choice, method and side; amounts in the timeline's
        unit (seconds, unless the session holds only stills).

    Raises
    ------
    InputError
        If an option does not exist.
    """
    used = complete_readings(readings)
    posture = posture.without(is_excluded(timeline, notes))
    here = _circumstances(timeline, posture, notes, used)
    as_used = cache(lambda name: METHODS[name](posture, here, used))
    found: list[Difference] = []
    for option in options:
        known = reading_named(option)
        for other in (choice for choice in known.choices if choice != used[option]):
            changed = {**used, option: other}
            same_holds = changed["static_after"] == used["static_after"]
            there = here if same_holds else _circumstances(timeline, posture, notes, changed)
            for name in known.methods:
                changed_scores = METHODS[name](posture, there, changed)
                pairs = zip(as_used(name), changed_scores, strict=True)
                found += [_difference(timeline, option, one, two) for one, two in pairs]
    return tuple(found)


def _difference(timeline: Timeline, option: str, one: MethodScore, two: MethodScore) -> Difference:
    judged = (one.score != NOT_SEEN) & (two.score != NOT_SEEN)

    def held(differs: BoolArray) -> float:
        return float(np.sum(timeline.held[judged & differs]))

    return Difference(
        method=one.method,
        side=one.side,
        option=option,
        used=one.reading[option],
        other=two.reading[option],
        judged=float(np.sum(timeline.held[judged])),
        score_differs=held(one.score != two.score),
        level_differs=held(one.level != two.level),
    )
