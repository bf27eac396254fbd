"""Recordings on their way in: sent in parts, resumed where they stopped, names never used as paths.

A recording is a numbered folder with numbered files; the names that people gave
are kept as text alone. Files lie beside the library, where the analysis reads them
and the page finds their pictures later.
"""

import json
import re
import shutil
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from http import HTTPStatus
from pathlib import Path, PurePath
from typing import Annotated
from uuid import uuid4

from pydantic import BaseModel, ConfigDict, Field
from starlette.exceptions import HTTPException

from ergo.frames.clips import CLIP_SUFFIXES
from ergo.frames.stills import STILL_SUFFIXES
from ergo.whole import write_file

MOST_BYTES = 2_000_000_000 - 1
"""A recording sent through the page is smaller than 2 GB; larger ones: ``ergo analyse``."""
MOST_FILES = 200
SPARE_BYTES = 500_000_000
"""Room that must be left on the disk after an upload."""

_ID = re.compile(r"[0-9a-f]{32}")
_STATE, _OWNER = "upload.json", "analysis"
_FOLDERS = re.compile(r"^.*[/\\]", re.DOTALL)


Name = Annotated[str, Field(min_length=1, max_length=80, pattern=r"^[^/\\:\x00-\x1f\x7f]+$")]
"""A name or tag as the library takes it."""


class FileWanted(BaseModel):
    """A file that is to be sent."""

    model_config = ConfigDict(extra="forbid")

    name: str = Field(min_length=1, max_length=255)
    size: int = Field(gt=0)


class UploadWanted(BaseModel):
    """The files of one recording."""

    model_config = ConfigDict(extra="forbid")

    files: list[FileWanted] = Field(min_length=1, max_length=MOST_FILES)


class Called(BaseModel):
    """What a recording is to be called."""

    model_config = ConfigDict(extra="forbid")

    name: Name
    tags: list[Name] = Field(default=[], max_length=20)


class AnalysisWanted(Called):
    """What is to become of the files of an upload.

    ``together``: they are clips of several cameras that filmed the same minutes.
    """

    together: bool = False


@dataclass(frozen=True, slots=True)
class Arriving:
    """One file of an upload.

    Attributes
    ----------
    name : str
        As people call it.
    path : Path
        Where it lies; made of numbers.
    size : int
        Bytes it will have.
    """

    name: str
    path: Path
    size: int

    @property
    def offset(self) -> int:
        """Return how many bytes have come."""
        return self.path.stat().st_size if self.path.exists() else 0


class Uploads:
    """The recordings sent to this library.

    Parameters
    ----------
    folder : Path
        Made when it is first needed.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def begin(self, wanted: UploadWanted) -> str:
        """Make room for a recording; return its id.

        Raises
        ------
        HTTPException
            415 for a kind of file that we cannot analyse, 413 if it is too large,
            507 if the disk has no room for it.
        """
        suffixes = [PurePath(each.name).suffix.lower() for each in wanted.files]
        if any(suffix not in CLIP_SUFFIXES | STILL_SUFFIXES for suffix in suffixes):
            raise HTTPException(
                HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "Only clips and stills can be analysed."
            )
        total = sum(each.size for each in wanted.files)
        if total > MOST_BYTES:
            raise HTTPException(
                HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
                "Recordings of 2 GB and more: use `ergo analyse`, then `ergo sessions add`.",
            )
        self.folder.mkdir(parents=True, exist_ok=True)
        if shutil.disk_usage(self.folder).free < total + SPARE_BYTES:
            raise HTTPException(HTTPStatus.INSUFFICIENT_STORAGE, "The disk is too full for it.")
        upload = uuid4().hex
        place = self.folder / upload
        place.mkdir()
        files = [
            {"name": each.name, "path": f"{number:03d}{suffix}", "size": each.size}
            for number, (each, suffix) in enumerate(zip(wanted.files, suffixes, strict=True), 1)
        ]
        write_file(place / _STATE, json.dumps(files))
        return upload

    def files(self, upload: str) -> list[Arriving]:
        """Return the files of an upload; 404 if there is none of this id."""
        place = self._place(upload)
        rows = json.loads((place / _STATE).read_text(encoding="utf-8"))
        return [Arriving(row["name"], place / row["path"], row["size"]) for row in rows]

    def write(self, upload: str, number: int, offset: int, part: bytes) -> int:
        """Put a part at the end of a file; return how many bytes it has now.

        Raises
        ------
        HTTPException
            404 if there is no such file, 409 if the part does not follow what has
            come or the upload is analysed already, 413 if the file would become larger
            than was said.
        """
        files = self.files(upload)
        if not 0 <= number < len(files):
            raise HTTPException(HTTPStatus.NOT_FOUND, "There is no such file in this upload.")
        file = files[number]
        if self.owner(upload) is not None:
            raise HTTPException(HTTPStatus.CONFLICT, "This upload is analysed already.")
        if offset != file.offset:
            raise HTTPException(
                HTTPStatus.CONFLICT, f"{file.offset} bytes have come; go on from there."
            )
        if offset + len(part) > file.size:
            raise HTTPException(
                HTTPStatus.REQUEST_ENTITY_TOO_LARGE, "More comes than was said before."
            )
        with file.path.open("ab") as opened:
            opened.write(part)
        return file.offset

    def whole(self, upload: str) -> Sequence[Arriving]:
        """Return the files if all of them have come; 409 if not."""
        files = self.files(upload)
        if any(file.offset != file.size for file in files):
            raise HTTPException(HTTPStatus.CONFLICT, "Not everything has come yet.")
        return files

    def take(self, upload: str, job: str) -> None:
        """Let an analysis own an upload from now on."""
        write_file(self._place(upload) / _OWNER, job)

    def owner(self, upload: str) -> str | None:
        """Return the id of the analysis that owns an upload; None while it is the sender's."""
        try:
            return (self._place(upload) / _OWNER).read_text(encoding="utf-8")
        except FileNotFoundError:
            return None

    def remove(self, upload: str) -> None:
        """Remove what has come of an upload, unless an analysis owns it."""
        if self.owner(upload) is None:
            shutil.rmtree(self._place(upload))

    def delete(self, upload: str) -> None:
        """Remove an upload that nothing needs any more, whoever owned it."""
        shutil.rmtree(self._place(upload))

    def give_up(self, paths: Iterable[Path], job: str) -> None:
        """Remove those of these files that an analysis owns, with their upload."""
        for place in {path.parent for path in paths}:
            with suppress(HTTPException):
                if place.parent == self.folder.resolve() and self.owner(place.name) == job:
                    shutil.rmtree(place, ignore_errors=True)

    def _place(self, upload: str) -> Path:
        place = self.folder / upload
        if not _ID.fullmatch(upload) or not (place / _STATE).is_file():
            raise HTTPException(HTTPStatus.NOT_FOUND, "There is no such upload.")
        return place


def names_given(paths: Iterable[Path]) -> dict[Path, str]:
    """Return what people called uploaded files, each name once; files from elsewhere are left out.

    The names are text for readers: without folders and characters that no line shows.
    """
    given: dict[Path, str] = {}
    for path in paths:
        try:
            rows = json.loads((path.parent / _STATE).read_text(encoding="utf-8"))
        except OSError:
            continue
        name = next((row["name"] for row in rows if row["path"] == path.name), path.name)
        shown = "".join(letter for letter in _FOLDERS.sub("", name) if letter.isprintable())
        given[path] = _not_among(given.values(), shown.strip() or path.name)
    return given


def _not_among(taken: Iterable[str], name: str) -> str:
    tried = (name, *(f"{name} ({number})" for number in range(2, MOST_FILES + 2)))
    return next(each for each in tried if each not in set(taken))


def described(files: Sequence[Arriving]) -> list[dict[str, object]]:
    """Return the files as the browser is told of them."""
    return [
        {key: value for key, value in asdict(file).items() if key != "path"}
        | {"offset": file.offset}
        for file in files
    ]
