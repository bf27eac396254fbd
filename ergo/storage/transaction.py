"""Several files of a session folder replaced together: all of them, or none.

What a correction may replace is put by first, under a hidden name. If something goes
wrong, all of it is put back; if the program was killed, the next start does so.
"""

import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from ergo.errors import OutputError
from ergo.storage.folder import SESSION_FILE
from ergo.storage.session_folder import LANDMARK_FILE
from ergo.storage.session_notes import CHOICES, HISTORY_FILE
from ergo.whole import workshop, write_folder

REPLACED = (SESSION_FILE, LANDMARK_FILE, HISTORY_FILE, f"{CHOICES}/current")
"""What corrections replace, by path in the session folder; no other file is ever put back."""
_BEFORE, _OVER = ".before", ".over"
_LIST = "files.json"


@contextmanager
def all_or_nothing(folder: Path) -> Iterator[None]:
    """Let the files in ``REPLACED`` be replaced; if that fails, all are as they were.

    One at a time: whoever replaces them holds the lock of the open sessions.

    Parameters
    ----------
    folder : Path
        A session folder.

    Raises
    ------
    OutputError
        If they cannot be put by; nothing was replaced then.
    """
    put_back_unfinished(folder)
    try:
        write_folder(folder / _BEFORE, lambda fresh: _put_by(folder, fresh))
    finally:
        with suppress(OSError):
            workshop(folder / _BEFORE).rmdir()
    try:
        yield
    except BaseException:
        put_back_unfinished(folder)
        raise
    _forget(folder)


def put_back_unfinished(folder: Path) -> None:
    """Put back what a change that did not come to its end had replaced, if there was one.

    Raises
    ------
    OutputError
        If it cannot be put back; what was put by is kept then.
    """
    before = folder / _BEFORE
    try:
        if not (before / _LIST).is_file():
            return
        listed = json.loads((before / _LIST).read_text(encoding="utf-8"))
        for name in REPLACED:
            if name not in listed:
                (folder / name).unlink(missing_ok=True)
            elif (before / _plain(name)).is_file():  # else it was put back already
                os.replace(before / _plain(name), folder / name)  # needs no room on the disk
        _forget(folder)
    except (OSError, ValueError, TypeError) as error:
        raise OutputError(
            "holds a change that was not finished and cannot be taken back.",
            where=f"{folder}:",
            remedy="Check its permissions, then try again.",
        ) from error


def _put_by(folder: Path, fresh: Path) -> None:
    there = [name for name in REPLACED if (folder / name).is_file()]
    for name in there:
        _link(folder / name, fresh / _plain(name))
    (fresh / _LIST).write_text(json.dumps(there), encoding="utf-8")


def _link(old: Path, new: Path) -> None:
    """Give a file a second name: files are replaced, never written to, so it keeps the content."""
    try:
        os.link(old, new)
    except OSError:  # not on every file system
        shutil.copyfile(old, new)


def _forget(folder: Path) -> None:
    """End the change: from the renaming on, nothing of it is put back any more."""
    shutil.rmtree(folder / _OVER, ignore_errors=True)
    os.replace(folder / _BEFORE, folder / _OVER)
    shutil.rmtree(folder / _OVER, ignore_errors=True)


def _plain(name: str) -> str:
    return name.replace("/", "-")
