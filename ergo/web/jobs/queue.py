"""The analyses that are asked for, in order; a restart goes on with them.

What becomes of an analysis is decided here alone, by its state: :mod:`ergo.web.jobs.worker`
takes one after the other and gives up what is no longer wanted.
"""

import asyncio
import logging
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any
from uuid import uuid4

from ergo.errors import OutputError
from ergo.library.entry import Entry
from ergo.notes.reading import notes_path, read_notes, write_notes
from ergo.web.jobs.job import Job, read_jobs, write_job
from ergo.web.jobs.uploads import Uploads, names_given
from ergo.whole import remove_folder

LEAST_SHARE = 0.01
"""From this share done on, the time left is told."""
_ENDED = ("failed", "cancelled")


class Queue:
    """The analyses of a library.

    Parameters
    ----------
    folder : Path
        Of the jobs; made when it is first needed.
    uploads : Uploads
        A job that is taken off the list without a session takes its recordings along.
    """

    def __init__(self, folder: Path, uploads: Uploads) -> None:
        self._folder = folder
        self._uploads = uploads
        self._jobs = {job.id: job for job in read_jobs(folder)}
        self._waiting: list[asyncio.Future[None]] = []
        self._share = 0.0
        self._begun = 0.0
        self._kept: str | None = None

    def add(
        self,
        name: str,
        inputs: Sequence[Path],
        tags: Sequence[str] = (),
        *,
        is_together: bool = False,
    ) -> Job:
        """Put an analysis at the end of the queue; clips of several cameras become one session."""
        return self._added(name, inputs, tags=tuple(tags), is_together=is_together)

    def watch_again(self, entry: Entry) -> Job:
        """Watch a session whose operator was chosen anew; of several choices the last counts."""
        job = self._added(entry.name, [entry.folder], replaces=entry.id)
        self.stop_watching_again(entry.id, but=job)
        return job

    def state_starts(self, job_id: str, begins_s: Sequence[float | None]) -> None:
        """State when clips began and analyse again; what was watched is not watched twice.

        Parameters
        ----------
        job_id : str
            Of an analysis that lacks a start; KeyError if there is none.
        begins_s : sequence of float or None
            One per clip after the first, on the clock of the first; None = to be found. [s]
        """
        job = self._jobs[job_id]
        others = [Path(each) for each in job.inputs[1:]]
        if not job.lacks_start or len(others) != len(begins_s):
            raise KeyError(job_id)
        for path, start_s in zip(others, begins_s, strict=True):
            stated = read_notes(path).model_copy(update={"begins_s": start_s})
            write_notes(stated, notes_path(path))
        self._set(replace(job, state="waiting", lacks_start=False, error=None))

    def stop_watching_again(self, session: str, but: Job | None = None) -> None:
        """Drop whatever is queued for another choice of a session's operator."""
        for job in list(self._jobs.values()):
            if job.replaces == session and job is not but:
                self.remove(job.id)

    def forget(self, session: str) -> None:
        """Take everything off the list that names a session: it is to be deleted."""
        for job in list(self._jobs.values()):
            if session in (job.session, job.replaces):
                self.remove(job.id)

    def sessions(self) -> set[str]:
        """Return the ids of the sessions that the list names."""
        return {str(job.session or job.replaces) for job in self._jobs.values()} - {"None"}

    def _added(self, name: str, inputs: Sequence[Path], **facts: Any) -> Job:
        number = max((job.number for job in self._jobs.values()), default=0) + 1
        paths = tuple(str(path.resolve()) for path in inputs)
        job = Job(uuid4().hex, number, name, paths, **facts)
        write_job(job, self._folder)  # what cannot be written is not promised
        self._jobs[job.id] = job
        self._tell()
        return job

    def described(self) -> list[dict[str, Any]]:
        """Return the jobs as the browser is told of them, in order."""
        return [self._row(job) for job in self._jobs.values()]

    def again(self, job_id: str) -> None:
        """Put an analysis that failed or was cancelled back; KeyError if there is none."""
        job = self._jobs[job_id]
        if not _can_be_repeated(job):
            raise KeyError(job_id)
        self._set(replace(job, state="waiting", error=None))

    def cancel(self, job_id: str) -> None:
        """Stop an analysis, or take it out of the queue; KeyError if there is none."""
        job = self._jobs[job_id]
        if job.state in ("waiting", "running") and job_id != self._kept:
            self._set(replace(job, state="cancelled"))

    def remove(self, job_id: str) -> None:
        """Take a job off the list, running or not; KeyError if there is none."""
        job = self._jobs.pop(job_id)
        (self._folder / f"{job_id}.json").unlink(missing_ok=True)
        if job.state == "running":
            self._tell()  # the worker gives it up, then drops it
        else:
            self.drop(job)

    def drop(self, job: Job) -> None:
        """Remove what a job that is off the list leaves behind."""
        remove_folder(self.out(job.id))
        if job.session is None and job.replaces is None:
            self._uploads.give_up([Path(each) for each in job.inputs], job.id)

    async def next(self) -> Job:
        """Return the next job that waits, running from now on."""
        while True:
            job = next((job for job in self._jobs.values() if job.state == "waiting"), None)
            if job is not None:
                self._share, self._begun = 0.0, time.monotonic()
                self._set(replace(job, state="running"))
                return self._jobs[job.id]
            await self._change()

    def is_running(self, job_id: str) -> bool:
        """Return whether a job that was taken is still wanted."""
        return job_id in self._jobs and self._jobs[job_id].state == "running"

    def is_listed(self, job_id: str) -> bool:
        """Return whether a job has not been taken off the list."""
        return job_id in self._jobs

    async def unwanted(self, job_id: str) -> None:
        """Wait until a running job is no longer wanted."""
        while self.is_running(job_id):
            await self._change()

    def got_on(self, share: float) -> None:
        """Say how much of the running job is done."""
        self._share = share

    def keeping(self, job_id: str) -> bool:
        """Say that what a job made is put into the library now; return whether it is wanted."""
        self._kept = job_id if self.is_running(job_id) else None
        return self._kept is not None

    def end(self, job_id: str, **facts: Any) -> bool:
        """Say how a running job ended, if it is still wanted; return whether it was."""
        self._kept = None
        is_wanted = self.is_running(job_id)
        if is_wanted:
            self._set(replace(self._jobs[job_id], **facts))
        return is_wanted

    def out(self, job_id: str) -> Path:
        """Return the folder into which a job is made."""
        return self._folder / f"{job_id}.out"

    async def _change(self) -> None:
        waiter = asyncio.get_running_loop().create_future()
        self._waiting.append(waiter)
        await waiter

    def _tell(self) -> None:
        waiting, self._waiting = self._waiting, []
        for each in waiting:
            if not each.done():
                each.set_result(None)

    def _set(self, job: Job) -> None:
        self._jobs[job.id] = job
        self._tell()
        try:
            write_job(job, self._folder)
        except OutputError:  # a full disk must not stop the queue; a restart does this job again
            logging.getLogger(__name__).exception("not written")

    def _row(self, job: Job) -> dict[str, Any]:
        is_running = job.state == "running"
        share = self._share if is_running else float(job.state == "done")
        left_s = None
        if is_running and share >= LEAST_SHARE:
            left_s = (time.monotonic() - self._begun) * (1 - share) / share
        return {
            "id": job.id,
            "name": job.name,
            "state": job.state,
            "share": share,
            "left_s": left_s,
            "error": job.error,
            "session": job.session,
            "replaces": job.replaces,
            "clips": _names(job) if job.is_together else [],
            "lacks_start": job.lacks_start,
            "can_be_repeated": _can_be_repeated(job),
        }


def _can_be_repeated(job: Job) -> bool:
    return job.state in _ENDED and bool(job.inputs) and not job.lacks_start


def _names(job: Job) -> list[str]:
    paths = [Path(each) for each in job.inputs]
    given = names_given(paths)
    return [given.get(path, path.name) for path in paths]
