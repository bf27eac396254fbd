"""A file or folder that appears whole or not at all: the one way in which results are written.

Something new is made beside its place and takes that place when all of it has reached
the disk; until then what was there stays. A program that is killed leaves at most a
hidden ``.NAME.unfinished`` behind.
"""

import hashlib
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from uuid import uuid4

from ergo.alone import alone, if_alone
from ergo.errors import OutputError

_LONGEST = 255
"""Bytes that a file's name may have on the usual file systems."""
_OLD, _LOCK = "old", "lock"
_PATIENCE_S = 2.0
"""For a run that is ending. [s]"""


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
        Replaced if it exists, and then keeps its permissions. Of a link, where it leads.

    Raises
    ------
    OutputError
        If it cannot be written; what was there is as it was.
    """
    path = path.resolve() if path.is_symlink() else path
    fresh = path.with_name(_hidden(path.name, f"{uuid4().hex[:8]}.unfinished"))
    with _told(path):
        if path.exists() and not path.is_file():
            raise OutputError("is no file.", where=f"{path}:", remedy="Name another place.")
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

    Where other programs may do the same, call it within :func:`being_made`.

    Raises
    ------
    OutputError
        If the place cannot be written, or the disk is full; what was there is as it was.
    """
    place, fresh = _settled(folder), workshop(folder) / "fresh"
    with _told(folder):
        try:
            _put_back(place)
            shutil.rmtree(fresh, ignore_errors=True)
            fresh.mkdir(parents=True)
            write(fresh)
            _swap(fresh, place)
        finally:
            shutil.rmtree(fresh, ignore_errors=True)


def workshop(folder: Path) -> Path:
    """Return the hidden folder beside ``folder`` in which it is being made."""
    place = _settled(folder)
    return place.parent / _hidden(place.name, "unfinished")


def _settled(folder: Path) -> Path:
    """Return the same place by a path that holds while the folder itself is away.

    ``out/../out`` leads nowhere as soon as the folder has been moved.
    """
    if folder.name in ("", ".."):
        return folder.resolve()
    return folder.parent.resolve() / folder.name


@contextmanager
def being_made(folder: Path) -> Iterator[None]:
    """Be the only program that makes a folder; at the end what it kept to go on is removed.

    Where the block fails, what lies in the :func:`workshop` stays for the next try.

    Raises
    ------
    OutputError
        If another program is making it, or the place cannot be written.
    """
    refusal = OutputError(
        "is being written by another run.",
        where=f"{folder}:",
        remedy="Wait until that has finished, or name another folder.",
    )
    try:
        with ExitStack() as held:
            with _told(folder):
                workshop(folder).mkdir(parents=True, exist_ok=True)
                lock = lock_of(workshop(folder))
                held.enter_context(alone(lock, refusal, patience_s=_PATIENCE_S))
                _put_back(folder)
            yield
            for kept in workshop(folder).iterdir():
                if kept.is_dir():
                    shutil.rmtree(kept, ignore_errors=True)
    finally:
        with suppress(OSError):
            workshop(folder).rmdir()  # stays while anything is in it


def lock_of(place: Path) -> Path:
    """Return the lock of a :func:`workshop`, which is there while somebody makes a folder."""
    return place / _LOCK


def remove_folder(folder: Path) -> None:
    """Remove a folder and what an unfinished one had kept."""
    shutil.rmtree(folder, ignore_errors=True)
    shutil.rmtree(workshop(folder), ignore_errors=True)


def recover(folder: Path) -> None:
    """Put a folder back that a killed program had moved away and not yet replaced."""
    if (workshop(folder) / _OLD).is_dir() and not folder.exists():
        with _told(folder), if_alone(workshop(folder) / _LOCK) as is_ours:
            if is_ours:
                _put_back(folder)


def _put_back(folder: Path) -> None:
    old = workshop(folder) / _OLD
    if old.is_dir() and not folder.exists():
        os.replace(old, folder)


def _swap(fresh: Path, folder: Path) -> None:
    old = workshop(folder) / _OLD
    shutil.rmtree(old, ignore_errors=True)
    if folder.exists() and not folder.is_dir():
        raise OutputError("is no folder.", where=f"{folder}:", remedy="Name another place.")
    if folder.exists():
        os.replace(folder, old)
    try:
        os.replace(fresh, folder)
    except OSError:
        _put_back(folder)
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
