"""The library's session folders: copied in whole, packed, unpacked."""

import json
import os
import shutil
import stat
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from datetime import date
from pathlib import Path, PurePosixPath
from typing import Any

from ergo.errors import InputError, LibraryError
from ergo.frames.frame import SourceFacts
from ergo.library.entry import Profile, tidy_name
from ergo.library.rows import Described
from ergo.storage.folder import SESSION_FILE
from ergo.storage.session_content import forget_places, may_travel, travelling, write_places
from ergo.storage.session_folder import StoredSession
from ergo.whole import fresh_file

PACK_FILE = "library.json"
PACK_SCHEMA = 1
LARGEST_BYTES = 20 * 1024**3
"""A pack that would unpack to more than this is refused."""

_INSIDE = "session"
_NO_LONGER_KEPT = frozenset({"chair_height_cm", "stool_height_cm", "neutral_session"})
_OURS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_BROKEN = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError)
"""What reading a damaged zip may end with; the last where it asks for a password."""


def copy_in(source: Path, folder: Path, sources: Sequence[SourceFacts]) -> None:
    """Copy a session folder, made of these recordings, and make sure that it reached the disk."""
    folder.mkdir()
    for path in sorted(source.rglob("*")):
        copy = folder / path.relative_to(source)
        if path.is_dir():
            copy.mkdir()
        else:
            with path.open("rb") as original, copy.open("wb") as file:
                shutil.copyfileobj(original, file)
                file.flush()
                os.fsync(file.fileno())
    forget_places(folder)
    write_places(folder, sources, is_kept=True)


def operator_of(stored: StoredSession, wanted: str | None) -> str | None:
    """Return whose session it is: as asked for, else as its notes state; both must agree."""
    noted = {tidy_name(notes.pseudonym) for notes in stored.notes if notes.pseudonym}
    if wanted is None:
        return noted.pop() if len(noted) == 1 else None
    if noted and tidy_name(wanted) not in noted:
        raise LibraryError(
            f'is of "{min(noted)}" by its notes, not of "{wanted}".',
            where=f"{stored.recording.timeline.sources[0]}:",
            remedy="Leave the operator out, or correct the notes and score the session again.",
        )
    return wanted


def pack(folder: Path, described: Described, target: Path) -> None:
    """Write one zip with a session folder and what the library knows of it.

    Raises
    ------
    OutputError
        If the zip cannot be written.
    """
    facts = {"schema": PACK_SCHEMA, **asdict(described)}
    with (
        fresh_file(target) as fresh,
        zipfile.ZipFile(fresh, "w", zipfile.ZIP_DEFLATED) as archive,
    ):
        archive.writestr(PACK_FILE, json.dumps(facts, ensure_ascii=False, default=str))
        for inside, content in travelling(folder):
            name = str(PurePosixPath(_INSIDE, inside))
            if isinstance(content, bytes):
                archive.writestr(name, content)
            else:
                archive.write(content, name)


_FORGED = (KeyError, ValueError, TypeError, AttributeError, RecursionError)


def pack_facts(path: Path) -> Described:
    """Return what a zip that :func:`pack` wrote says of its session.

    Raises
    ------
    LibraryError
        If it is no such zip, a damaged one or one of a newer version.
    """
    try:
        with _opened(path) as archive:
            facts: dict[str, Any] = json.loads(archive.read(PACK_FILE))
        _check_age(facts, path)
        day, operator = facts["recorded_on"], facts["operator"]
        return Described(
            name=_text(facts["name"]),
            tags=tuple(map(_text, facts["tags"])),
            operator=_profile(operator) if operator else None,
            recorded_on=date.fromisoformat(day) if day else None,
        )
    except (*_BROKEN, *_FORGED, InputError) as error:
        raise _no_pack(path) from error


def _text(stated: object) -> str:
    if not isinstance(stated, str):
        raise TypeError("text is wanted")
    return stated


def _profile(stated: dict[str, Any]) -> Profile:
    """Return a profile; what only earlier versions kept is left out."""
    return Profile(**{key: each for key, each in stated.items() if key not in _NO_LONGER_KEPT})


def unpack(path: Path, folder: Path) -> None:
    """Unpack the session folder of a zip that :func:`pack` wrote.

    Raises
    ------
    LibraryError
        If it is damaged, too large or has names that lead out of the folder.
    """
    try:
        with _opened(path) as archive:
            members = [each for each in archive.infolist() if each.filename != PACK_FILE]
            _check(members, path)
            for member in members:
                inside = PurePosixPath(*PurePosixPath(member.filename).parts[1:])
                if not may_travel(inside):
                    continue
                target = folder / inside
                target.parent.mkdir(parents=True, exist_ok=True)
                with archive.open(member) as packed, target.open("wb") as file:
                    shutil.copyfileobj(packed, file)
                    file.flush()
                    os.fsync(file.fileno())
    except _BROKEN as error:
        raise _no_pack(path) from error
    forget_places(folder)


@contextmanager
def _opened(path: Path) -> Iterator[zipfile.ZipFile]:
    with zipfile.ZipFile(path) as archive:
        if any(member.compress_type not in _OURS for member in archive.infolist()):
            raise zipfile.BadZipFile("packed in a way that exports are not")
        yield archive


def _check_age(facts: dict[str, Any], where: Path) -> None:
    if int(facts["schema"]) > PACK_SCHEMA:
        raise LibraryError(
            f"was exported by a newer version (layout {facts['schema']}, "
            f"this program knows {PACK_SCHEMA}).",
            where=f"{where}:",
            remedy="Update this program.",
        )


def _check(members: list[zipfile.ZipInfo], where: Path) -> None:
    names = [PurePosixPath(member.filename) for member in members]
    is_ours = all(
        len(name.parts) > 1
        and name.parts[0] == _INSIDE
        and not any(part == ".." or set(part) & set("\\:") for part in name.parts)
        and not stat.S_ISLNK(member.external_attr >> 16)
        and not member.is_dir()
        for name, member in zip(names, members, strict=True)
    )
    if not is_ours or PurePosixPath(_INSIDE, SESSION_FILE) not in names:
        raise _no_pack(where)
    if sum(member.file_size for member in members) > LARGEST_BYTES:
        raise LibraryError("would unpack to more than 20 GiB.", where=f"{where}:")


def _no_pack(where: Path) -> LibraryError:
    return LibraryError(
        "is not a whole export of a session.",
        where=f"{where}:",
        remedy="Export it again with `ergo sessions export`.",
    )
