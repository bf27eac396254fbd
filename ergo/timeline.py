"""When each analysed frame was taken and how much time it stands for."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from ergo.arrays import BoolArray, FloatArray, IndexArray
from ergo.errors import InputError

TimeUnit = Literal["second", "picture"]

BRIDGE_S = 0.6
"""Longest gap that is bridged, that does not end a hold, and that counts as seen (ours) [s]."""

SLOWEST_STEP_S = 10.0
"""The slowest sampling that can be chosen; pictures further apart show no posture between [s]."""


@dataclass(frozen=True, slots=True, eq=False)
class Timeline:
    """The analysed frames of one session, source after source.

    Attributes
    ----------
    sources : tuple of str
        Name of each clip or still, unique, in the order analysed.
    source_index : array (frame,)
        Position in ``sources`` of the source each frame came from.
    time_s : array (frame,)
        Presentation time since the start of its source, rising within a
        source; 0 for a still. [s]
    held : array (frame,)
        How much each frame stands for, in ``unit``. In a clip: half the way to
        the frame before plus half the way to the frame after, but never more
        than half a usual step into a jump in time. A still stands for 1
        picture when the session holds only stills, else for nothing.
    is_still : array (frame,)
        True where the frame is a still picture.
    unit : str
        ``"second"`` when the session holds a clip, else ``"picture"``.
    """

    sources: tuple[str, ...]
    source_index: IndexArray
    time_s: FloatArray
    held: FloatArray
    is_still: BoolArray
    unit: TimeUnit

    def __post_init__(self) -> None:
        frames = len(self.time_s)
        for name in ("source_index", "held", "is_still"):
            if len(getattr(self, name)) != frames:
                raise InputError(f"{name} must have one value per frame ({frames}).")

    def __len__(self) -> int:
        """Return the number of analysed frames."""
        return len(self.time_s)

    @property
    def gap_after(self) -> FloatArray:
        """array (frame,): time up to the next frame of the clip for which no frame stands.

        Nobody saw what happened in it: it belongs to the session and is not assessed. 0 but
        at a jump in time. [unit]
        """
        gap = np.zeros(len(self))
        for source in range(len(self.sources)):
            frames = self.frames_of(source)
            if len(frames) > 1 and not self.is_still[frames[0]]:
                step_s = np.diff(self.time_s[frames])
                gap[frames[:-1]] = step_s - _stood_for_s(step_s)
        return gap

    @property
    def total(self) -> float:
        """Return what the session stands for, jumps in time included. In ``unit``."""
        return float(np.sum(self.held) + np.sum(self.gap_after))

    def gap_of(self, source: int) -> float:
        """Return the jumps in time of one source together, in ``unit``."""
        return float(np.sum(self.gap_after[self.frames_of(source)]))

    def frames_of(self, source: int) -> IndexArray:
        """Return the frames of one source, in order of time."""
        return np.flatnonzero(self.source_index == source)


def held_s(time_s: FloatArray) -> FloatArray:
    """Return how long each frame of one clip stands for.

    Half the way to the frame before plus half the way to the frame after; the
    first and last frame, and those at a jump in time, get half the usual step
    on their open side, so that a clip of ``n`` frames at a steady step stands
    for ``n`` steps, with a hole in it or without.

    Parameters
    ----------
    time_s : array (frame,)
        Presentation times, rising. [s]

    Returns
    -------
    array (frame,)
        [s]; a clip of one frame stands for nothing.
    """
    if len(time_s) < 2:
        return np.zeros(len(time_s))
    steps = np.diff(time_s)
    if np.any(steps <= 0):
        raise InputError("The times of a clip must rise.")
    stood_for, edge = _stood_for_s(steps), usual_step_s(steps)
    before, after = np.concatenate([[edge], stood_for]), np.concatenate([stood_for, [edge]])
    return np.asarray((before + after) / 2)


def _stood_for_s(step_s: FloatArray) -> FloatArray:
    """Return how much of each step the frames at its ends stand for, array (frame - 1,). [s]."""
    return np.where(step_s > longest_gap_s(step_s), usual_step_s(step_s), step_s)


def usual_step_s(step_s: FloatArray) -> float:
    """Return the usual step of a clip, array (frame - 1,): its median, the lower of two. [s]."""
    if not len(step_s):
        return 0.0
    return min(float(np.quantile(step_s, 0.5, method="lower")), SLOWEST_STEP_S)


def longest_gap_s(step_s: FloatArray) -> float:
    """Return the longest step in time that still counts as going on [s].

    It is one step more than the bridge, so that a bridged gap does not end a
    run, nor does a clip analysed at less than one frame per bridge.
    """
    return BRIDGE_S + usual_step_s(step_s) * 1.001


def build_timeline(
    sources: tuple[str, ...], times_s: tuple[FloatArray, ...], is_clip: tuple[bool, ...]
) -> Timeline:
    """Lay the analysed frames of all sources one after the other.

    Parameters
    ----------
    sources : tuple of str
        Names, unique.
    times_s : tuple of array (frame,)
        Presentation times of the analysed frames of each source. [s]
    is_clip : tuple of bool
        True for a clip, False for a still.

    Returns
    -------
    Timeline
        In seconds when there is a clip (stills then stand for nothing), else in
        pictures (each still stands for one).
    """
    unit: TimeUnit = "second" if any(is_clip) else "picture"
    still_weight = 0.0 if unit == "second" else 1.0
    held = [
        held_s(times) if clip else np.full(len(times), still_weight)
        for times, clip in zip(times_s, is_clip, strict=True)
    ]
    counts = [len(times) for times in times_s]
    return Timeline(
        sources=sources,
        source_index=np.repeat(np.arange(len(sources)), counts),
        time_s=np.concatenate([*times_s, np.zeros(0)]),
        held=np.concatenate([*held, np.zeros(0)]),
        is_still=np.repeat(~np.asarray(is_clip, dtype=bool), counts),
        unit=unit,
    )
