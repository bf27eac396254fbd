import asyncio
import contextlib
import os
import signal
import subprocess
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
from starlette.testclient import TestClient

from ergo.errors import EndedBySystem, OutputError
from ergo.frames.find import find_sources
from ergo.web.app import create_app
from ergo.web.jobs import worker
from ergo.web.jobs.analysis_process import share_teller
from ergo.web.jobs.job import DAMAGED, Job, read_jobs, write_job
from ergo.web.jobs.queue import Queue
from ergo.web.jobs.uploads import Uploads
from ergo.web.jobs.worker import FAILED, Worker
from tests.web.conftest import HOME, SAMPLES
from tests.web.test_uploads import STILL

PATIENCE_S = 60


def job_when(client, *states):
    """Wait until the first job is in one of these states."""
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        (job, *_) = client.get("/api/jobs").json()
        if job["state"] in states:
            return job
        time.sleep(0.1)
    raise AssertionError(f"still {job['state']}")


def test_an_analysis_can_be_cancelled_and_taken_off_the_list(client):
    client.app.state.app_state.queue.add("clip", [SAMPLES / "kf_scaling.mp4"])
    client.app.state.app_state.queue.add("second", [SAMPLES / "kf_scaling.mp4"])
    second = client.get("/api/jobs").json()[1]
    assert second["state"] == "waiting"
    client.post(f"/api/jobs/{second['id']}/cancel")
    first = client.get("/api/jobs").json()[0]
    assert client.post(f"/api/jobs/{first['id']}/cancel").status_code == 204
    assert job_when(client, "cancelled")
    assert client.delete(f"/api/jobs/{first['id']}").status_code == 204
    assert [job["state"] for job in client.get("/api/jobs").json()] == ["cancelled"]
    assert client.post(f"/api/jobs/{first['id']}/cancel").status_code == 404


def test_a_recording_that_cannot_be_used_fails_in_one_line_and_the_next_goes_on(client, tmp_path):
    broken = tmp_path / "broken.mp4"
    broken.write_bytes(b"no clip")
    queue = client.app.state.app_state.queue
    queue.add("broken", [broken])
    queue.add("gone", [tmp_path / "gone.mp4"])
    job = job_when(client, "failed")
    assert "broken.mp4" in job["error"]
    assert "\n" not in job["error"]
    end = time.monotonic() + PATIENCE_S
    while client.get("/api/jobs").json()[1]["state"] != "failed" and time.monotonic() < end:
        time.sleep(0.1)
    assert "gone.mp4" in client.get("/api/jobs").json()[1]["error"]


def test_what_ran_when_the_page_was_killed_waits_again_and_the_rest_is_as_it_was(tmp_path):
    jobs = [
        Job("a" * 32, 2, "second", ("x",), ("tag",)),
        Job("b" * 32, 1, "first", ("x",), state="running"),
        Job("c" * 32, 3, "third", ("x",), state="failed", error="because"),
    ]
    for job in jobs:
        write_job(job, tmp_path)
    (tmp_path / ".d.unfinished").write_text("{")
    assert read_jobs(tmp_path) == [replace(jobs[1], state="waiting"), jobs[0], jobs[2]]


def test_the_queue_goes_on_after_a_restart(library_folder, keys, tmp_path):
    gone = str(tmp_path / "gone.mp4")
    write_job(Job("b" * 32, 1, "first", (gone,), state="running"), library_folder / "analyses")
    with TestClient(create_app(library_folder, keys), base_url=HOME) as client:
        client.get(f"/open?key={keys.secret}")
        assert "gone.mp4" in job_when(client, "failed")["error"]


def in_queue(folder, *steps, sessions=None):
    """Let a worker run beside steps, each a function of the queue; return the rows at the end.

    Between two steps everybody else gets on until nobody can.
    """

    async def run():
        queue = Queue(folder / "analyses", Uploads(folder / "recordings"))
        task = asyncio.create_task(Worker(queue, sessions).work())
        for step in steps:
            async with asyncio.timeout(PATIENCE_S):
                if (waited := step(queue)) is not None:
                    await waited
            for _ in range(50):
                await asyncio.sleep(0)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        return queue.described()

    return asyncio.run(run())


class Started:
    """Stands in for a process that takes its time to start."""

    def __init__(self):
        self.begins = asyncio.Event()
        self.may_begin = asyncio.Event()
        self.has_begun = False

    @contextlib.asynccontextmanager
    async def __call__(self, *command, task):
        self.begins.set()
        await self.may_begin.wait()
        self.has_begun = True
        yield self

    async def heard(self):
        self.ran = True
        yield {"share": 1.0}


@pytest.mark.parametrize("what", ["cancel", "remove"])
def test_what_is_given_up_while_its_process_starts_never_begins(tmp_path, monkeypatch, what):
    child = Started()
    monkeypatch.setattr(worker, "async_child", child)
    kept = []
    monkeypatch.setattr(worker.Worker, "_keep", lambda _, job: kept.append(job))
    rows = in_queue(
        tmp_path,
        lambda queue: queue.add("clip", [SAMPLES / "kf_scaling.mp4"]) and None,
        lambda _: child.begins.wait(),
        lambda queue: getattr(queue, what)(queue.described()[0]["id"]),
        lambda _: child.may_begin.set(),
    )
    assert [row["state"] for row in rows] == (["cancelled"] if what == "cancel" else [])
    assert not child.has_begun
    assert kept == []
    assert len(list((tmp_path / "analyses").iterdir())) == len(rows)


class Library:
    """Takes its time to take a session in."""

    def __init__(self):
        self.names = []
        self.begins, self.may_end = threading.Event(), threading.Event()

    def add(self, out, name, tags):
        self.begins.set()
        assert self.may_end.wait(PATIENCE_S)
        self.names.append(name)
        return SimpleNamespace(id="e" * 32, name=name)

    def delete(self, name):
        self.names.remove(name)


@pytest.mark.parametrize(
    ("what", "names", "states"), [("remove", [], []), ("cancel", ["clip"], ["done"])]
)
def test_a_job_removed_while_its_session_is_kept_does_not_come_back(
    tmp_path, monkeypatch, what, names, states
):
    library = Library()

    async def analysed(self, job):
        return None

    monkeypatch.setattr(worker.Worker, "_analysed", analysed)
    rows = in_queue(
        tmp_path,
        lambda queue: queue.add("clip", []) and None,
        lambda _: asyncio.to_thread(library.begins.wait, PATIENCE_S),
        lambda queue: getattr(queue, what)(queue.described()[0]["id"]),
        lambda _: library.may_end.set(),
        lambda queue: settled(queue, library),
        sessions=SimpleNamespace(library=library),
    )
    assert library.names == names
    assert [row["state"] for row in rows] == states


async def settled(queue, library):
    while library.names and queue.described() == []:
        await asyncio.sleep(0.01)
    while any(row["state"] == "running" for row in queue.described()):
        await asyncio.sleep(0.01)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"{",
        b"[]",
        b"null",
        b'{"id": 5}',
        b"\xff\xfe",
        b'{"id": "a", "number": "x"}',
        b"[" * 9999,
    ],
)
def test_a_damaged_job_is_one_failed_job_and_the_page_opens(library_folder, keys, content):
    analyses = library_folder / "analyses"
    write_job(Job("b" * 32, 1, "good", ("x",), state="failed", error="why"), analyses)
    (analyses / f"{'a' * 32}.json").write_bytes(content)
    with TestClient(create_app(library_folder, keys), base_url=HOME) as client:
        client.get(f"/open?key={keys.secret}")
        client.headers["origin"] = HOME
        damaged, good = client.get("/api/jobs").json()
        assert (damaged["name"], damaged["error"]) == (f"{'a' * 32}.json", DAMAGED)
        assert damaged["can_be_repeated"] is False
        assert good["error"] == "why"
        assert client.post(f"/api/jobs/{damaged['id']}/again").status_code == 404
        assert client.delete(f"/api/jobs/{damaged['id']}").status_code == 204
    assert [path.stem for path in analyses.iterdir()] == ["b" * 32]


def test_what_the_system_ended_goes_on_when_it_is_tried_again(tmp_path, monkeypatch):
    tries = []

    async def analysed(self, job):
        out = self._queue.out(job.id)
        tries.append(out.is_dir())
        out.mkdir(parents=True, exist_ok=True)
        raise EndedBySystem("was ended by the system (SIGSEGV).", where="The analysis")

    monkeypatch.setattr(worker.Worker, "_analysed", analysed)
    (row,) = in_queue(
        tmp_path,
        lambda queue: queue.add("clip", [STILL]) and None,
        lambda queue: queue.again(queue.described()[0]["id"]),
    )
    assert tries == [False, True]
    assert row["state"] == "failed"
    assert row["error"].startswith("The analysis was ended by the system (SIGSEGV). Try again:")
    assert row["can_be_repeated"]


def test_a_full_disk_does_not_stop_the_queue(tmp_path, monkeypatch):
    done = []

    async def analysed(self, job):
        done.append(job.name)

    def full(job, folder):
        raise OutputError("cannot be written.")

    monkeypatch.setattr(worker.Worker, "_analysed", analysed)
    monkeypatch.setattr(worker.Worker, "_keep", lambda self, job: asyncio.sleep(0))
    for number, name in enumerate(("first", "second")):
        write_job(Job(str(number), number, name, (str(STILL),)), tmp_path / "analyses")
    monkeypatch.setattr("ergo.web.jobs.queue.write_job", full)
    rows = in_queue(tmp_path, lambda _: None)
    assert done == ["first", "second"]
    assert len(rows) == 2


def test_a_process_of_the_page_that_was_killed_is_told_as_that(client, monkeypatch):
    queue = client.app.state.app_state.queue
    queue.add("clip", [SAMPLES / "kf_scaling.mp4"])
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end and not (pids := analysing(os.getpid())):
        client.get("/api/jobs")
        time.sleep(0.05)
    os.kill(pids[0], signal.SIGKILL)
    job = job_when(client, "failed")
    assert "memory ran out" in job["error"]
    assert "Try again" in job["error"]
    client.post(f"/api/jobs/{job['id']}/again")
    assert job_when(client, "waiting", "running")
    client.delete(f"/api/jobs/{job['id']}")


def analysing(parent):
    """Process ids of analyses that a process started."""
    found = []
    for task in Path(f"/proc/{parent}/task").iterdir():
        for pid in (task / "children").read_text().split():
            with contextlib.suppress(OSError):
                if b"ergo.web.jobs.analysis_process" in Path(f"/proc/{pid}/cmdline").read_bytes():
                    found.append(int(pid))
    return found


def test_an_analysis_ends_when_the_page_does(tmp_path):
    command = [sys.executable, "-m", "ergo.web.jobs.analysis_process", "new", str(tmp_path / "out")]
    process = subprocess.Popen(
        [*command, str(SAMPLES / "kf_scaling.mp4")],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
    )
    process.stdin.close()
    assert process.wait(30) == 130
    assert not (tmp_path / "out").exists()


def test_the_share_rises_over_clips_and_stills_to_one():
    facts = [source.facts for source in find_sources([SAMPLES / "stills", SAMPLES]).sources]
    clip = next(each for each in facts if each.kind == "clip")
    said = []
    for seconds in (0.0, clip.duration_s / 2, clip.duration_s, 10 * clip.duration_s):
        share_teller(facts, said.append)(clip, seconds)
    shares = [line["share"] for line in said]
    assert shares == sorted(shares)
    assert shares[0] == pytest.approx(6 / (6 + clip.duration_s), abs=0.02)
    assert shares[-1] == 1.0


def test_a_mistake_of_ours_fails_one_job_and_is_not_told_as_the_users(
    tmp_path, monkeypatch, caplog
):
    async def failing(self, job):
        raise ZeroDivisionError

    monkeypatch.setattr(worker.Worker, "_analysed", failing)
    (row,) = in_queue(tmp_path, lambda queue: queue.add("a", []) and None)
    assert (row["state"], row["error"]) == ("failed", FAILED)
    assert "ZeroDivisionError" in caplog.text
