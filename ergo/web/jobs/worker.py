"""Does the analyses of the queue one after the other, each in a process of its own.

Whether a job is still wanted is looked up in the queue at every step: one that was
cancelled or taken off the list is given up where it is, be it before it began.
"""

import asyncio
import logging
from pathlib import Path
from typing import Any

from ergo.child_process import Task, async_child, to_its_end
from ergo.errors import EndedBySystem, ErgoError, LibraryError, NotTogether, SessionError
from ergo.library.entry import Entry
from ergo.library.library import Library
from ergo.storage.choices import keep_choice
from ergo.web.jobs.job import Job
from ergo.web.jobs.queue import Queue
from ergo.web.session.session_cache import OpenSessions
from ergo.whole import remove_folder

FAILED = "The analysis ended unexpectedly. Please try once more."
_ANALYSING = "ergo.web.jobs.analysis_process"
_TASK = Task("The analysis", "")
_REPEAT = "Try again: it goes on from there. Close other programs before."


class Worker:
    """Who does what the queue holds.

    Parameters
    ----------
    queue : Queue
    sessions : OpenSessions
        What is finished is put into its library.
    """

    def __init__(self, queue: Queue, sessions: OpenSessions) -> None:
        self._queue = queue
        self._sessions = sessions

    async def work(self) -> None:
        """Do one job after the other, for ever; what runs when this is cancelled waits again."""
        while True:
            await self._do(await self._queue.next())

    async def _do(self, job: Job) -> None:
        work = asyncio.create_task(self._outcome(job))
        stop = asyncio.create_task(self._queue.unwanted(job.id))
        try:
            await asyncio.wait({work, stop}, return_when=asyncio.FIRST_COMPLETED)
        finally:
            work.cancel()
            stop.cancel()
            await to_its_end(_ended(work, stop))
        goes_on = not work.cancelled() and work.result()
        if not goes_on:
            remove_folder(self._queue.out(job.id))
        if not self._queue.is_listed(job.id):
            self._queue.drop(job)

    async def _outcome(self, job: Job) -> bool:
        """Do a job and say how it ended; return whether it can go on from what it has made."""
        try:
            await self._analysed(job)
            await to_its_end(self._keep(job))
        except NotTogether as error:  # the page has a remedy of its own
            return self._failed(job, f"{error.where} {error.what}", lacks_start=True)
        except EndedBySystem as error:
            return self._failed(job, f"{error.where} {error.what} {_REPEAT}")
        except ErgoError as error:
            self._failed(job, str(error))
        except Exception:  # the queue goes on with the next one
            logging.getLogger(__name__).exception("unexpected error")
            self._failed(job, FAILED)
        return False

    def _failed(self, job: Job, error: str, *, lacks_start: bool = False) -> bool:
        if job.replaces is not None and not self._sessions.library.holds(job.replaces):
            self._queue.forget(job.replaces)  # whoever deleted it knows
            return False
        return self._queue.end(job.id, state="failed", error=error, lacks_start=lacks_start)

    async def _analysed(self, job: Job) -> None:
        kind = "again" if job.replaces else "together" if job.is_together else "new"
        command = (_ANALYSING, kind, str(self._queue.out(job.id)), *job.inputs)
        async with async_child(*command, task=_TASK) as process:
            async for said in process.heard():
                self._queue.got_on(said["share"])

    async def _keep(self, job: Job) -> None:
        """Put what was made into the library; too late to be cancelled, not to be removed."""
        out = self._queue.out(job.id)
        if not self._queue.keeping(job.id):
            return
        if job.replaces is not None:
            await asyncio.to_thread(self._take, job.replaces, out)
            self._queue.end(job.id, state="done", session=job.replaces)
            return
        entry = await asyncio.to_thread(_added, self._sessions.library, job, out)
        if not self._queue.end(job.id, state="done", session=entry.id):
            await asyncio.to_thread(self._sessions.library.delete, entry.name)

    def _take(self, session: str, out: Path) -> None:
        """Keep what was watched; show it if its choice is still the one that is stated."""
        with self._sessions.lock:
            if not self._sessions.library.holds(session):
                raise SessionError("The session was deleted meanwhile.")
            folder = self._sessions.entry(session).folder
            keep_choice(folder, out)
            self._sessions.show_choice(session)


async def _ended(*tasks: "asyncio.Task[Any]") -> None:
    await asyncio.wait(tasks)


def _added(library: Library, job: Job, out: Path) -> Entry:
    """Put a finished analysis into the library; a taken name gets a number."""
    for name in (job.name, *(f"{job.name[:76]} {number}" for number in range(2, 100))):
        try:
            return library.add(out, name, tags=job.tags)
        except LibraryError:
            if name not in {entry.name for entry in library.entries()}:
                raise
    raise LibraryError("is taken.", where=job.name)
