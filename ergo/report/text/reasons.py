"""Errors, doubts and remarks, which are raised and stored in English, in the reader's language.

Their English texts stand in the catalogue too, with named places for figures; a
text is recognised by them, and its figures are put into the same message of the
reader's language. What is not in the catalogue stays as it is.
"""

import re
from functools import cache, partial

from ergo.report.text.words import Words, words

_KIND = "error."
_NAMED = {
    "mark": "setup.mark",
    "unknown": "setup.name",
    "hand": "plan.hands",
    "other_hand": "plan.hands",
}
"""Places in the messages whose figures have names for readers, and where those stand."""
_PLACE = re.compile(r"\{(\w+)\}")


def in_words(text: str, own: Words) -> str:
    """Return an English reason in the reader's language, sentence by sentence.

    Parameters
    ----------
    text : str
        As raised: perhaps a place, what is wrong, and what to do next.
    own : Words
    """
    if own.language == "en":
        return text
    for key, pattern in _patterns():
        text = pattern.sub(partial(_told, key, own), text)
    return text


def _told(key: str, own: Words, found: re.Match[str]) -> str:
    figures = {place: _figure(place, text, own) for place, text in found.groupdict().items()}
    return own.catalogue[key].format(**figures)


def _figure(place: str, text: str, own: Words) -> str:
    """Return a figure; marks and results of a set-up by their names for readers."""
    if place not in _NAMED:
        return text
    stem, _, number = text.partition("[")
    return f"{own.name(_NAMED[place], stem)} {number.removesuffix(']')}".strip()


@cache
def _patterns() -> tuple[tuple[str, re.Pattern[str]], ...]:
    """Return every reason's key and how its English text is recognised, the longest first."""
    known = [(key, text) for key, text in words("en").catalogue.items() if key.startswith(_KIND)]
    known.sort(key=lambda each: -len(_PLACE.sub("", each[1])))
    return tuple((key, _pattern(text)) for key, text in known)


def _pattern(text: str) -> re.Pattern[str]:
    parts = _PLACE.split(text)  # plain text and names of places by turns
    written = [f"(?P<{part}>.+?)" if at % 2 else re.escape(part) for at, part in enumerate(parts)]
    return re.compile(rf"(?<!\S){''.join(written)}(?!\S)")
