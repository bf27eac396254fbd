"""Landmarks for each choice of who the operator is: kept, and brought back when asked for.

A session folder holds the landmarks of one choice. As soon as another person is
chosen, ``choices/KEY/`` keeps a copy for every choice that was watched, and
``choices/current`` names the one that the session shows. Nothing measured is lost
by choosing, and going back to an earlier choice needs no watching. Notes are those of
all sources everywhere here, those of clips beside the first last.
"""

import hashlib
import json
import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from ergo.errors import SessionError
from ergo.notes.notes import Notes
from ergo.storage.folder import SESSION_FILE
from ergo.storage.session_folder import LANDMARK_FILE
from ergo.storage.session_notes import CHOICES
from ergo.whole import being_made, fresh_file, write_file, write_folder

_CURRENT = "current"
_FILES = (LANDMARK_FILE, SESSION_FILE)
_OF_WATCHING = ("versions", "damage", "doubt")
"""What the description of a session says of how it was watched."""


def remember_choice(folder: Path, notes: Sequence[Notes]) -> None:
    """Keep the landmarks that the session shows as those of the operators in ``notes``.

    To be called before another operator is stated; does nothing from the second time on.
    """
    if not (folder / CHOICES / _CURRENT).is_file():
        _keep(folder, folder, _key(notes))
        _name_current(folder, _key(notes))


def keep_choice(folder: Path, watched: Path) -> None:
    """Keep landmarks that were watched for the operators that their own notes state.

    Parameters
    ----------
    folder : Path
        The session folder.
    watched : Path
        A session folder of the same recordings.
    """
    _keep(folder, watched, _key(_notes_in(watched / SESSION_FILE)))


def is_choice_shown(folder: Path, notes: Sequence[Notes]) -> bool:
    """Return whether the landmarks that the session shows are those of these operators."""
    return _current(folder) in (None, _key(notes))


def bring_back_choice(folder: Path, notes: Sequence[Notes]) -> bool:
    """Let the session show the landmarks of these operators; False if they were never watched."""
    key = _key(notes)
    kept = folder / CHOICES / key
    if not (kept / SESSION_FILE).is_file():
        return False
    watched = _described(kept / SESSION_FILE)
    shown = _described(folder / SESSION_FILE)
    shown |= {part: watched[part] for part in _OF_WATCHING}
    with fresh_file(folder / LANDMARK_FILE) as fresh:
        shutil.copyfile(kept / LANDMARK_FILE, fresh)
    write_file(folder / SESSION_FILE, json.dumps(shown, ensure_ascii=False, indent=1))
    _name_current(folder, key)
    return True


def sources_to_watch(folder: Path, notes: Sequence[Notes]) -> list[int]:
    """Return the sources in which the notes state another operator than is shown."""
    current = _current(folder)
    if current is None:
        return []
    shown = _notes_in(folder / CHOICES / current / SESSION_FILE)
    return [
        number
        for number, (now, then) in enumerate(zip(notes, shown, strict=True))
        if now.operator != then.operator
    ]


def _key(notes: Sequence[Notes]) -> str:
    stated = [each.model_dump(mode="json", include={"operator"}) for each in notes]
    return hashlib.sha256(json.dumps(stated).encode()).hexdigest()[:24]


def _current(folder: Path) -> str | None:
    try:
        return (folder / CHOICES / _CURRENT).read_text(encoding="ascii")
    except OSError:
        return None


def _name_current(folder: Path, key: str) -> None:
    write_file(folder / CHOICES / _CURRENT, key)


def _keep(folder: Path, watched: Path, key: str) -> None:
    place = folder / CHOICES / key

    def copy(fresh: Path) -> None:
        for name in _FILES:
            shutil.copyfile(watched / name, fresh / name)

    with being_made(place):
        write_folder(place, copy)


def _notes_in(path: Path) -> list[Notes]:
    described = _described(path)
    stated = [*described["notes"], *(row["notes"] for row in described.get("beside", []))]
    return [Notes.model_validate(each) for each in stated]


def _described(path: Path) -> dict[str, Any]:
    try:
        described: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise SessionError("cannot be read.", where=f"{path}:") from error
    return described
