"""Analyses one after the other in a process of their own; a restart goes on with the queue."""

import asyncio
import contextlib
import json
import logging
import sys
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any
from uuid import uuid4

from ergo.errors import ErgoError, LibraryError
from ergo.notes.reading import notes_path, read_notes, write_notes
from ergo.storage.choices import keep_choice
from ergo.storage.library import Library
from ergo.storage.library_entry import Entry
from ergo.web.jobs import Job, read_jobs, write_job
from ergo.web.opened import OpenSessions
from ergo.web.uploads import names_given
from ergo.whole import remove_folder

LEAST_SHARE = 0.01
"""From this share done on, the time left is told."""
FAILED = "The analysis ended unexpectedly. Please try once more."


class Queue:
    """The analyses of a library.

    Parameters
    ----------
    folder : Path
        Of the jobs; made when it is first needed.
    sessions : OpenSessions
        What is finished is put into its library.
    """

    def __init__(self, folder: Path, sessions: OpenSessions) -> None:
        self._folder = folder
        self._sessions = sessions
        self._jobs = {job.id: job for job in read_jobs(folder)}
        self._wake = asyncio.Event()
        self._process: asyncio.subprocess.Process | None = None
        self._share = 0.0
        self._begun = 0.0

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
        self._wake.set()

    def stop_watching_again(self, session: str, but: Job | None = None) -> None:
        """Drop whatever is queued for another choice of a session's operator."""
        for job in list(self._jobs.values()):
            if job.replaces == session and job is not but:
                self.remove(job.id)

    def _added(self, name: str, inputs: Sequence[Path], **facts: Any) -> Job:
        number = max((job.number for job in self._jobs.values()), default=0) + 1
        paths = tuple(str(path.resolve()) for path in inputs)
        job = Job(uuid4().hex, number, name, paths, **facts)
        self._set(job)
        self._wake.set()
        return job

    def described(self) -> list[dict[str, Any]]:
        """Return the jobs as the browser is told of them, in order."""
        return [self._row(job) for job in self._jobs.values()]

    def cancel(self, job_id: str) -> None:
        """Stop an analysis, or take it out of the queue; KeyError if there is none."""
        job = self._jobs[job_id]
        if job.state in ("waiting", "running"):
            self._set(replace(job, state="cancelled"))
        if job.state == "running" and self._process is not None:
            with contextlib.suppress(ProcessLookupError):
                self._process.kill()

    def remove(self, job_id: str) -> None:
        """Take a job that has ended off the list; KeyError if there is none."""
        if self._jobs[job_id].state in ("waiting", "running"):
            self.cancel(job_id)
        if self._jobs.pop(job_id).lacks_start:
            remove_folder(self._out(job_id))
        (self._folder / f"{job_id}.json").unlink(missing_ok=True)

    async def work(self) -> None:
        """Do one job after the other, for ever; what runs when this is cancelled waits again."""
        while True:
            job = next((job for job in self._jobs.values() if job.state == "waiting"), None)
            if job is None:
                self._wake.clear()
                await self._wake.wait()
                continue
            try:
                await self._do(job)
            except Exception:  # the queue goes on with the next one
                logging.getLogger(__name__).exception("unexpected error")
                self._set(replace(job, state="failed", error=FAILED))

    async def _do(self, job: Job) -> None:
        self._share, self._begun = 0.0, time.monotonic()
        self._set(replace(job, state="running"))
        out = self._out(job.id)
        code, said = await self._analysed(job, out)
        if self._jobs.get(job.id, job).state == "cancelled" or job.id not in self._jobs:
            remove_folder(out)
            return
        if code == 0:
            await self._finish(job, out)
        else:
            error, lacks_start = said.get("error", FAILED), said.get("lacks_start", False)
            self._set(replace(job, state="failed", error=error, lacks_start=lacks_start))
            if lacks_start:
                return  # what was watched is wanted when the start is stated
        remove_folder(out)

    def _out(self, job_id: str) -> Path:
        return self._folder / f"{job_id}.out"

    async def _analysed(self, job: Job, out: Path) -> tuple[int, dict[str, Any]]:
        """Run the analysis; return its exit code and what it said, the last of each kind."""
        kind = "again" if job.replaces else "together" if job.is_together else "new"
        process = await asyncio.create_subprocess_exec(
            *(sys.executable, "-m", "ergo.web.analysing", kind, str(out), *job.inputs),
            stdin=asyncio.subprocess.PIPE,
            stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.DEVNULL,
        )
        self._process = process
        said: dict[str, Any] = {}
        try:
            assert process.stdout is not None
            async for line in process.stdout:
                with contextlib.suppress(ValueError, TypeError):
                    said |= json.loads(line)
                    self._share = said.get("share", self._share)
            return await process.wait(), said
        finally:
            self._process = None
            if process.returncode is None:
                process.kill()
                await process.wait()

    async def _finish(self, job: Job, out: Path) -> None:
        try:
            if job.replaces is None:
                session = await asyncio.to_thread(_added, self._sessions.library, job, out)
            else:
                session = job.replaces
                await asyncio.to_thread(self._take, session, out)
        except (ErgoError, KeyError) as error:
            self._set(replace(job, state="failed", error=str(error)))
            return
        self._set(replace(job, state="done", session=session))

    def _take(self, session: str, out: Path) -> None:
        """Keep what was watched; show it if its choice is still the one that is stated."""
        with self._sessions.lock:
            folder = self._sessions.entry(session).folder
            keep_choice(folder, out)
            self._sessions.show_choice(session)

    def _set(self, job: Job) -> None:
        write_job(job, self._folder)
        self._jobs[job.id] = job

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
        }


def _added(library: Library, job: Job, out: Path) -> str:
    """Put a finished analysis into the library; a taken name gets a number."""
    for name in (job.name, *(f"{job.name[:76]} {number}" for number in range(2, 100))):
        try:
            return library.add(out, name, tags=job.tags).id
        except LibraryError:
            if name not in {entry.name for entry in library.entries()}:
                raise
    raise LibraryError("is taken.", where=job.name)


def _names(job: Job) -> list[str]:
    paths = [Path(each) for each in job.inputs]
    given = names_given(paths)
    return [given.get(path, path.name) for path in paths]
