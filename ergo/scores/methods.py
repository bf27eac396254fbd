"""Every method, and how to apply all of them to one session."""

from collections.abc import Callable, Mapping, Sequence

from ergo.notes.notes import Notes
from ergo.posture.posture_track import PostureTrack
from ergo.scores.circumstances import Circumstances, circumstances
from ergo.scores.method_score import MethodScore
from ergo.scores.muscle_use import muscle_use
from ergo.scores.readings import complete_readings
from ergo.scores.rula import rula
from ergo.timeline import Timeline

Method = Callable[[PostureTrack, Circumstances, Mapping[str, str]], tuple[MethodScore, ...]]

METHODS: Mapping[str, Method] = {"rula": rula}
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
        One per source of the timeline.
    readings : mapping of str to str
        Choices out of READINGS; an option not named has its default.

    Raises
    ------
    InputError
        If a reading or its choice does not exist.
    """
    return tuple(
        score
        for method in METHODS
        for score in score_by(method, timeline, posture, notes, readings)
    )


def score_by(
    method: str,
    timeline: Timeline,
    posture: PostureTrack,
    notes: Sequence[Notes],
    readings: Mapping[str, str],
) -> tuple[MethodScore, ...]:
    """Return one method's scores; arguments as in :func:`score_all`."""
    complete = complete_readings(readings)
    use = muscle_use(timeline, posture, complete["static_after"])
    return METHODS[method](posture, circumstances(timeline, notes, use), complete)
