"""The texts that were read (``SOURCES.md``), and the small marks that say how far a value is known.

A status cites texts by their key in brackets, for example ``verified: read in [rula-thesis-id]``.
"""

import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

VERIFIED, MEMORY, PRACTICE, CHOICE = "✓", "≈", "※", "⌂"
MARKS = {"verified": VERIFIED, "memory": MEMORY, "practice": PRACTICE, "choice": CHOICE}
"""Read in a text of the list; from memory; common practice, no source; a choice of this project."""

_CITED = re.compile(r"\[([a-z][a-z0-9-]+)\]")
_CHOSEN = re.compile(r"\b(ours|project's choice|computed|measured)\b")


@dataclass(frozen=True, slots=True)
class Source:
    """A text that was read.

    Attributes
    ----------
    key, name : str
    address : str
        Where it was read, or its identifier.
    read : str
        What was read in it.
    """

    key: str
    name: str
    address: str
    read: str


@cache
def sources() -> dict[str, Source]:
    """Return every text that was read, by key, in the order of the page."""
    text = files("ergo").joinpath("SOURCES.md").read_text("utf-8")
    rows = [line.strip("| ").split(" | ") for line in text.splitlines() if line.startswith("| ")]
    return {cells[0]: Source(*cells) for cells in rows[2:]}


def cited(status: str) -> tuple[str, ...]:
    """Return the keys of the texts that a status cites, each once."""
    return tuple(dict.fromkeys(_CITED.findall(status)))


def marks_of(status: str) -> str:
    """Return the marks of all that a status says, verified first; "" where it says nothing."""
    said = {
        VERIFIED: bool(cited(status)),
        MEMORY: "memory" in status,
        PRACTICE: "no source" in status,
        CHOICE: bool(_CHOSEN.search(status)),
    }
    return "".join(mark for mark, is_said in said.items() if is_said)
