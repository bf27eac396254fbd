"""The frame server: pictures come from a process of their own, the last ones are kept."""

import asyncio
import base64
from collections import OrderedDict
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar, cast

from ergo.child_process import AsyncChild, Line, Task, started_child
from ergo.errors import EndedBySystem
from ergo.storage.folder import SESSION_FILE
from ergo.storage.session_folder import LANDMARK_FILE
from ergo.web.session import picture_process

KEPT_BYTES = 64 * 1024 * 1024
WIDTHS = (320, 640, 960, 1280)
"""Widths in which pictures are made; others are rounded up to one of them. [px]"""
PATIENCE_S = 30.0
"""With a picture, once the process is ready."""
START_PATIENCE_S = 180.0
Answer = TypeVar("Answer")
READ_BYTES_PER_S = 10_000_000
"""A disk that reads slower than this counts as one that hangs (ours)."""
_WORKER = picture_process.__name__
_TASK = Task("Decoding the picture", "Close other programs.")


class PictureLost(Exception):
    """The decoding process crashed on this picture, and on a second try again."""


class PictureSlow(PictureLost):
    """The decoding process did not answer in time; it may be busy with other things."""


class Pictures:
    """Pictures of analysed frames as JPEG."""

    def __init__(self) -> None:
        self._worker: AsyncChild | None = None
        self._said: AsyncIterator[Line]
        self._turn = asyncio.Lock()
        self._kept: OrderedDict[tuple[Any, ...], bytes] = OrderedDict()
        self._bytes = 0

    async def jpeg(
        self, folder: Path, frame: int, width: int, *, blur: bool, camera: int = 1
    ) -> bytes | None:
        """Return one frame of a session; None where there is no picture of it.

        Cameras are counted from 1, the clip that the times are those of first.

        Raises
        ------
        PictureLost
            If decoding it failed in a way that no error tells.
        """
        told_by = LANDMARK_FILE if camera == 1 else SESSION_FILE  # the latter says when it began
        changed_ns = (folder / told_by).stat().st_mtime_ns
        key = (str(folder), changed_ns, frame, rounded_width(width), blur, camera)
        kept = self._kept.get(key)
        if kept is not None:
            self._kept.move_to_end(key)
            return kept
        made = await self._asked(picture_process.picture_jpeg, *key)
        if made is not None:
            self._keep(key, made)
        return made

    async def still(self, folder: Path, frame: int) -> bytes | None:
        """Return one frame to be passed on; None where the recording is gone.

        Raises
        ------
        PictureLost
        """
        return await self._asked(picture_process.still_jpeg, str(folder), frame)

    async def refusal_of(self, path: Path) -> str | None:
        """Return why an uploaded file cannot be analysed; None if it can.

        Raises
        ------
        PictureSlow
            If there was no answer in time; that tells nothing about the file.
        """
        patience_s = PATIENCE_S + path.stat().st_size / READ_BYTES_PER_S
        try:
            return await self._asked(picture_process.refusal_of, str(path), patience_s=patience_s)
        except PictureSlow:
            raise
        except PictureLost:
            return "made the decoder fail; it is damaged or not what its name says."

    async def refusal_together(self, called: Mapping[Path, str]) -> str | None:
        """Return why uploaded files cannot be one session of several cameras; None if they may.

        Parameters
        ----------
        called : mapping of Path to str
            What people call the files.
        """
        return await self._asked(picture_process.refusal_together, dict(called))

    async def warm_up(self) -> None:
        """Start the process, so that the first picture does not wait for it."""
        await self._asked(picture_process.nothing)

    async def close(self) -> None:
        """End the process."""
        worker, self._worker = self._worker, None
        if worker is not None:
            await worker.ended()

    async def _asked(
        self, work: Callable[..., Answer], *arguments: Any, patience_s: float | None = None
    ) -> Answer:
        """Have a function of the worker called there, after what was asked before.

        A worker that has ended may have done so over another picture or for another
        reason, so it is asked once more; only one that ends twice did so over this one.
        """
        patience_s = patience_s or PATIENCE_S
        async with self._turn:
            try:
                return await self._answer(work, arguments, patience_s)
            except EndedBySystem:
                pass
            try:
                return await self._answer(work, arguments, patience_s)
            except EndedBySystem as error:
                raise PictureLost from error

    async def _answer(
        self, work: Callable[..., Answer], arguments: Sequence[Any], patience_s: float
    ) -> Answer:
        try:
            worker = self._worker or await self._started()
            async with asyncio.timeout(patience_s):
                await worker.tell((work.__name__, arguments))
                said = await anext(self._said)
        except TimeoutError as error:
            await self.close()
            raise PictureSlow from error
        except BaseException:
            await self.close()  # its answer would be taken for that to the next question
            raise
        answer: Any = base64.b64decode(said["jpeg"]) if "jpeg" in said else said["answer"]
        return cast(Answer, answer)

    async def _started(self) -> AsyncChild:
        self._worker = await started_child(_WORKER, task=_TASK)
        self._said = self._worker.heard()
        async with asyncio.timeout(START_PATIENCE_S):
            await anext(self._said)
        return self._worker

    def forget(self, folder: Path) -> None:
        """Forget the pictures of a session."""
        for key in [each for each in self._kept if each[0] == str(folder)]:
            self._bytes -= len(self._kept.pop(key))

    def _keep(self, key: tuple[Any, ...], jpeg: bytes) -> None:
        self._kept[key] = jpeg
        self._bytes += len(jpeg)
        while self._bytes > KEPT_BYTES:
            self._bytes -= len(self._kept.popitem(last=False)[1])


def rounded_width(width: int) -> int:
    """Return the smallest width of WIDTHS that is at least this wide, else the widest."""
    return next((each for each in WIDTHS if each >= width), WIDTHS[-1])
