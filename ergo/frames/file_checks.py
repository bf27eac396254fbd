"""What is checked of any file before a library opens it."""

import contextlib
import hashlib
from collections.abc import Iterator
from pathlib import Path

from ergo.errors import ErgoError
from ergo.printable import is_text, printable

MOST_PIXELS = 36_000_000
"""A still may have this many pixels (ours)."""
MOST_PIXELS_OF_CLIPS = 12_000_000
"""A picture of a clip, of which a decoder may have to keep 17; 4K has 9 million (ours)."""
MOST_PIXELS_OF_PHONES = 60_000_000
"""A still in the formats in which phones deliver 48 to 50 million pixels (ours)."""
MOST_ELONGATED = 50
"""The longer side of a picture may be this many times the shorter (ours)."""


def check_readable(path: Path, name: str, error: type[ErgoError]) -> None:
    """Raise ``error`` if the file has vanished, is empty or may not be read.

    Parameters
    ----------
    path : Path
    name : str
        Name shown to the user.
    error : type of ErgoError
    """
    with _told(name, error), path.open("rb") as file:
        is_empty = not file.read(1)
    if is_empty:
        raise error("is empty (0 bytes).", where=f"{name}:", remedy="Copy it again.")


def check_name(path: Path, error: type[ErgoError]) -> None:
    """Raise ``error`` if a name is no text: bytes that are not UTF-8 cannot be stored as one."""
    if not is_text(str(path)):
        raise error(
            "has a name that is not UTF-8.",
            where=f"{printable(str(path))}:",
            remedy="Rename it.",
        )


def check_declared(
    width_px: int, height_px: int, name: str, error: type[ErgoError], most: int = MOST_PIXELS
) -> None:
    """Raise ``error`` if a file declares pictures that are too large or too narrow to be decoded.

    To be called before anything is decoded: a few bytes can unfold into gigabytes.

    Parameters
    ----------
    width_px, height_px : int
        As the head of the file states them, with square pixels. [px]
    name : str
        Name shown to the user.
    error : type of ErgoError
    most : int
        Pixels that are allowed.
    """
    if width_px * height_px > most:
        raise error(
            f"has too many pixels; save it with at most {most // 1_000_000} million.",
            where=f"{name}:",
        )
    shorter, longer = sorted((width_px, height_px))
    if longer > MOST_ELONGATED * shorter:
        raise error(
            f"is {width_px} x {height_px} px, too narrow to show anybody.",
            where=f"{name}:",
            remedy="Copy it again from the camera.",
        )


def sha256_of(path: Path, name: str, error: type[ErgoError]) -> str:
    """Return the SHA-256 hash of a file, in hexadecimal; errors as above."""
    with _told(name, error), path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


@contextlib.contextmanager
def _told(name: str, error: type[ErgoError]) -> Iterator[None]:
    """Turn an error of the file system into one clear line."""
    try:
        yield
    except FileNotFoundError as cause:
        raise error(
            "is no longer there.", where=f"{name}:", remedy="Check that its drive is connected."
        ) from cause
    except OSError as cause:
        raise error(
            f"cannot be read ({cause.strerror}).", where=f"{name}:", remedy="Check who may read it."
        ) from cause
