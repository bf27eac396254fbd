"""Where results may be written: nothing of the user's is replaced, but for ours if asked for."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ergo.errors import OutputError
from ergo.frames.file_checks import check_name
from ergo.whole import recover

SESSION_FILE = "session.json"


def check_free(folder: Path, *, replace: bool, mark: str = SESSION_FILE) -> None:
    """Refuse a place where no folder can be made, and a folder that may not be replaced.

    To be called before anything is computed.

    Parameters
    ----------
    folder : Path
    replace : bool
    mark : str
        Name of the file by which a folder is known as ours.

    Raises
    ------
    OutputError
        If the folder exists and ``replace`` is False, or if it holds something
        that is not a session of ours; if its name cannot be that of a new folder.
    """
    _check_name(folder, "folder")
    with _told(folder):
        recover(folder)
        if not folder.exists():
            return
        if not folder.is_dir():
            raise OutputError("is a file.", where=f"{folder}:", remedy="Name a folder with --out.")
        if folder.resolve() in (Path.cwd(), *Path.cwd().parents) or folder.is_mount():
            raise OutputError(
                "is the folder you are in, or that of a drive.",
                where=f"{folder}:",
                remedy="Name a new folder with --out.",
            )
        if not any(folder.iterdir()):
            return
    if not (folder / mark).is_file():
        raise OutputError(
            "holds other files.", where=f"{folder}:", remedy="Name a new folder with --out."
        )
    if not replace:
        raise OutputError(
            "holds a result already.",
            where=f"{folder}:",
            remedy="Add --force to replace it, or name another folder with --out.",
        )


def check_file_free(file: Path, *, replace: bool) -> None:
    """Refuse a place where no file can be, and a file that may not be replaced.

    Raises
    ------
    OutputError
        If the file exists and ``replace`` is False, or if it is a folder.
    """
    _check_name(file, "file")
    with _told(file):
        if file.is_dir():
            raise OutputError("is a folder.", where=f"{file}:", remedy="Name a file with --out.")
        is_there = file.exists()
        is_usual = file.is_file()
    if is_there and not is_usual:  # a device, a pipe: replacing it would harm others
        raise OutputError("is no usual file.", where=f"{file}:", remedy="Name a file with --out.")
    if is_there and not replace:
        raise OutputError(
            "exists already.",
            where=f"{file}:",
            remedy="Add --force to replace it, or name another file with --out.",
        )


def _check_name(place: Path, kind: str) -> None:
    if place.name in ("", ".."):
        raise OutputError(
            f"is no name for a new {kind}.",
            where=f'"{place}"',
            remedy=f"Name a new {kind} with --out.",
        )
    check_name(place, OutputError)


@contextmanager
def _told(place: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise OutputError(
            f"cannot be used ({error.strerror}).",
            where=f"{place}:",
            remedy="Name another place with --out.",
        ) from error
