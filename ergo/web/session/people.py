"""Everybody in a picture, for choosing the operator: searched when asked for, then kept."""

import asyncio
from collections import OrderedDict
from pathlib import Path
from typing import Any

from ergo.child_process import Task, async_child
from ergo.errors import EndedBySystem
from ergo.storage.folder import SESSION_FILE
from ergo.storage.session_folder import LANDMARK_FILE

_TASK = Task("Looking for people in this picture", "Close other programs, then try again.")
_FINDING = "ergo.web.session.finding"
PATIENCE_S = 300.0
MOST_KEPT = 64

Person = dict[str, Any]


class People:
    """Who was found in pictures of sessions.

    Parameters
    ----------
    patience_s : float
        With one search, the start of its process included. [s]
    """

    def __init__(self, patience_s: float = PATIENCE_S) -> None:
        self.patience_s = patience_s
        self._turn = asyncio.Lock()
        self._kept: OrderedDict[tuple[Any, ...], list[Person]] = OrderedDict()

    async def found(self, folder: Path, frame: int, camera: int) -> list[Person] | None:
        """Return the people in one picture from left to right; None where there is no picture.

        Each has an ``outline`` and a point ``at`` on that person, in px of the upright
        picture, and tells whether that person ``lies`` and ``is_operator`` by now.

        Parameters
        ----------
        folder : Path
            Session folder.
        frame : int
            Position in the timeline.
        camera : int
            From 1, as for pictures.

        Raises
        ------
        ErgoError
            With one line if the search ended unexpectedly.
        """
        changed = [(folder / name).stat().st_mtime_ns for name in (LANDMARK_FILE, SESSION_FILE)]
        key = (str(folder), *changed, frame, camera)
        async with self._turn:  # a search takes memory: one at a time
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
            people = await self.search(folder, frame, camera)
            if people is not None:
                self._kept[key] = people
                while len(self._kept) > MOST_KEPT:
                    self._kept.popitem(last=False)
            return people

    async def search(self, folder: Path, frame: int, camera: int) -> list[Person] | None:
        """Search one picture in a process of its own."""
        command = (_FINDING, str(folder), str(frame), str(camera))
        people = None
        try:
            async with (
                asyncio.timeout(self.patience_s),
                async_child(*command, task=_TASK) as process,
            ):
                async for line in process.heard():
                    people = line["people"]
        except TimeoutError as error:
            raise EndedBySystem("took too long.", where=_TASK.name, remedy=_TASK.remedy) from error
        return people
