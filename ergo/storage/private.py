"""Who may read what the program writes: the user alone, or a school that shares a server.

On Windows the user's own folders are closed to other users by the system.
"""

import os
from pathlib import Path

_FOLDERS = ("sessions", "changing", "recordings", "analyses", "made")
_OTHERS, _ALL_BUT_OWNER = 0o007, 0o077


def keep_private(*, is_shared: bool) -> None:
    """Let this process and those it starts write folders as 0700 and files as 0600.

    Parameters
    ----------
    is_shared : bool
        A server holds the database: the group may keep what the system gives it.
    """
    now = os.umask(_ALL_BUT_OWNER)
    os.umask(now | _closed(is_shared=is_shared))


def make_private(library: Path, *, is_shared: bool, is_new: bool) -> None:
    """Close a library to other users of this machine; what is not the library's is left alone.

    Parameters
    ----------
    library : Path
        Its folder.
    is_shared : bool
        As above.
    is_new : bool
        The folder was made for it. Else it is closed itself if it holds a library alone.
    """
    if os.name == "nt":
        return
    bits = _closed(is_shared=is_shared)
    if not is_new and not library.stat().st_mode & bits:
        return  # nobody gets further than this
    own = [each for each in library.iterdir() if _is_own(each)]
    others = [each for each in library.iterdir() if not _is_own(each)]
    if all(each.name.startswith(".") for each in others):  # what a file manager leaves
        _close(library, bits)
    for path in own:
        _close(path, bits)
        for inside in path.rglob("*"):
            _close(inside, bits)


def _closed(*, is_shared: bool) -> int:
    return _OTHERS if is_shared else _ALL_BUT_OWNER


def _is_own(path: Path) -> bool:
    return path.name in _FOLDERS or path.name.startswith(("library.", "page."))


def _close(path: Path, bits: int) -> None:
    state = path.lstat()
    if state.st_uid == os.geteuid() and state.st_mode & bits and not path.is_symlink():
        path.chmod(state.st_mode & 0o7777 & ~bits)
