"""Reports, clips and comparisons, made when they are asked for and kept until notes change."""

import asyncio
import hashlib
import shutil
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path

from ergo.child_process import Task, async_child
from ergo.errors import OutputError
from ergo.storage.folder import SESSION_FILE

_MAKING = "ergo.web.jobs.artefact_process"
_TASK = Task("Making this", "Close other programs, then ask for it again.")
MOST_KEPT = 12


class Made:
    """What was made of the sessions of a library.

    Parameters
    ----------
    folder : Path
        Everything in it can be made again.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._locks: defaultdict[str, asyncio.Lock] = defaultdict(asyncio.Lock)

    async def get(
        self, kind: str, sessions: Sequence[Path], language: str, arguments: Sequence[str]
    ) -> Path:
        """Return the folder with what was made; makes it if anything has changed since.

        Parameters
        ----------
        kind : str
            As in :data:`ergo.web.jobs.artefact_process.KINDS`.
        sessions : sequence of Path
            Session folders that it depends on.
        language : str
        arguments : sequence of str
            What follows in the call.

        Raises
        ------
        ErgoError
            With one line if it cannot be made.
        """
        key = _key(kind, sessions, language, arguments)
        place = self._folder / key
        async with self._locks[key]:
            if not place.is_dir():
                self._folder.mkdir(parents=True, exist_ok=True)
                self._make_room()
                await _make(kind, place, language, arguments)
        if not all(folder.is_dir() for folder in sessions):  # deleted meanwhile
            shutil.rmtree(place, ignore_errors=True)
            raise OutputError("The session was deleted meanwhile.")
        return place

    def _make_room(self) -> None:
        kept = sorted(self._folder.iterdir(), key=lambda path: path.stat().st_mtime)
        for path in kept[: max(0, len(kept) - MOST_KEPT + 1)]:
            shutil.rmtree(path, ignore_errors=True)


def _key(kind: str, sessions: Sequence[Path], language: str, arguments: Sequence[str]) -> str:
    """Return a name that changes with the notes, the landmarks and the wishes."""
    said = [kind, language, *arguments]
    said += [str((folder / "landmarks.parquet").stat().st_mtime_ns) for folder in sessions]
    digest = hashlib.sha256("\0".join(said).encode())
    for folder in sessions:
        digest.update((folder / SESSION_FILE).read_bytes())
    return f"{kind}-{digest.hexdigest()[:24]}"


async def _make(kind: str, place: Path, language: str, arguments: Sequence[str]) -> None:
    command = (_MAKING, kind, str(place), language, *arguments)
    async with async_child(*command, task=_TASK) as process:
        async for _ in process.heard():
            pass
