"""Read and write notes: ``NAME.toml`` beside a file, ``ergo.toml`` in its folder.

NAME is the file's name without its last ending: ``scaling.toml`` belongs to
``scaling.mp4`` (and to ``scaling.jpg``, if both lie there). What the nearer file
states replaces, key by top-level key, what ``ergo.toml`` states for the folder.
"""

import tomllib
from pathlib import Path
from typing import Any

import tomli_w
from pydantic import ValidationError

from ergo.errors import NotesError
from ergo.notes.notes import Notes
from ergo.notes.refusal import as_one_line
from ergo.whole import write_file

FOLDER_NOTES = "ergo.toml"


def notes_path(source: Path) -> Path:
    """Return where the notes of a clip or still lie: NAME.toml beside it."""
    return source.with_suffix(".toml")


def read_notes(source: Path) -> Notes:
    """Return what the notes beside a clip or still, and those of its folder, state.

    Parameters
    ----------
    source : Path
        The clip or still; it need not exist any more.

    Returns
    -------
    stated : Notes
        Empty where there is no notes file.

    Raises
    ------
    NotesError
        If a notes file cannot be read, or has an unknown key or impossible value.
    """
    folder_notes, own_notes = source.parent / FOLDER_NOTES, notes_path(source)
    stated = _stated(folder_notes)
    if own_notes != folder_notes:
        stated |= _stated(own_notes)
    return Notes.model_validate(stated)


def write_notes(notes: Notes, path: Path) -> None:
    """Write notes so that reading them gives the same again; whole or not at all.

    Parameters
    ----------
    notes : Notes
    path : Path
        Replaced if it exists.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    stated = notes.model_dump(mode="json", exclude_defaults=True)
    write_file(path, tomli_w.dumps(stated))


def _stated(path: Path) -> dict[str, Any]:
    """Return the checked content of one notes file; nothing if there is none."""
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        return {}
    except OSError as cause:
        raise NotesError(f"cannot be read ({cause.strerror}).", where=f"{path}:") from cause
    except UnicodeDecodeError as cause:
        raise NotesError(
            "is not UTF-8 text.", where=f"{path}:", remedy="Save it as UTF-8."
        ) from cause
    except tomllib.TOMLDecodeError as cause:
        raise NotesError(
            f"is not valid TOML: {cause}.", where=f"{path}:", remedy="Text values need quotes."
        ) from cause
    try:
        Notes.model_validate(content)
    except ValidationError as cause:
        raise NotesError(as_one_line(cause), where=f"{path}:") from cause
    return content
