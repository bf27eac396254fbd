"""Runs: stretches of one clip without a long gap, on which filters and holds may work."""

from dataclasses import dataclass

import numpy as np

from ergo.arrays import BoolArray, IndexArray
from ergo.timeline import Timeline, longest_gap_s


@dataclass(frozen=True, slots=True)
class Run:
    """Frames ``start`` to ``stop`` (not included) of one clip."""

    start: int
    stop: int


def clip_runs(timeline: Timeline) -> tuple[Run, ...]:
    """Return the runs of analysed frames: one clip each, no jump in time within."""
    runs: list[Run] = []
    for source in range(len(timeline.sources)):
        frames = timeline.frames_of(source)
        if len(frames) and not timeline.is_still[frames[0]]:
            step_s = np.diff(timeline.time_s[frames])
            jumps = (step_s > longest_gap_s(step_s)) | (np.diff(frames) != 1)
            runs += _parts(frames, jumps)
    return tuple(runs)


def _parts(frames: IndexArray, breaks: BoolArray) -> list[Run]:
    """Return the runs between breaks (frame - 1,), from their first to their last frame."""
    parts = np.split(frames, np.flatnonzero(breaks) + 1)
    return [Run(int(part[0]), int(part[-1]) + 1) for part in parts]


def seen_runs(timeline: Timeline, run: Run, seen: BoolArray) -> tuple[Run, ...]:
    """Return the parts of ``run`` without an unseen gap longer than the bridge.

    Parameters
    ----------
    timeline : Timeline
    run : Run
    seen : array (frame,)
        Of the whole timeline; a part begins and ends with a seen frame.
    """
    frames = run.start + np.flatnonzero(seen[run.start : run.stop])
    if not len(frames):
        return ()
    time_s = timeline.time_s
    usual = longest_gap_s(np.diff(time_s[run.start : run.stop]))
    return tuple(_parts(frames, np.diff(time_s[frames]) > usual))
