"""A folder that appears whole or not at all."""

import os
import shutil
from collections.abc import Callable
from pathlib import Path

from ergo.errors import OutputError

SESSION_FILE = "session.json"


def check_free(folder: Path, *, replace: bool, mark: str = SESSION_FILE) -> None:
    """Refuse a folder that exists, unless it is ours and may be replaced.

    Parameters
    ----------
    folder : Path
    replace : bool
    mark : str
        Name of the file by which a folder is known as ours.

    Raises
    ------
    OutputError
        If the folder exists and ``replace`` is False, or if it holds something
        that is not a session of ours.
    """
    if not folder.exists():
        return
    if not folder.is_dir():
        raise OutputError("is a file.", where=f"{folder}:", remedy="Name a folder with --out.")
    if not any(folder.iterdir()):
        return
    if not (folder / mark).is_file():
        raise OutputError(
            "holds other files.", where=f"{folder}:", remedy="Name a new folder with --out."
        )
    if not replace:
        raise OutputError(
            "holds a result already.",
            where=f"{folder}:",
            remedy="Add --force to replace it, or name another folder with --out.",
        )


def check_file_free(file: Path, *, replace: bool) -> None:
    """Refuse a file that exists, unless it may be replaced.

    Raises
    ------
    OutputError
        If the file exists and ``replace`` is False, or if it is a folder.
    """
    if file.is_dir():
        raise OutputError("is a folder.", where=f"{file}:", remedy="Name a file with --out.")
    if file.exists() and not replace:
        raise OutputError(
            "exists already.",
            where=f"{file}:",
            remedy="Add --force to replace it, or name another file with --out.",
        )


def workshop(folder: Path) -> Path:
    """Return the hidden folder beside ``folder`` in which it is being made."""
    return folder.parent / f".{folder.name}.unfinished"


def write_whole(folder: Path, write: Callable[[Path], None]) -> None:
    """Let ``write`` fill a new folder, then put it in the place of ``folder``.

    Until everything is written the old folder, if any, stays as it is; when
    ``write`` fails, what it left is removed.

    Raises
    ------
    OutputError
        If the place cannot be written, or the disk is full.
    """
    fresh = workshop(folder) / "fresh"
    try:
        shutil.rmtree(fresh, ignore_errors=True)
        fresh.mkdir(parents=True)
        write(fresh)
        _swap(fresh, folder)
    except OSError as error:
        shutil.rmtree(fresh, ignore_errors=True)
        raise OutputError(
            f"cannot be written ({error.strerror or error}).",
            where=f"{folder}:",
            remedy="Choose a place with write permission and enough room.",
        ) from error
    except BaseException:
        shutil.rmtree(fresh, ignore_errors=True)
        raise


def _swap(fresh: Path, folder: Path) -> None:
    old = workshop(folder) / "old"
    shutil.rmtree(old, ignore_errors=True)
    if folder.exists():
        os.replace(folder, old)
    try:
        os.replace(fresh, folder)
    except OSError:
        if old.exists():
            os.replace(old, folder)
        raise
    shutil.rmtree(old, ignore_errors=True)


def clear_workshop(folder: Path) -> None:
    """Remove what an unfinished analysis of ``folder`` had kept."""
    shutil.rmtree(workshop(folder), ignore_errors=True)
