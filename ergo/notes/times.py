"""One way of reading times, for notes and page: in seconds, or as places in a clip are shown.

``static/times.js`` of the page reads the same; one list of examples tests both.
"""

import re
from typing import Any

_TIME = re.compile(
    r"(?P<sign>-?)"
    r"(?:(?:(?P<hours>\d{1,3}):(?P<minutes>[0-5]\d)|(?P<long_minutes>\d{1,4}))"
    r":(?P<rest>[0-5]\d(?:\.\d{1,6})?)"
    r"|(?P<seconds>\d{1,7}(?:\.\d{0,6})?|\.\d{1,6}))(?: ?s)?",
    re.ASCII,
)


def seconds_of(text: str) -> float | None:
    """Return a time in seconds; None where the text is none.

    Parameters
    ----------
    text : str
        ``"5"``, ``"2.5"``, ``"2,5 s"``, ``"0:05"``, ``"12:07.5"``, ``"1:02:03"``; with
        ``-`` or ``−`` in front below 0.

    Returns
    -------
    float or None
        [s]
    """
    written = text.strip().replace(",", ".").replace("\N{MINUS SIGN}", "-")
    found = _TIME.fullmatch(written)
    if found is None:
        return None
    part = {name: float(value or 0) for name, value in found.groupdict().items() if name != "sign"}
    minutes = 60 * part["hours"] + part["minutes"] + part["long_minutes"]
    seconds = 60 * minutes + part["rest"] + part["seconds"]
    return -seconds if found["sign"] else seconds


def as_seconds(stated: Any) -> Any:
    """Return a stated time in seconds; what is no such text as it is, to be checked further."""
    seconds = seconds_of(stated) if isinstance(stated, str) else None
    return stated if seconds is None else seconds
