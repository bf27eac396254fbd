"""Whether the times of a clip's pictures make sense, from the file's index, nothing decoded."""

from dataclasses import dataclass

import av
import numpy as np
from av.container import InputContainer
from av.video.stream import VideoStream

from ergo.arrays import FloatArray, IndexArray
from ergo.errors import UnreadableClip
from ergo.timeline import longest_gap_s

LONGEST_JUMPS_S = 3600.0
"""Nobody's recording of one session pauses longer than this, all jumps together (ours). [s]"""

MOST_FAR_AWAY = 0.1
"""Share of pictures that may lie an hour or more from the others, and are left out (ours)."""

MOST_BROKEN = 0.5
"""Share of pictures that may be left out for their times (ours)."""

_REMEDY = (
    "Export it anew with the program of the camera or phone, and analyse that copy; "
    "its length there must be that of the work filmed."
)


@dataclass(frozen=True, slots=True)
class ClipTimes:
    """What the index of a clip says of its pictures' times.

    Attributes
    ----------
    pictures : int
        How many there are.
    broken : int
        How many are left out for their times.
    far_away : frozenset of int
        Times of those that lie an hour or more from all others. [ticks of the stream]
    """

    pictures: int
    broken: int
    far_away: frozenset[int]


def clip_times(container: InputContainer, name: str) -> ClipTimes:
    """Read the times of all pictures of a clip.

    Parameters
    ----------
    container : InputContainer
        Just opened; nothing is left to read of it afterwards.
    name : str
        What errors call the clip.

    Raises
    ------
    UnreadableClip
        If the times make no sense.
    """
    stream = container.streams.video[0]
    ticks, pictures = _ticks(container, stream)
    if not len(ticks):
        return ClipTimes(pictures, 0, frozenset())
    known = np.unique(ticks)
    time_s = known.astype(np.float64) * float(stream.time_base or 1)
    piece = np.cumsum(np.diff(time_s, prepend=time_s[0]) > LONGEST_JUMPS_S)
    is_near = piece == np.bincount(piece).argmax()
    jumps_s = _jumps_s(time_s[is_near])
    if np.mean(~is_near) > MOST_FAR_AWAY or jumps_s > LONGEST_JUMPS_S:
        jumps_s = jumps_s if is_near.all() else _jumps_s(time_s)
        raise UnreadableClip(
            f"has times that make no sense: they jump by {_hours(jumps_s)}.",
            where=f"{name}:",
            remedy=_REMEDY,
        )
    broken = pictures - int(np.sum(is_near))
    check_broken(broken, pictures, name)
    return ClipTimes(pictures, broken, frozenset(known[~is_near].tolist()))


def check_broken(broken: int, pictures: int, name: str) -> None:
    """Refuse a clip of which most pictures would be left out for their times."""
    if broken > MOST_BROKEN * pictures:
        raise UnreadableClip(
            f"has times that make no sense: those of {broken} of {pictures} pictures "
            "are missing or not later than the one before.",
            where=f"{name}:",
            remedy=_REMEDY,
        )


def _ticks(container: InputContainer, stream: VideoStream) -> tuple[IndexArray, int]:
    """Return the times that are known, in ticks, and the number of pictures."""
    ticks: list[int] = []
    pictures = 0
    try:
        for packet in container.demux(stream):
            if packet.size and not packet.is_discard:
                pictures += 1
                at = packet.pts if packet.pts is not None else packet.dts
                ticks += [] if at is None else [at]
    except av.error.FFmpegError:
        pass  # what follows cannot be decoded either; reading it says so
    return np.array(ticks, dtype=np.int64), pictures


def _jumps_s(time_s: FloatArray) -> float:
    """Return how much of the time of rising pictures no picture stands for. [s]."""
    step_s = np.diff(time_s)
    return float(np.sum(step_s[step_s > longest_gap_s(step_s)]))


def _hours(seconds: float) -> str:
    return f"{seconds / 3600:.0f} h" if seconds >= 36_000 else f"{seconds / 60:.0f} min"
