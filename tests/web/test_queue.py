import asyncio
import subprocess
import sys
import time
from dataclasses import replace

import pytest
from starlette.testclient import TestClient

from ergo.frames.find import find_sources
from ergo.web.analysing import share_teller
from ergo.web.app import create_app
from ergo.web.jobs import Job, read_jobs, write_job
from ergo.web.queue import FAILED, Queue

from .conftest import HOME, SAMPLES

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
    client.app.state.desk.queue.add("clip", [SAMPLES / "kf_scaling.mp4"])
    client.app.state.desk.queue.add("second", [SAMPLES / "kf_scaling.mp4"])
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
    queue = client.app.state.desk.queue
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


def test_an_analysis_ends_when_the_page_does(tmp_path):
    command = [sys.executable, "-m", "ergo.web.analysing", "new", str(tmp_path / "out")]
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


def test_a_mistake_of_ours_fails_one_job_and_is_not_told_as_the_users(tmp_path, caplog):
    class Failing(Queue):
        async def _do(self, job):
            raise ZeroDivisionError

    async def work():
        queue = Failing(tmp_path, None)
        queue.add("a", [])
        task = asyncio.create_task(queue.work())
        await asyncio.sleep(0.05)
        task.cancel()
        return queue.described()

    (row,) = asyncio.run(work())
    assert (row["state"], row["error"]) == ("failed", FAILED)
    assert "ZeroDivisionError" in caplog.text
