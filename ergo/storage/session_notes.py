"""The notes of a stored session and their history; what was measured is not touched."""

import json
import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from ergo.errors import SessionError
from ergo.notes.notes import Notes
from ergo.session.session import Beside
from ergo.storage.folder import SESSION_FILE
from ergo.storage.session_content import PLACES_FILE
from ergo.storage.tables import plain
from ergo.whole import write_file

HISTORY_FILE = "corrections.jsonl"
"""Every correction made on the page, one line each."""
CHOICES = "choices"
"""Landmarks of the session for other choices of who the operator is."""


def store_notes(folder: Path, notes: Sequence[Notes], beside: Sequence[Beside] = ()) -> None:
    """Replace the notes in a session folder; whole or not at all.

    Parameters
    ----------
    folder : Path
        A session folder.
    notes : sequence of Notes
        One per source.
    beside : sequence of Beside
        The clips beside the first; their notes and starts are stored, too.

    Raises
    ------
    SessionError
        If the folder holds no session that can be read.
    OutputError
        If it cannot be written.
    """
    path = folder / SESSION_FILE
    try:
        described = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise SessionError("cannot be read.", where=f"{path}:") from error
    described["notes"] = [_stated(each) for each in notes]
    for row, each in zip(described.get("beside", []), beside, strict=True):
        row |= {"notes": _stated(each.notes), "start": plain(each.start)}
    write_file(path, json.dumps(described, ensure_ascii=False, indent=1))


def _stated(notes: Notes) -> dict[str, Any]:
    return notes.model_dump(mode="json", exclude_defaults=True)


def has_corrections(folder: Path) -> bool:
    """Return whether a session was corrected on the page; its own notes then count."""
    return (folder / HISTORY_FILE).is_file()


def keep_corrections(old: Path, fresh: Path) -> None:
    """Copy what corrections left, and where recordings lie, into a folder that takes its place.

    Parameters
    ----------
    old, fresh : Path
        Session folders; what ``old`` does not hold is left out.
    """
    for name in (HISTORY_FILE, PLACES_FILE):
        if (old / name).is_file():
            shutil.copyfile(old / name, fresh / name)
    if (old / CHOICES).is_dir():
        shutil.copytree(old / CHOICES, fresh / CHOICES)
