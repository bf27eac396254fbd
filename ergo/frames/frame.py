"""One picture, and where pictures come from."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, Protocol

from ergo.arrays import PictureArray


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """One upright picture.

    Attributes
    ----------
    picture : array (row, column, rgb)
        Upright: EXIF or container rotation has been applied.
    time_s : float
        Presentation time since the first picture of its source; 0 for a still. [s]
    number : int
        Number of the picture in its source as decoded, from 0 (a clip at 30
        pictures a second sampled at 5 gives 0, 6, 12, ...).
    """

    picture: PictureArray
    time_s: float
    number: int


@dataclass(frozen=True, slots=True)
class SourceFacts:
    """What is known of a still or clip without decoding all of it.

    Attributes
    ----------
    name : str
        Name shown to people and used in every table; unique in a session.
    path : Path
        Where it lies.
    kind : str
        ``"clip"`` or ``"still"``.
    width_px, height_px : int
        Size of the upright picture. [px]
    duration_s : float or None
        Length as the container states it; None where it does not. [s]
    rate_hz : float or None
        Mean pictures a second as the container states it; None for a still.
    focal_px : float or None
        Focal length from EXIF (35 mm equivalent), in px of the upright
        picture; None where unknown. [px]
    sha256 : str
        Hash of the file.
    """

    name: str
    path: Path
    kind: Literal["clip", "still"]
    width_px: int
    height_px: int
    duration_s: float | None
    rate_hz: float | None
    focal_px: float | None
    sha256: str


class FrameSource(Protocol):
    """Pictures of one still or clip, in order of time."""

    @property
    def facts(self) -> SourceFacts:
        """What is known without decoding."""

    @property
    def damage(self) -> str | None:
        """After iterating: why reading stopped early (None if it did not)."""

    def __iter__(self) -> Iterator[Frame]:
        """Decode the pictures to be analysed, one at a time."""

    def starting_at(self, start_s: float) -> "FrameSource":
        """Return the same source from a time (in seconds) on, on the same grid of times."""
