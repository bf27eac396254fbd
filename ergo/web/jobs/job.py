"""One analysis that is asked for: its file on the disk, so that a restart finds it again."""

import json
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Literal

from pydantic import TypeAdapter

from ergo.whole import write_file

State = Literal["waiting", "running", "done", "failed", "cancelled"]


@dataclass(frozen=True, slots=True)
class Job:
    """An analysis in the queue.

    Attributes
    ----------
    id : str
    number : int
        Order in the queue.
    name : str
        Of the session to be.
    inputs : tuple of str
        Paths of clips and stills; of the session folder if it is watched again.
    tags : tuple of str
    replaces : str or None
        Id of the session that is watched again.
    is_together : bool
        The inputs are clips of several cameras that filmed the same minutes.
    lacks_start : bool
        It failed because nothing tells when the other clips began; what was
        watched is kept until somebody states it or takes the job off the list.
    state : str
    error : str or None
        Why it failed, in one line.
    session : str or None
        Id of the session it became.
    """

    id: str
    number: int
    name: str
    inputs: tuple[str, ...]
    tags: tuple[str, ...] = ()
    replaces: str | None = None
    is_together: bool = False
    lacks_start: bool = False
    state: State = "waiting"
    error: str | None = None
    session: str | None = None


_JOB = TypeAdapter(Job)
DAMAGED = "This analysis is damaged on the disk. Take it off the list and send the recording again."


def write_job(job: Job, folder: Path) -> None:
    """Write a job's file, whole or not at all."""
    folder.mkdir(parents=True, exist_ok=True)
    write_file(folder / f"{job.id}.json", json.dumps(asdict(job), ensure_ascii=False))


def read_jobs(folder: Path) -> list[Job]:
    """Return the jobs of a folder in order; what ran when the page ended waits again.

    A damaged file is one failed job that bears its name; nothing else suffers.
    """
    jobs = [_read(path) for path in folder.glob("*.json")]
    jobs = [replace(job, state="waiting") if job.state == "running" else job for job in jobs]
    return sorted(jobs, key=lambda job: (job.number, job.name))


def _read(path: Path) -> Job:
    try:
        job = _JOB.validate_json(path.read_bytes())
    except (OSError, ValueError):
        return Job(path.stem, 0, path.name, (), state="failed", error=DAMAGED)
    return replace(job, id=path.stem)
