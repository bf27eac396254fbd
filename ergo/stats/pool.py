"""Sessions put together and cut into blocks of time, ready to be compared.

Frames are not independent: a posture is kept for seconds to minutes. Blocks of a
minute are nearly so. They are what the bootstrap draws (Künsch HR 1989. The
jackknife and the bootstrap for general stationary observations. Ann Stat
17(3):1217-1241; status: memory).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from ergo.arrays import FloatArray, IndexArray
from ergo.notes.excluded import is_excluded
from ergo.notes.notes import Notes
from ergo.posture.clock_track import ClockTrack
from ergo.posture.posture_track import PostureTrack
from ergo.room.camera import Camera
from ergo.scores.circumstances import SUPPORTS
from ergo.scores.method_score import MethodScore
from ergo.stats.assessed import assessed, backward_beyond
from ergo.stats.exposure import HoldRecord
from ergo.stats.groups import Labels, hour_labels, task_labels
from ergo.stats.holding_lines import holding_line
from ergo.stats.holds import hold_records
from ergo.stats.neighbours import FAR, cells_of
from ergo.timeline import Timeline

BLOCK_S = 60.0
"""Length of a block. [s]"""

LEAST_BLOCK_S = 10.0
"""A short recording is cut into tenths, but not into blocks shorter than this (ours). [s]"""


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
        What may be counted, by :func:`ergo.stats.assessed.assessed`.
    held, gap_after : array (frame,)
        As in :class:`ergo.timeline.Timeline`. [s or pictures]
    block : array (frame,)
        Number of the block of each frame.
    session_of_block : array (block,)
        Number of the session of each block.
    cell : array (frame,)
        Number of the cell of a few seconds of each frame.
    block_s : float
        Usual length of a block. [s]
    hours, tasks : tuple (frame,) of str or None
    levels : mapping of (method, side) to MethodScore list
        Scores of each session, in order.
    holds : tuple of (block, HoldRecord)
    """

    posture: PostureTrack
    held: FloatArray
    gap_after: FloatArray
    block: IndexArray
    session_of_block: IndexArray
    cell: IndexArray
    block_s: float
    hours: Labels
    tasks: Labels
    levels: dict[tuple[str, str], tuple[MethodScore, ...]]
    holds: tuple[tuple[int, HoldRecord], ...]


def pooled(sessions: Sequence[Measured]) -> Pool:
    """Put sessions together, each cut into blocks.

    Parameters
    ----------
    sessions : sequence of Measured
        At least one.
    """
    blocks: list[IndexArray] = []
    owners: list[IndexArray] = []
    cells: list[IndexArray] = []
    holds: list[tuple[int, HoldRecord]] = []
    tracks: list[PostureTrack] = []
    sessions = [each.without_excluded() for each in sessions]
    for number, session in enumerate(sessions):
        block = blocks_of(session.timeline)
        first = sum(len(each) for each in owners)
        blocks.append(block + first)
        cells.append(cells_of(session.timeline) + (cells[-1].max(initial=0) + FAR if cells else 0))
        owners.append(np.full(int(block.max(initial=-1)) + 1, number))
        tracks.append(assessed(session.timeline, session.posture, session.notes, session.readings))
        holds += [(first + at, hold) for at, hold in _holds(session, tracks[-1], block)]
    return Pool(
        posture=_joined(tracks),
        held=np.concatenate([each.timeline.held for each in sessions]),
        gap_after=np.concatenate([each.timeline.gap_after for each in sessions]),
        block=np.concatenate(blocks).astype(np.int64),
        session_of_block=np.concatenate(owners).astype(np.int64),
        cell=np.concatenate(cells).astype(np.int64),
        block_s=float(np.mean([block_length_s(each.timeline) for each in sessions])),
        hours=tuple(hour for each in sessions for hour in hour_labels(each.clock)),
        tasks=tuple(t for each in sessions for t in task_labels(each.timeline, each.notes)),
        levels=_levels(sessions),
        holds=tuple(holds),
    )


def blocks_of(timeline: Timeline) -> IndexArray:
    """Return the number of each frame's block, from 0 without gaps.

    Parameters
    ----------
    timeline : Timeline

    Returns
    -------
    array (frame,)
        Minutes of each clip, or tenths of a shorter session; a rest of less
        than half a block belongs to the block before it. Every still is one.
    """
    length_s = block_length_s(timeline)
    block = np.zeros(len(timeline), dtype=np.int64)
    for source in range(len(timeline.sources)):
        frames = timeline.frames_of(source)
        if len(frames):
            time_s = timeline.time_s[frames] - timeline.time_s[frames[0]]
            last = max(round(time_s[-1] / length_s) - 1, 0)
            block[frames] = np.minimum((time_s // length_s).astype(np.int64), last)
    pairs = np.stack([timeline.source_index, block], axis=1)
    return np.unique(pairs, axis=0, return_inverse=True)[1].reshape(-1).astype(np.int64)


def block_length_s(timeline: Timeline) -> float:
    """Return the length of a block: a minute, or a tenth of a shorter session. [s]."""
    return float(np.clip(timeline.total / 10, LEAST_BLOCK_S, BLOCK_S))


def _joined(tracks: Sequence[PostureTrack]) -> PostureTrack:
    return PostureTrack(
        np.concatenate([each.value for each in tracks]),
        np.concatenate([each.sd for each in tracks]),
        np.concatenate([each.person_found for each in tracks]),
        np.concatenate([each.is_bridged for each in tracks]),
        {name: np.concatenate([each.support[name] for each in tracks]) for name in SUPPORTS},
    )


def _holds(
    session: Measured, posture: PostureTrack, block: IndexArray
) -> list[tuple[int, HoldRecord]]:
    """Return every hold with the block in which it began."""
    timeline = session.timeline
    unknown: Labels = (None,) * len(timeline)
    found = []
    beyond = backward_beyond(session.readings)
    for hold in hold_records(timeline, posture, holding_line, unknown, unknown, beyond):
        frames = timeline.frames_of(timeline.sources.index(hold.source))
        first = frames[np.searchsorted(timeline.time_s[frames], hold.start_s)]
        found.append((int(block[first]), hold))
    return found


def _levels(sessions: Sequence[Measured]) -> dict[tuple[str, str], tuple[MethodScore, ...]]:
    """Return the scores of every method and side that all sessions have."""
    by_session = [{(s.method, s.side): s for s in each.scores} for each in sessions]
    shared = [key for key in by_session[0] if all(key in each for each in by_session)]
    return {key: tuple(each[key] for each in by_session) for key in shared}
