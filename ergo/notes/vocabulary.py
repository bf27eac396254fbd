"""What words of the notes mean: parts of the mouth and tasks by key, in every language and case."""

import re
import tomllib
import unicodedata
from collections.abc import Mapping
from fnmatch import fnmatchcase
from functools import cache
from importlib.resources import files

Patterns = Mapping[str, tuple[str, ...]]

_NUMBERED = re.compile(r"\b(?P<kind>sextant|s|quadrant|q)\s*(?P<number>\d+)\b")
_OPPOSITES = (frozenset({"upper", "lower"}), frozenset({"right", "left"}))


@cache
def _table(name: str) -> Patterns:
    text = files("ergo.notes").joinpath("vocabulary.toml").read_text("utf-8")
    return {key: tuple(words) for key, words in tomllib.loads(text)[name].items()}


AREAS: frozenset[str] = frozenset(_table("areas"))
"""Keys of the parts of the mouth: upper, lower, right, left, front."""
TASKS: frozenset[str] = frozenset(_table("tasks"))
"""Keys of the tasks that a rule knows."""


@cache
def area_keys(stated: str) -> frozenset[str]:
    """Return the parts of the mouth that a stated area names.

    Parameters
    ----------
    stated : str
        In English or German, in any case: "Upper left", "OK rechts", "sextant 5".

    Returns
    -------
    frozenset of str
        Some of :data:`AREAS`; empty for words that are not known. What is named
        with its opposite ("upper and lower") is left out: it tells neither.
    """
    plain = _plain(stated)
    found = set(_named(plain, _table("areas")))
    for match in _NUMBERED.finditer(plain):
        kind = "sextants" if match["kind"].startswith("s") else "quadrants"
        found |= set(_table(kind).get(match["number"], ()))
    for pair in _OPPOSITES:
        if pair <= found:
            found -= pair
    return frozenset(found)


@cache
def task_keys(stated: str) -> frozenset[str]:
    """Return the tasks, some of :data:`TASKS`, that a stated task names; empty = none known."""
    return _named(_plain(stated), _table("tasks"))


def _named(plain: str, table: Patterns) -> frozenset[str]:
    spoken = re.findall(r"[^\W\d_]+", plain)
    return frozenset(
        key
        for key, patterns in table.items()
        if any(fnmatchcase(word, pattern) for word in spoken for pattern in patterns)
    )


def _plain(stated: str) -> str:
    """Return words without case and accents."""
    apart = unicodedata.normalize("NFKD", stated.casefold())
    return "".join(letter for letter in apart if not unicodedata.combining(letter))
