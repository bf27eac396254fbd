"""The frame server: pictures come from a process of their own, the last ones are kept."""

import asyncio
from collections import OrderedDict
from collections.abc import Callable, Mapping
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from pathlib import Path
from typing import Any, TypeVar

from ergo.storage.folder import SESSION_FILE
from ergo.storage.session_folder import LANDMARK_FILE
from ergo.web import picture_worker

KEPT_BYTES = 64 * 1024 * 1024
WIDTHS = (320, 640, 960, 1280)
"""Widths in which pictures are made; others are rounded up to one of them. [px]"""
PATIENCE_S = 30.0

Answer = TypeVar("Answer")


class PictureLost(Exception):
    """The decoding process crashed or hung on this picture."""


class Pictures:
    """Pictures of analysed frames as JPEG."""

    def __init__(self) -> None:
        self._pool = _new_pool()
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
        made = await self._in_process(_jpeg, *key)
        if made is not None:
            self._keep(key, made)
        return made

    async def still(self, folder: Path, frame: int) -> bytes | None:
        """Return one frame to be passed on; None where the recording is gone.

        Raises
        ------
        PictureLost
        """
        return await self._in_process(picture_worker.still_jpeg, str(folder), frame)

    async def refusal_of(self, path: Path) -> str | None:
        """Return why an uploaded file cannot be analysed; None if it can."""
        try:
            return await self._in_process(picture_worker.refusal_of, str(path))
        except PictureLost:
            return "made the decoder fail; it is damaged or not what its name says."

    async def refusal_together(self, called: Mapping[Path, str]) -> str | None:
        """Return why uploaded files cannot be one session of several cameras; None if they may.

        Parameters
        ----------
        called : mapping of Path to str
            What people call the files.
        """
        return await self._in_process(picture_worker.refusal_together, dict(called))

    async def warm_up(self) -> None:
        """Start the process, so that the first picture does not wait for it."""
        await self._in_process(picture_worker.nothing)

    def close(self) -> None:
        """End the process."""
        _end(self._pool)

    async def _in_process(self, work: Callable[..., Answer], *arguments: Any) -> Answer:
        pool = self._pool
        try:
            future = asyncio.wrap_future(pool.submit(work, *arguments))
            return await asyncio.wait_for(future, PATIENCE_S)
        except (BrokenProcessPool, TimeoutError) as error:
            if pool is self._pool:
                _end(pool)
                self._pool = _new_pool()
            raise PictureLost from error

    def _keep(self, key: tuple[Any, ...], jpeg: bytes) -> None:
        self._kept[key] = jpeg
        self._bytes += len(jpeg)
        while self._bytes > KEPT_BYTES:
            self._bytes -= len(self._kept.popitem(last=False)[1])


def rounded_width(width: int) -> int:
    """Return the smallest width of WIDTHS that is at least this wide, else the widest."""
    return next((each for each in WIDTHS if each >= width), WIDTHS[-1])


def _jpeg(
    folder: str, changed_ns: int, frame: int, width: int, blur: bool, camera: int
) -> bytes | None:
    return picture_worker.picture_jpeg(
        folder, changed_ns, frame, width, blur_operator=blur, camera=camera
    )


def _new_pool() -> ProcessPoolExecutor:
    return ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=picture_worker.begin)


def _end(pool: ProcessPoolExecutor) -> None:
    for process in list((getattr(pool, "_processes", None) or {}).values()):
        process.kill()  # one that hangs would not end by itself
    pool.shutdown(wait=False, cancel_futures=True)
