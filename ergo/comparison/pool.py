"""Sessions put together and cut into cells of a few seconds, ready to be compared."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from ergo.arrays import FloatArray, IndexArray
from ergo.camera.camera import Camera
from ergo.comparison.lasting import CELL_S
from ergo.exposure.assessed import assessed, backward_beyond
from ergo.exposure.exposure import HoldRecord
from ergo.exposure.groups import Labels, hour_labels, task_labels
from ergo.exposure.holding_lines import holding_line
from ergo.exposure.static_postures import hold_records
from ergo.notes.excluded import is_excluded
from ergo.notes.notes import Notes
from ergo.posture.posture_track import PostureTrack
from ergo.scores.circumstances import SUPPORTS
from ergo.scores.method_score import MethodScore
from ergo.timeline import Timeline
from ergo.workplace.clock_track import ClockTrack


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """One session as a comparison sees it.

    Attributes
    ----------
    name : str
    timeline : Timeline
    posture : PostureTrack
    clock : ClockTrack
    scores : tuple of MethodScore
    notes : tuple of Notes
        One per source.
    cameras : tuple of Camera
        One per source.
    view_azimuth_deg : array (frame,)
        From where the camera saw the operator, for the same sense as in
        :mod:`ergo.posture.uncertainty`; NaN where unknown. [deg]
    readings : mapping of str to str
        As for :func:`ergo.scores.methods.score_all`.
    """

    name: str
    timeline: Timeline
    posture: PostureTrack
    clock: ClockTrack
    scores: tuple[MethodScore, ...]
    notes: tuple[Notes, ...]
    cameras: tuple[Camera, ...]
    view_azimuth_deg: FloatArray
    readings: Mapping[str, str] = field(default_factory=dict)

    def without_excluded(self) -> "Measured":
        """Return the session with nothing judged where the notes exclude a part."""
        excluded = is_excluded(self.timeline, self.notes)
        return replace(
            self,
            posture=self.posture.without(excluded),
            clock=self.clock.without(excluded),
            scores=tuple(score.without(excluded) for score in self.scores),
        )


@dataclass(frozen=True, slots=True, eq=False)
class Pool:
    """All frames of one or several sessions.

    Attributes
    ----------
    posture : PostureTrack
        What may be counted, by :func:`ergo.exposure.assessed.assessed`.
    held, gap_after : array (frame,)
        As in :class:`ergo.timeline.Timeline`. [s or pictures]
    session : array (frame,)
        Number of the session of each frame.
    cell : array (frame,)
        Number of the cell of a few seconds of each frame, rising with time.
    is_stills : bool
        Whether every session holds only stills.
    hours, tasks : tuple (frame,) of str or None
    levels : mapping of (method, side) to MethodScore list
        Scores of each session, in order.
    holds : tuple of (frame, HoldRecord)
        With the frame in which each began.
    """

    posture: PostureTrack
    held: FloatArray
    gap_after: FloatArray
    session: IndexArray
    cell: IndexArray
    is_stills: bool
    hours: Labels
    tasks: Labels
    levels: dict[tuple[str, str], tuple[MethodScore, ...]]
    holds: tuple[tuple[int, HoldRecord], ...]


def pooled(sessions: Sequence[Measured]) -> Pool:
    """Put sessions together.

    Parameters
    ----------
    sessions : sequence of Measured
        At least one.
    """
    sessions = [each.without_excluded() for each in sessions]
    firsts = np.cumsum([0, *(len(each.timeline) for each in sessions)]).tolist()
    tracks = [assessed(each.timeline, each.posture, each.notes, each.readings) for each in sessions]
    return Pool(
        posture=_joined(tracks),
        held=np.concatenate([each.timeline.held for each in sessions]),
        gap_after=np.concatenate([each.timeline.gap_after for each in sessions]),
        session=np.repeat(np.arange(len(sessions)), np.diff(firsts)),
        cell=np.concatenate([cells_of(each.timeline) for each in sessions]),
        is_stills=all(each.timeline.unit == "picture" for each in sessions),
        hours=tuple(hour for each in sessions for hour in hour_labels(each.clock)),
        tasks=tuple(t for each in sessions for t in task_labels(each.timeline, each.notes)),
        levels=_levels(sessions),
        holds=tuple(
            found
            for session, track, first in zip(sessions, tracks, firsts, strict=False)
            for found in _holds(session, track, first)
        ),
    )


def cells_of(timeline: Timeline) -> IndexArray:
    """Return the number of each frame's cell of a few seconds, array (frame,).

    It rises within a clip, and from source to source.
    """
    cell, first = np.zeros(len(timeline), dtype=np.int64), 0
    for source in range(len(timeline.sources)):
        frames = timeline.frames_of(source)
        if len(frames):
            time_s = timeline.time_s[frames] - timeline.time_s[frames[0]]
            cell[frames] = first + (time_s // CELL_S).astype(np.int64)
            first = int(cell[frames[-1]]) + 1
    return cell


def _joined(tracks: Sequence[PostureTrack]) -> PostureTrack:
    return PostureTrack(
        np.concatenate([each.value for each in tracks]),
        np.concatenate([each.sd for each in tracks]),
        np.concatenate([each.person_found for each in tracks]),
        np.concatenate([each.is_bridged for each in tracks]),
        {name: np.concatenate([each.support[name] for each in tracks]) for name in SUPPORTS},
    )


def _holds(session: Measured, posture: PostureTrack, before: int) -> list[tuple[int, HoldRecord]]:
    """Return every hold with the frame in which it began, ``before`` frames before the session."""
    timeline = session.timeline
    unknown: Labels = (None,) * len(timeline)
    found = []
    beyond = backward_beyond(session.readings)
    for hold in hold_records(timeline, posture, holding_line, unknown, unknown, beyond):
        frames = timeline.frames_of(timeline.sources.index(hold.source))
        first = frames[np.searchsorted(timeline.time_s[frames], hold.start_s)]
        found.append((before + int(first), hold))
    return found


def _levels(sessions: Sequence[Measured]) -> dict[tuple[str, str], tuple[MethodScore, ...]]:
    """Return the scores of every method and side that all sessions have."""
    by_session = [{(s.method, s.side): s for s in each.scores} for each in sessions]
    shared = [key for key in by_session[0] if all(key in each for each in by_session)]
    return {key: tuple(each[key] for each in by_session) for key in shared}
