"""What a session folder says of its recordings, and what of it travels to others.

``session.json`` calls recordings by name alone, so that whoever reads it learns nothing
about the machine and its user. Where they lie is written to ``places.json``, which
stays on this machine: no pack holds it, and none that a pack holds is believed.
"""

import json
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path, PurePosixPath
from typing import Any

from pydantic import TypeAdapter

from ergo.errors import SessionError
from ergo.frames.frame import SourceFacts
from ergo.storage.folder import SESSION_FILE
from ergo.storage.tables import plain, write_json

PLACES_FILE = "places.json"
_SOURCE = TypeAdapter(SourceFacts)
_MOST_PARTS = 4
"""Folders of a lost place that are looked for beside the session and above it (ours)."""


def described_source(facts: SourceFacts) -> dict[str, Any]:
    """Return what session.json says of a recording: all but its place."""
    return without_place(plain(asdict(facts)))


def without_place(row: Mapping[str, Any]) -> dict[str, Any]:
    """Return what is said of a recording without the place that earlier versions wrote."""
    return {key: value for key, value in row.items() if key != "path"}


def write_places(
    folder: Path, sources: Sequence[SourceFacts], home: Path | None = None, *, is_kept: bool = False
) -> None:
    """Write where recordings lie.

    Parameters
    ----------
    folder : Path
        Of the session, as it is being written.
    sources : sequence of SourceFacts
        In the order of ``sources`` in session.json.
    home : Path, optional
        Where that folder will lie.
    is_kept : bool
        The folder belongs to a library: it may be moved without the recordings.
    """
    places = [_places(facts.path, home or folder, is_kept=is_kept) for facts in sources]
    write_json(folder / PLACES_FILE, {"schema": 1, "places": places})


def _places(path: Path, home: Path, *, is_kept: bool) -> list[str]:
    whole = path.resolve()
    try:
        near = Path(os.path.relpath(whole, home.resolve())).as_posix()
    except ValueError:  # another drive
        return [whole.as_posix()]
    return [near, whole.as_posix()] if is_kept else [near]


def source_of(row: Mapping[str, Any], places: Sequence[str], folder: Path) -> SourceFacts:
    """Return the facts of a recording as session.json and places.json state them.

    Its place is where it was last known to lie, else where its name is found beside the
    session or in the folders above. Whether it still is the same file, its content tells.
    """
    known = [*places, *([row["path"]] if "path" in row else [])]
    path = _found([Path(each) for each in known] or [Path(row["name"])], folder.resolve())
    facts = _SOURCE.validate_python({**without_place(row), "path": path})
    if min(facts.width_px, facts.height_px) < 1:
        raise ValueError("size")
    return facts


def _found(known: Sequence[Path], folder: Path) -> Path:
    named = [folder / each for each in known]  # an absolute one stays as it is
    ends = {
        Path(*each.parts[-count:])
        for each in known
        for count in range(1, min(_MOST_PARTS, len(each.parts)) + 1)
    }
    longest_first = sorted(ends, key=lambda end: (-len(end.parts), end.as_posix()))
    near = (above / end for end in longest_first for above in folder.parents)
    return next((place for place in (*named, *near) if place.is_file()), named[-1])


def read_places(folder: Path, count: int) -> list[list[str]]:
    """Return where the recordings of a session were last known to lie, one list each."""
    try:
        content = json.loads((folder / PLACES_FILE).read_text(encoding="utf-8"))
        places = [[str(place) for place in each] for each in content["places"]]
    except FileNotFoundError:
        return [[] for _ in range(count)]
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        raise SessionError(
            "is damaged.",
            where=f"{folder / PLACES_FILE}:",
            remedy="Remove it; recordings are then looked for beside the session.",
        ) from error
    return places if len(places) == count else [[] for _ in range(count)]


def travelling(folder: Path) -> Iterator[tuple[PurePosixPath, bytes | Path]]:
    """Yield what of a session folder travels: its place within, and content or file."""
    for path in sorted(folder.rglob("*")):
        inside = PurePosixPath(*path.relative_to(folder).parts)
        if not path.is_file() or not may_travel(inside):
            continue
        yield inside, _nameless(path) if path.name == SESSION_FILE else path


def may_travel(inside: PurePosixPath) -> bool:
    """Return whether a file of a session folder belongs in a pack."""
    return inside.name != PLACES_FILE and not any(part.startswith(".") for part in inside.parts)


def forget_places(folder: Path) -> None:
    """Take every place out of the files of a session that came from outside."""
    (folder / PLACES_FILE).unlink(missing_ok=True)
    for path in folder.rglob(SESSION_FILE):
        path.write_bytes(_nameless(path))


def _nameless(path: Path) -> bytes:
    try:
        described = json.loads(path.read_text(encoding="utf-8"))
        described["sources"] = [without_place(row) for row in described["sources"]]
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise SessionError(
            "is damaged.",
            where=f"{path}:",
            remedy="Restore it from a copy, or analyse the recording again.",
        ) from error
    return (json.dumps(described, ensure_ascii=False, indent=1) + "\n").encode()
