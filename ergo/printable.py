r"""Text from outside (names of files, notes) made safe to show: nothing in it acts on a screen.

Signs that would move the cursor, change colours, turn the reading direction or break the
line are written as ``\x1b`` and the like; so is what is no text at all (bytes of a file's
name that are not UTF-8).
"""

import re

MOST_SHOWN = 120
"""So many characters of what came from outside stand in a message (ours)."""
_ACTING = re.compile(
    r"[\x00-\x1f\x7f-\x9f"  # control characters (ISO/IEC 6429), among them escape
    r"\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069"  # reading direction (Unicode UAX 9)
    r"\u2028\u2029\ufeff"  # ends of lines and paragraphs; byte order mark
    r"\ud800-\udfff]"  # surrogates: no characters
)


def printable(text: str) -> str:
    """Return text on one line, in which nothing but what can be seen is left as it is."""
    return _ACTING.sub(_written, text)


def shortened(text: str) -> str:
    """Return printable text of at most :data:`MOST_SHOWN` characters, for a message."""
    shown = printable(" ".join(text.split()))
    return shown if len(shown) <= MOST_SHOWN else f"{shown[:MOST_SHOWN]} …"


def is_text(text: str) -> bool:
    """Return whether a name is text that every program can store: no stray surrogates."""
    return not any("\ud800" <= sign <= "\udfff" for sign in text)


def _written(found: re.Match[str]) -> str:
    code = ord(found[0])
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}"
