"""Parts of the session by clock position, by task and by area of the mouth."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import compress

import numpy as np

from ergo.arrays import AnyArray, FloatArray
from ergo.exposure.exposure import UNKNOWN, GroupKind
from ergo.notes.notes import Notes, TaskSpan
from ergo.notes.spans import labels_per_frame
from ergo.timeline import Timeline
from ergo.workplace.clock_track import ClockTrack

Labels = tuple[str | None, ...]
"""One name per frame; None = nobody stated it."""


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """Frames that belong together.

    Attributes
    ----------
    kind, name : str
        As in :class:`ergo.exposure.exposure.Group`.
    held : array (frame,)
        Weights; 0 for the frames of other parts. [unit of the timeline]
    gap : float
        Time of the part for which no frame stands. [unit of the timeline]
    """

    kind: GroupKind
    name: str
    held: FloatArray
    gap: float

    @property
    def total(self) -> float:
        """Return what the part stands for. In the unit of the timeline."""
        return float(np.sum(self.held)) + self.gap


def nearest_hours(hours: FloatArray) -> FloatArray:
    """Return the nearest full clock hour, 1..12; NaN where unknown.

    Half past belongs to the later hour, in every table, figure, sentence and on the page.

    Parameters
    ----------
    hours : array (frame,)
        1 <= hours < 13. [h]
    """
    nearest: FloatArray = (np.floor(hours + 0.5) - 1) % 12 + 1
    return nearest


_HOURS: Labels = (None, *(str(hour) for hour in range(1, 13)))


def hour_labels(clock: ClockTrack) -> Labels:
    """Return the nearest full clock hour of each frame as its name."""
    hours = np.nan_to_num(nearest_hours(clock.hours)).astype(np.int64)
    return tuple(map(_HOURS.__getitem__, hours.tolist()))


def task_labels(timeline: Timeline, notes: Sequence[Notes]) -> Labels:
    """Return what was done in each frame, by the notes."""
    return _labels(timeline, notes, lambda span: span.task)


def mouth_area_labels(timeline: Timeline, notes: Sequence[Notes]) -> Labels:
    """Return the area of the mouth worked on in each frame, by the notes."""
    return _labels(timeline, notes, lambda span: span.mouth_area)


def _labels(
    timeline: Timeline, notes: Sequence[Notes], pick: Callable[[TaskSpan], str | None]
) -> Labels:
    labels: list[str | None] = [None] * len(timeline)
    for source, stated in enumerate(notes):
        if stated.tasks:
            frames = timeline.frames_of(source)
            named = labels_per_frame(stated.tasks, timeline.time_s[frames], pick)
            for frame, name in zip(frames, named, strict=True):
                labels[frame] = name
    return tuple(labels)


def parts_of(kind: GroupKind, labels: Labels, timeline: Timeline) -> tuple[Part, ...]:
    """Return one part per name, hours in order, other names as they first appear.

    Parameters
    ----------
    kind : str
    labels : tuple (frame,) of str or None
    timeline : Timeline

    Returns
    -------
    tuple of Part
        Empty where no frame has a name; else the unnamed frames come last.
        Names of frames that stand for nothing (stills beside a clip) are left out.
    """
    held, gap = timeline.held, timeline.gap_after
    names = [name for name in dict.fromkeys(compress(labels, (held > 0).tolist())) if name]
    if kind == "clock":
        names.sort(key=int)
    of_frame, of_gap = np.array(labels, dtype=object), gap_labels(kind, labels)
    parts = [
        Part(kind, name, np.where(of_frame == name, held, 0.0), float(np.sum(gap[of_gap == name])))
        for name in names
    ]
    unnamed, nowhere = of_frame == None, of_gap == None  # noqa: E711 - of each frame
    rest = Part(kind, UNKNOWN, np.where(unnamed, held, 0.0), float(np.sum(gap[nowhere])))
    if names and rest.total > 0:
        parts.append(rest)
    return tuple(parts)


def gap_labels(kind: GroupKind, labels: Labels) -> AnyArray:
    """Return to which part the jump in time after each frame belongs, array (frame,).

    To the task or area of the mouth that is stated on both sides of it, else to none
    (None); where the operator sat meanwhile nobody saw.
    """
    of_frame = np.array(labels, dtype=object)
    of_frame[(np.roll(of_frame, -1) != of_frame) | (kind == "clock")] = None
    return of_frame
