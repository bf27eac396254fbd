"""Every copy of a session in its library, so that deleting leaves none.

Besides the session's own folder: reports, clips and comparisons made of it (``made/``,
all of which can be made again), recordings that were sent through the page
(``recordings/``), and the analyses it came from (``analyses/``).
"""

import json
import shutil
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ergo.alone import if_alone
from ergo.errors import SessionError
from ergo.storage.folder import SESSION_FILE
from ergo.storage.session_content import read_places, source_of
from ergo.whole import lock_of, remove_folder

SESSIONS, MADE, RECORDINGS, ANALYSES = "sessions", "made", "recordings", "analyses"


@dataclass(frozen=True, slots=True)
class Lying:
    """What lies in a library's folder. Sizes in bytes.

    Attributes
    ----------
    sessions : dict of str to int
        Files of each session by its id, with the recordings that were sent for it.
    alone : dict of str to int
        Recordings that were sent and that no session and no analysis needs, by folder name.
    waiting : int
        Recordings of analyses that wait, run or may be repeated.
    made : int
        What can be made again.
    rest : int
        The database and what is small.
    free : int
        Room left on this disk.
    """

    sessions: dict[str, int]
    alone: dict[str, int]
    waiting: int
    made: int
    rest: int
    free: int

    @property
    def total(self) -> int:
        """Return what lies there altogether."""
        known = (*self.sessions.values(), *self.alone.values())
        return sum(known) + self.waiting + self.made + self.rest


def what_lies(library: Path) -> Lying:
    """Return what lies in a library's folder and how much room it takes."""
    used = {each.name: _recordings_of(each, library) for each in _inside(library / SESSIONS)}
    sent = {each.name: size_of(each) for each in _inside(library / RECORDINGS)}
    ours = {name for names in used.values() for name in names}
    waited_for = {name for row in _jobs(library).values() for name in _inputs(row, library)}
    sessions = {
        name: size_of(library / SESSIONS / name) + sum(sent.get(each, 0) for each in names)
        for name, names in used.items()
    }
    alone = {name: size for name, size in sent.items() if name not in ours | waited_for}
    made = size_of(library / MADE)
    waiting = sum(sent[name] for name in sent if name in waited_for - ours)
    counted = sum(size_of(library / SESSIONS / name) for name in used) + sum(sent.values()) + made
    return Lying(
        sessions=sessions,
        alone=alone,
        waiting=waiting,
        made=made,
        rest=size_of(library) - counted,
        free=shutil.disk_usage(library).free,
    )


def size_of(place: Path) -> int:
    """Return the bytes of a file, or of all files in a folder; 0 where there is none."""
    total = 0
    for path in (place, *place.rglob("*")):
        with suppress(OSError):  # it may go while we count
            total += path.lstat().st_size if path.is_file() and not path.is_symlink() else 0
    return total


def remove_copies(library: Path, session_id: str) -> None:
    """Remove every file of a session; its own folder last, so that this can be repeated.

    Raises
    ------
    OSError
        If something cannot be removed.
    """
    folder = library / SESSIONS / session_id
    others = [each for each in _inside(library / SESSIONS) if each != folder]
    jobs = {path: row for path, row in _jobs(library).items() if session_id in json.dumps(row)}
    used = _recordings_of(folder, library)
    used |= {name for row in jobs.values() for name in _inputs(row, library)}
    needed = {name for other in others for name in _recordings_of(other, library)}
    for name in used - needed:
        _remove(library / RECORDINGS / name)
    for path in jobs:
        remove_folder(path.with_suffix(".out"))
        path.unlink(missing_ok=True)
    clear_made(library)
    _remove(folder)


def clear_made(library: Path) -> None:
    """Remove what can be made again, but for what is being made at the moment."""
    for place in _inside(library / MADE):
        lock = lock_of(place)
        if not lock.exists():
            _remove(place)
            continue
        with if_alone(lock) as is_ours:
            if is_ours:
                shutil.rmtree(place, ignore_errors=True)


def clear_alone(library: Path) -> None:
    """Remove recordings that no session and no analysis needs."""
    for name in what_lies(library).alone:
        _remove(library / RECORDINGS / name)


def _remove(folder: Path) -> None:
    if folder.is_dir():
        shutil.rmtree(folder)
    else:
        folder.unlink(missing_ok=True)


def _inside(folder: Path) -> list[Path]:
    return sorted(folder.iterdir()) if folder.is_dir() else []


def _recordings_of(folder: Path, library: Path) -> set[str]:
    """Return which of the recordings sent through the page a session was made of."""
    return set(_sent(_paths_of(folder), library))


def _paths_of(folder: Path) -> list[Path]:
    try:
        rows = json.loads((folder / SESSION_FILE).read_text(encoding="utf-8"))["sources"]
        places = read_places(folder, len(rows))
        return [source_of(row, known, folder).path for row, known in zip(rows, places, strict=True)]
    except (OSError, ValueError, KeyError, TypeError, RecursionError, SessionError):
        return []  # a damaged session must be deletable, too


def _inputs(row: dict[str, Any], library: Path) -> list[str]:
    paths = row.get("inputs")
    return list(_sent([Path(str(each)) for each in paths], library)) if paths else []


def _sent(paths: Iterable[Path], library: Path) -> Iterator[str]:
    recordings = (library / RECORDINGS).resolve()
    for path in paths:
        with suppress(OSError, ValueError):
            inside = path.resolve().relative_to(recordings)
            if len(inside.parts) > 1:
                yield inside.parts[0]


def _jobs(library: Path) -> dict[Path, dict[str, Any]]:
    """Return what the files of analyses state, as far as they can be read."""
    found = {}
    for path in _inside(library / ANALYSES):
        if path.suffix == ".json":
            with suppress(OSError, ValueError, RecursionError):
                row = json.loads(path.read_text(encoding="utf-8"))
                if isinstance(row, dict):
                    found[path] = row
    return found
