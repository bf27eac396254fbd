"""What the library knows of a session and of an operator."""

import re
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Literal

from ergo.errors import InputError, LibraryError
from ergo.printable import is_text, shortened

_NAME = re.compile(r"[^\s/\\:][^/\\:\x00-\x1f\x7f]{0,79}")
_RANGES = {
    "stature_cm": (100.0, 230.0),
    "loupes_declination_deg": (0.0, 90.0),
}


@dataclass(frozen=True, slots=True)
class Entry:
    """A session in the library.

    Attributes
    ----------
    id : str
        Never changes.
    name : str
        Unique; may be changed.
    added_at : datetime
        UTC.
    recorded_on : date or None
        Day of the recording, if stated.
    operator : str or None
        Pseudonym of the operator, if stated.
    tags : tuple of str
        In alphabetical order.
    folder : Path
        The session folder.
    """

    id: str
    name: str
    added_at: datetime
    recorded_on: date | None
    operator: str | None
    tags: tuple[str, ...]
    folder: Path


@dataclass(frozen=True, slots=True)
class Profile:
    """What is known of an operator; None where nobody stated it.

    Attributes
    ----------
    pseudonym : str
        A pseudonym is enough; it is how sessions name the operator.
    handed : str or None
        ``"right"`` or ``"left"``.
    stature_cm : float or None
        Body height without shoes. [cm]
    loupes_declination_deg : float or None
        Angle between the ear–eye line and the line of sight through the loupes;
        None without loupes. [deg]
    """

    pseudonym: str
    handed: Literal["right", "left"] | None = None
    stature_cm: float | None = None
    loupes_declination_deg: float | None = None

    def __post_init__(self) -> None:
        checked_name(self.pseudonym, "A pseudonym")
        if self.handed not in (None, "right", "left"):
            raise InputError("handed must be right or left.", where=self.pseudonym + ":")
        for name, (low, high) in _RANGES.items():
            value = getattr(self, name)
            if value is not None and not low <= value <= high:
                raise InputError(
                    f"{name} must lie between {low:.0f} and {high:.0f}, got {value:g}.",
                    where=self.pseudonym + ":",
                )


def checked_name(name: str, what: str = "A name") -> str:
    """Return a name, tag or pseudonym without the space around it.

    Raises
    ------
    LibraryError
        If it is empty, longer than 80 letters or holds a letter that may not be in it.
    """
    trimmed = name.strip()
    if not _NAME.fullmatch(trimmed) or not is_text(trimmed):
        raise LibraryError(
            r"needs 1 to 80 letters, none of them / \ : or a line break.",
            where=f'{what} ("{shortened(name)}")',
        )
    return trimmed
