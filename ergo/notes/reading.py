"""Read and write notes: ``NAME.toml`` beside a file, ``ergo.toml`` in its folder.

NAME is the file's name without its last ending: ``scaling.toml`` belongs to
``scaling.mp4`` (and to ``scaling.jpg``, if both lie there). What the nearer file
states replaces, key by top-level key, what ``ergo.toml`` states for the folder.
"""

import errno
import tomllib
from pathlib import Path
from typing import Any

import tomli_w
from pydantic import ValidationError

from ergo.errors import NotesError
from ergo.notes.notes import Notes
from ergo.notes.refusal import as_one_line
from ergo.printable import shortened
from ergo.whole import write_file

FOLDER_NOTES = "ergo.toml"
MOST_BYTES = 256 * 1024
MOST_IN_A_LINE = 4000
MOST_DEEP = 12
"""What notes may hold, far above any need; what is more takes long to read (ours)."""
_NOT_THERE = (errno.ENOENT, errno.ENOTDIR, errno.ENAMETOOLONG)
"""The last: the notes' name would be longer than that of the recording, which just fits."""


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
        text = _text_of(path)
    except OSError as cause:
        if cause.errno in _NOT_THERE:
            return {}
        raise NotesError(f"cannot be read ({cause.strerror}).", where=f"{path}:") from cause
    except UnicodeDecodeError as cause:
        raise NotesError(
            "is not UTF-8 text.", where=f"{path}:", remedy="Save it as UTF-8."
        ) from cause
    content = _parsed(text, path)
    try:
        Notes.model_validate(content)
    except ValidationError as cause:
        raise NotesError(as_one_line(cause), where=f"{path}:") from cause
    return content


def _text_of(path: Path) -> str:
    """Return what a notes file holds; nothing is read of what cannot be notes."""
    size = path.stat().st_size
    if not path.is_file():
        raise NotesError("is no file.", where=f"{path}:", remedy="Give it another name.")
    if size > MOST_BYTES:
        raise NotesError(
            f"is larger than {MOST_BYTES // 1024} kB; these are no notes.", where=f"{path}:"
        )
    return path.read_text(encoding="utf-8-sig")


def _parsed(text: str, path: Path) -> dict[str, Any]:
    if max(map(len, text.split("\n"))) > MOST_IN_A_LINE:
        raise NotesError(f"has a line of more than {MOST_IN_A_LINE} characters.", where=f"{path}:")
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as cause:
        raise NotesError(
            f"is not valid TOML: {shortened(str(cause))}.",
            where=f"{path}:",
            remedy="Text values need quotes.",
        ) from cause
    except (ValueError, RecursionError) as cause:
        raise NotesError(
            "holds a number with too many digits, or brackets within brackets without end.",
            where=f"{path}:",
        ) from cause
    if _is_deep(content):
        raise NotesError("holds tables within tables without end.", where=f"{path}:")
    return content


def _is_deep(content: dict[str, Any]) -> bool:
    """Return whether tables lie deeper in each other than any notes' do."""
    here: list[Any] = [content]
    for _ in range(MOST_DEEP):
        inner = [list(each.values()) if isinstance(each, dict) else each for each in here]
        here = [one for each in inner for one in each if isinstance(one, dict | list)]
        if not here:
            return False
    return True
