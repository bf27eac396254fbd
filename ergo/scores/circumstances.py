"""What the notes and the holds say of each frame: support, load, static and repeated work."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ergo.arrays import BoolArray, FloatArray, StepArray
from ergo.errors import InputError
from ergo.notes.notes import ForceSpan, Notes, SupportSpan
from ergo.timeline import Timeline

MANNERS = {"intermittent": 1, "static": 2, "repeated": 2, "shock": 3}
"""Step of each manner of a load on the axis ``manner`` of the force table."""

SUPPORTS = ("trunk", "arm_left", "arm_right", "feet")


@dataclass(frozen=True, slots=True, eq=False)
class Stated:
    """A yes or no from the notes.

    Attributes
    ----------
    is_true : array (frame,)
        True where the notes say yes.
    is_stated : array (frame,)
        True where the notes say yes or no.
    """

    is_true: BoolArray
    is_stated: BoolArray


@dataclass(frozen=True, slots=True, eq=False)
class MuscleUse:
    """Static and repeated work of one group of body parts.

    Attributes
    ----------
    is_static : array (frame,)
        True within a hold longer than the method allows.
    is_repeated : array (frame,)
        True within a movement repeated more often than the method allows.
    """

    is_static: BoolArray
    is_repeated: BoolArray


@dataclass(frozen=True, slots=True, eq=False)
class Circumstances:
    """What no angle tells of each frame.

    Attributes
    ----------
    support : mapping of str to Stated
        ``"trunk"``, ``"arm_left"``, ``"arm_right"``, ``"feet"``.
    load_kg : array (frame,)
        Load in the hands; 0 where the notes say nothing. [kg]
    manner : array (frame,)
        How it acts: 1 intermittent, 2 static or repeated, 3 shock.
    muscle_use : mapping of (str, str) to MuscleUse
        By method (``"rula"``, ``"reba"``: they may call different lengths static)
        and group: ``"left"`` and ``"right"`` arm, ``"body"`` (neck and trunk).
    is_timed : array (frame,)
        True where holds could be measured at all; False for stills.
    """

    support: Mapping[str, Stated]
    load_kg: FloatArray
    manner: StepArray
    muscle_use: Mapping[tuple[str, str], MuscleUse]
    is_timed: BoolArray

    def __post_init__(self) -> None:
        if len(self.load_kg) != len(self.manner):
            raise InputError("load_kg and manner must have one value per frame.")


def circumstances(
    timeline: Timeline,
    notes: Sequence[Notes],
    muscle_use: Mapping[tuple[str, str], MuscleUse],
) -> Circumstances:
    """Return what notes and holds say of each frame.

    Parameters
    ----------
    timeline : Timeline
    notes : sequence of Notes
        One per source of the timeline.
    muscle_use : mapping of (str, str) to MuscleUse
        By method and group.
    """
    if len(notes) != len(timeline.sources):
        raise InputError("notes must hold one entry per source.")
    load_kg = np.zeros(len(timeline))
    manner = np.ones(len(timeline), dtype=np.int64)
    for source, of_source in enumerate(notes):
        for span in of_source.force:
            frames = _frames_within(timeline, source, span)
            load_kg[frames] = span.load_kg
            manner[frames] = MANNERS[span.manner]
    support = {name: stated(timeline, notes, name) for name in SUPPORTS}
    return Circumstances(support, load_kg, manner, muscle_use, ~timeline.is_still)


def stated(timeline: Timeline, notes: Sequence[Notes], name: str) -> Stated:
    """Return what the notes say of one of :data:`SUPPORTS`.

    Parameters
    ----------
    timeline : Timeline
    notes : sequence of Notes
        One per source.
    name : str
    """
    is_true = np.zeros(len(timeline), dtype=np.bool_)
    is_stated = np.zeros(len(timeline), dtype=np.bool_)
    for source, of_source in enumerate(notes):
        for span in of_source.support:
            answer: bool | None = getattr(span, name)
            if answer is not None:
                frames = _frames_within(timeline, source, span)
                is_true[frames] = answer
                is_stated[frames] = True
    return Stated(is_true, is_stated)


def _frames_within(timeline: Timeline, source: int, span: SupportSpan | ForceSpan) -> BoolArray:
    """Return the frames of a source from ``from_s`` until before ``to_s``."""
    until_s = np.inf if span.to_s is None else span.to_s
    within: BoolArray = (
        (timeline.source_index == source)
        & (timeline.time_s >= span.from_s)
        & (timeline.time_s < until_s)
    )
    return within
