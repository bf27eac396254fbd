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
