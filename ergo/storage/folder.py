"""What may be replaced: a folder or file of the user's is not, one of ours if asked for."""

from pathlib import Path

from ergo.errors import OutputError
from ergo.whole import recover

SESSION_FILE = "session.json"


def check_free(folder: Path, *, replace: bool, mark: str = SESSION_FILE) -> None:
    """Refuse a folder that exists, unless it is ours and may be replaced.

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
        that is not a session of ours.
    """
    recover(folder)
    if not folder.exists():
        return
    if not folder.is_dir():
        raise OutputError("is a file.", where=f"{folder}:", remedy="Name a folder with --out.")
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
    """Refuse a file that exists, unless it may be replaced.

    Raises
    ------
    OutputError
        If the file exists and ``replace`` is False, or if it is a folder.
    """
    if file.is_dir():
        raise OutputError("is a folder.", where=f"{file}:", remedy="Name a file with --out.")
    if file.exists() and not replace:
        raise OutputError(
            "exists already.",
            where=f"{file}:",
            remedy="Add --force to replace it, or name another file with --out.",
        )
