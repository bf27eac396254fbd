"""What the library knows of a session and of an operator."""

import re
import unicodedata
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Literal

from ergo.errors import InputError, LibraryError
from ergo.printable import shortened

_NAME = re.compile(r"[^\s/\\:][^/\\:\x00-\x1f\x7f]{0,79}")
_NONE = ("Cc", "Cs", "Zl", "Zp")
"""Controls, half characters and line breaks (Unicode general categories)."""
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
        object.__setattr__(self, "pseudonym", checked_name(self.pseudonym, "A pseudonym"))
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
    """Return a name, tag or pseudonym as :func:`tidy_name` writes it.

    Raises
    ------
    LibraryError
        If it is empty, longer than 80 letters or holds a letter that may not be in it.
    """
    tidy = tidy_name(name)
    has_none = any(unicodedata.category(each) in _NONE for each in name.strip())
    if has_none or not _NAME.fullmatch(tidy):
        raise LibraryError(
            r"needs 1 to 80 letters, none of them / \ : or a line break.",
            where=f'{what} ("{shortened(name)}")',
        )
    return tidy


def tidy_name(name: str) -> str:
    """Return a name in the one way in which it is stored and looked for.

    Without the space around it, and composed: letters with marks are written in two
    ways (Unicode Standard Annex 15), of which systems choose one each. Half a
    character, which no name may hold, becomes a question mark.
    """
    whole = name.encode("utf-8", "replace").decode()
    return unicodedata.normalize("NFC", whole).strip()
