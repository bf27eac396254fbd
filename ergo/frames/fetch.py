"""One picture of a source at a given time."""

from ergo.arrays import PictureArray
from ergo.errors import UnreadableClip
from ergo.frames.clips import ClipSource
from ergo.frames.frame import SourceFacts
from ergo.frames.same_file import check_same_file
from ergo.frames.stills import StillSource

_ANY_RATE_HZ = 1000.0  # every picture counts when one moment is wanted


def picture_at(facts: SourceFacts, time_s: float, least_px: int | None = None) -> PictureArray:
    """Return the upright picture of a source at or just after a time.

    Parameters
    ----------
    facts : SourceFacts
    time_s : float
        Since the first picture of the source. [s]
    least_px : int, optional
        A still may come smaller, with at least this many px on its longer side. [px]

    Returns
    -------
    array (row, column, rgb)

    Raises
    ------
    UnreadablePicture, UnreadableClip
        If the file is gone or cannot be decoded there, or another file is in its place.
    """
    check_same_file(facts)
    if facts.kind == "still":
        return next(iter(StillSource(facts.path, facts.name, least_px))).picture
    start_s = max(0.0, time_s - 1e-3)
    picture = ClipSource(facts.path, facts.name, _ANY_RATE_HZ, start_s).picture()
    if picture is not None:
        return picture
    raise UnreadableClip(f"has no picture at {time_s:.1f} s.", where=f"{facts.name}:")
