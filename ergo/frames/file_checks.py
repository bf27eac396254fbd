"""What is checked of any file before a library opens it."""

import contextlib
import hashlib
from collections.abc import Iterator
from pathlib import Path

from ergo.errors import ErgoError


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
