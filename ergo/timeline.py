"""When each analysed frame was taken and how much time it stands for."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from ergo.arrays import BoolArray, FloatArray, IndexArray
from ergo.errors import InputError

TimeUnit = Literal["second", "picture"]


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
        the frame before plus half the way to the frame after. A still stands
        for 1 picture when the session holds only stills, else for nothing.
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
    def total(self) -> float:
        """Return what the session stands for, in ``unit``."""
        return float(np.sum(self.held))

    def frames_of(self, source: int) -> IndexArray:
        """Return the frames of one source, in order of time."""
        return np.flatnonzero(self.source_index == source)


def held_s(time_s: FloatArray) -> FloatArray:
    """Return how long each frame of one clip stands for.

    Half the way to the frame before plus half the way to the frame after; the
    first and last frame get the median half step on their open side, so that a
    clip of ``n`` frames at a steady step stands for ``n`` steps.

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
    edge = np.median(steps)
    return np.asarray((np.concatenate([[edge], steps]) + np.concatenate([steps, [edge]])) / 2)


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
