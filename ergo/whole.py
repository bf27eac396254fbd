"""A file or folder that appears whole or not at all: the one way in which results are written.

Something new is made beside its place and takes that place when all of it has reached
the disk; until then what was there stays. A program that is killed leaves at most a
hidden ``.NAME.unfinished`` behind.
"""

import hashlib
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from uuid import uuid4

from ergo.errors import OutputError

_LONGEST = 255
"""Bytes that a file's name may have on the usual file systems."""


def write_file(path: Path, content: bytes | str) -> None:
    """Write a small file; text as UTF-8.

    Raises
    ------
    OutputError
        If it cannot be written; what was there is as it was.
    """
    with fresh_file(path) as fresh:
        fresh.write_bytes(content.encode() if isinstance(content, str) else content)


@contextmanager
def fresh_file(path: Path) -> Iterator[Path]:
    """Give a new file to be written, which takes the place of ``path`` when all went well.

    Parameters
    ----------
    path : Path
        Replaced if it exists, and then keeps its permissions.

    Raises
    ------
    OutputError
        If it cannot be written; what was there is as it was.
    """
    fresh = path.with_name(_hidden(path.name, f"{uuid4().hex[:8]}.unfinished"))
    with _told(path):
        try:
            fresh.touch(exist_ok=False)
            yield fresh
            _reach_the_disk(fresh)
            if path.is_file():
                shutil.copymode(path, fresh)
            os.replace(fresh, path)
        finally:
            with suppress(OSError):
                fresh.unlink(missing_ok=True)


def write_folder(folder: Path, write: Callable[[Path], None]) -> None:
    """Let ``write`` fill a new folder, then put it in the place of ``folder``.

    Raises
    ------
    OutputError
        If the place cannot be written, or the disk is full; what was there is as it was.
    """
    fresh = workshop(folder) / "fresh"
    with _told(folder):
        try:
            put_back(folder)
            shutil.rmtree(fresh, ignore_errors=True)
            fresh.mkdir(parents=True)
            write(fresh)
            _swap(fresh, folder)
        finally:
            shutil.rmtree(fresh, ignore_errors=True)


def workshop(folder: Path) -> Path:
    """Return the hidden folder beside ``folder`` in which it is being made."""
    return folder.with_name(_hidden(folder.name, "unfinished"))


def clear_workshop(folder: Path) -> None:
    """Remove what an unfinished ``folder`` had kept."""
    put_back(folder)
    shutil.rmtree(workshop(folder), ignore_errors=True)


def put_back(folder: Path) -> None:
    """Put a folder back that a killed program had moved away and not yet replaced."""
    old = workshop(folder) / "old"
    if old.is_dir() and not folder.exists():
        os.replace(old, folder)


def _swap(fresh: Path, folder: Path) -> None:
    old = workshop(folder) / "old"
    shutil.rmtree(old, ignore_errors=True)
    if folder.exists():
        os.replace(folder, old)
    try:
        os.replace(fresh, folder)
    except OSError:
        put_back(folder)
        raise
    shutil.rmtree(old, ignore_errors=True)


def _hidden(name: str, ending: str) -> str:
    """Return ``.NAME.ENDING``; a name too long for that is shortened, and stays unlike others."""
    hidden = f".{name}.{ending}"
    if len(os.fsencode(hidden)) <= _LONGEST:
        return hidden
    return f".{hashlib.sha256(os.fsencode(name)).hexdigest()[:24]}.{ending}"


def _reach_the_disk(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())


@contextmanager
def _told(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise OutputError(
            f"cannot be written ({error.strerror or error}).",
            where=f"{path}:",
            remedy="Choose a place with write permission and enough room.",
        ) from error
