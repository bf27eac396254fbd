"""The invented sample session, in a library of its own that is thrown away at the end."""

import os
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from ergo.alone import alone, if_alone
from ergo.app.workflow import analyse_session
from ergo.errors import LibraryError, NothingToAnalyse, SessionError
from ergo.library.library import open_library
from ergo.session.several_cameras import all_sources
from ergo.storage.folder import SESSION_FILE
from ergo.storage.session_content import write_places
from ergo.storage.session_folder import LANDMARK_FILE, read_session

_PACKAGE = Path(__file__).parents[1]
INSTALLED = _PACKAGE / "sample_session"
"""Where a wheel keeps recordings and finished session; pyproject.toml puts them there."""
RECORDINGS = INSTALLED if INSTALLED.is_dir() else _PACKAGE.parent / "sample_frames"
FINISHED = INSTALLED if INSTALLED.is_dir() else _PACKAGE.parent / "reports" / "sample"
SAMPLE = ("kf_scaling.mp4", "kf_scaling.toml")

_PREFIX, _LOCK = "ergo-demo-", "lock"
_BEGINNING_S = 24 * 3600.0
"""A folder without a lock is one that is being begun, unless it is older than this. [s]"""


@contextmanager
def demo_library() -> Iterator[tuple[Path, str]]:
    """Give a fresh library that holds the sample session, and the session's id.

    It is gone when the block is left, with all that was put into it meanwhile; one that
    a killed program left goes at the next start (:func:`clear_left_behind`). The
    finished example is taken as it is; without one the sample is analysed first.

    Raises
    ------
    NothingToAnalyse
        If the program was installed without its sample recordings.
    """
    if not all((RECORDINGS / name).is_file() for name in SAMPLE):
        raise NothingToAnalyse("are not installed here.", where="The sample pictures")
    place = Path(tempfile.mkdtemp(prefix=_PREFIX))
    try:
        with alone(place / _LOCK, LibraryError("is in use.", where=f"{place}:")):
            yield _filled(place / "library")
    finally:
        shutil.rmtree(place, ignore_errors=True)


def clear_left_behind() -> None:
    """Remove the demo libraries of this user that no living program owns."""
    for place in Path(tempfile.gettempdir()).glob(f"{_PREFIX}*"):
        if not _is_ours(place):
            continue
        if not (place / _LOCK).exists() and time.time() - place.stat().st_mtime < _BEGINNING_S:
            continue
        with if_alone(place / _LOCK) as is_left_behind:
            if is_left_behind:
                shutil.rmtree(place, ignore_errors=True)


def _is_ours(place: Path) -> bool:
    if place.is_symlink() or not place.is_dir():
        return False
    return not hasattr(os, "getuid") or place.stat().st_uid == os.getuid()


def _filled(folder: Path) -> tuple[Path, str]:
    recordings, made = folder / "recordings", folder / "analysed"
    recordings.mkdir(parents=True)
    for name in SAMPLE:
        shutil.copy(RECORDINGS / name, recordings)
    if _is_finished_of(recordings):
        made.mkdir()
        for name in (SESSION_FILE, LANDMARK_FILE):
            shutil.copy(FINISHED / name, made)
        point_at(made, recordings)
    else:
        analyse_session([recordings], made)
    with open_library(folder) as library:
        entry = library.add(made, "Sample session", tags=("invented",))
    shutil.rmtree(made)
    return folder, entry.id


def _is_finished_of(recordings: Path) -> bool:
    """Return whether the finished example is of exactly these recordings."""
    try:
        sources = all_sources(read_session(FINISHED).recording)
    except SessionError:
        return False
    names = {source.name for source in sources}
    return bool(names) and names <= {each.name for each in recordings.iterdir()}


def point_at(folder: Path, recordings: Path) -> None:
    """Let a copied session folder find its recordings in another place."""
    sources = all_sources(read_session(folder).recording)
    write_places(folder, [replace(each, path=recordings / each.name) for each in sources])
