"""The notes of a stored session, changed without touching what was measured."""

import json
import os
from collections.abc import Sequence
from pathlib import Path

from ergo.errors import OutputError, SessionError
from ergo.notes.notes import Notes
from ergo.storage.folder import SESSION_FILE


def store_notes(folder: Path, notes: Sequence[Notes]) -> None:
    """Replace the notes in a session folder; whole or not at all.

    Parameters
    ----------
    folder : Path
        A session folder.
    notes : sequence of Notes
        One per source.

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
    described["notes"] = [each.model_dump(mode="json", exclude_defaults=True) for each in notes]
    fresh = path.with_name(f".{path.name}.unfinished")
    try:
        fresh.write_text(json.dumps(described, ensure_ascii=False, indent=1), encoding="utf-8")
        os.replace(fresh, path)
    except OSError as error:
        raise OutputError(f"cannot be written ({error.strerror}).", where=f"{path}:") from error
    finally:
        fresh.unlink(missing_ok=True)
