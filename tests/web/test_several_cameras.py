"""Clips of several cameras become one session from the page; what is missing is asked for."""

import json
import time

import numpy as np
import pytest
from starlette.testclient import TestClient

from ergo.session.several_cameras import views_of
from ergo.storage.session_folder import read_session
from ergo.web.app import create_app
from ergo.web.guard import Keys
from ergo.web.jobs.job import Job, read_jobs, write_job
from ergo.web.jobs.uploads import names_given
from tests.web.conftest import HOME, SAMPLES
from tests.web.test_uploads import begin, put
from tests.web.two_clips import LATER_S, NAMES, two_clips

PATIENCE_S = 240
CLIP = (SAMPLES / "kf_scaling.mp4").read_bytes()
STILL = (SAMPLES / "stills" / "1_kf_side_left.jpg").read_bytes()


def sent_together(client, *files, together=True, headers=None):
    upload = begin(client, *((name, len(content)) for name, content in files)).json()["id"]
    for number, (_, content) in enumerate(files):
        assert put(client, upload, content, number=number).status_code == 200
    return client.post(
        f"/api/uploads/{upload}/done", json={"name": "both", "together": together}, headers=headers
    )


def job_when(client, job_id, *states):
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        job = next(each for each in client.get("/api/jobs").json() if each["id"] == job_id)
        if job["state"] in states:
            return job
        time.sleep(0.2)
    raise AssertionError(job)


@pytest.mark.parametrize(
    ("files", "english", "german"),
    [
        (
            [("side.mp4", CLIP)],
            "side.mp4: is the only recording.",
            "side.mp4: ist die einzige Aufnahme.",
        ),
        (
            [("side.mp4", CLIP), ("chair.jpg", STILL)],
            "chair.jpg: is a still, and stills have no common time.",
            "chair.jpg: ist ein Einzelbild, und Einzelbilder haben keine gemeinsame Zeit.",
        ),
    ],
)
def test_one_clip_or_a_still_is_refused_in_one_line_before_anything_is_queued(
    client, library_folder, files, english, german
):
    for language, line in (("en", english), ("de", german)):
        answer = sent_together(client, *files, headers={"accept-language": language})
        assert (answer.status_code, answer.json()) == (422, {"error": line})
    assert client.get("/api/jobs").json() == []
    assert list((library_folder / "recordings").iterdir()) == []


@pytest.fixture(scope="module")
def silent(tmp_path_factory):
    """A page with an analysis of two silent clips that has come to its end, and its job."""
    folder, keys = tmp_path_factory.mktemp("silent"), Keys()
    clips = two_clips(folder / "clips", 2.8, is_silent=True)
    with TestClient(create_app(folder / "library", keys), base_url=HOME) as client:
        client.get(f"/open?key={keys.secret}")
        client.headers["origin"] = HOME
        answer = sent_together(client, *((clip.name, clip.read_bytes()) for clip in clips))
        yield client, job_when(client, answer.json()["job"], "failed", "done"), folder / "library"


@pytest.fixture(scope="module")
def stated(silent):
    """The same when a start outside the first clip was stated, then the right one."""
    client, job, library = silent
    kept = library / "analyses" / f".{job['id']}.out.unfinished"
    watched = {path: path.stat().st_mtime_ns for path in kept.rglob("*.parquet")}
    jobs = []
    for begins_s in (50, LATER_S):
        answer = client.post(f"/api/jobs/{job['id']}/starts", json={"begins_s": [begins_s]})
        assert answer.status_code == 204
        jobs.append(job_when(client, job["id"], "failed", "done"))
        now = {path: path.stat().st_mtime_ns for path in kept.rglob("*.parquet")}
        assert now in (watched, {})  # {}: it is done
    assert len(watched) >= len(NAMES)
    return client, jobs, library


def test_a_start_that_nothing_tells_is_asked_for_by_the_names_people_gave(silent):
    client, job, _ = silent
    assert (job["state"], job["lacks_start"], job["clips"]) == ("failed", True, list(NAMES))
    assert job["error"] == (
        "rear.mp4: cannot be laid beside side.mp4: side.mp4 has no sound, and the operator's "
        "movements in both have too little in common."
    )
    (row,) = client.get("/api/jobs?language=de").json()
    assert row["error"].startswith("rear.mp4: lässt sich nicht neben side.mp4 legen: side.mp4 hat")


def test_a_stated_start_makes_one_session_and_nothing_is_watched_twice(stated):
    client, (outside, done), library = stated
    assert outside["error"].endswith("began at 50 s of the first, which is outside it.")
    assert outside["lacks_start"]
    assert (done["state"], done["error"], done["lacks_start"]) == ("done", None, False)
    recording = read_session(library / "sessions" / done["session"]).recording
    assert [recording.sources[0].name, recording.beside[0].recording.sources[0].name] == list(NAMES)
    start = recording.beside[0].start
    assert (start.offset_s, start.origin) == (LATER_S, "notes")
    figures = client.get(f"/api/sessions/{done['session']}/figures").json()
    assert "rear.mp4 began 1.20 s after side.mp4. So the notes say." in figures["together"]
    assert any(table["name"] == "together_table" for table in figures["tables"])
    again = client.post(f"/api/jobs/{done['id']}/starts", json={"begins_s": [0]})
    assert again.status_code == 404  # it lacks none any more


def test_another_operator_of_the_second_camera_is_watched_there_alone_and_undone_at_once(stated):
    client, (_, done), library = stated
    path, folder = f"/api/sessions/{done['session']}", library / "sessions" / done["session"]
    first, second = seen_in(folder)
    figures = client.get(f"{path}/figures").json()
    wanted = {"source": 1, "key": "operator", "set": {"at": [100, 120], "time_s": 0.4}}
    assert client.post(f"{path}/corrections", json=wanted).status_code == 200
    job = next(each for each in client.get("/api/jobs").json() if each["replaces"])
    assert job_when(client, job["id"], "failed", "done")["error"] is None
    own, other = seen_in(folder)
    np.testing.assert_array_equal(own, first)
    assert not np.array_equal(other, second, equal_nan=True)
    assert read_session(folder).recording.beside[0].start.offset_s == LATER_S
    assert client.post(f"{path}/undo", json={}).status_code == 200
    own, other = seen_in(folder)
    np.testing.assert_array_equal(own, first)
    np.testing.assert_array_equal(other, second)
    assert client.get(f"{path}/figures").json() == figures


def seen_in(folder):
    """The operator's landmarks in every clip."""
    return [view.tracks["operator"].picture_px for view in views_of(read_session(folder).recording)]


def lacking(library_folder, tmp_path):
    """A job that lacks a start, as an earlier start of the page left it."""
    inputs = tuple(str(tmp_path / name) for name in ("a.mp4", "b.mp4", "c.mp4"))
    job = Job(
        "d" * 32, 1, "both", inputs, is_together=True, lacks_start=True, state="failed", error="why"
    )
    write_job(job, library_folder / "analyses")
    return job


@pytest.mark.parametrize(
    ("stated", "status"),
    [
        ({"begins_s": [1.0]}, 404),
        ({"begins_s": [1.0, None, 2.0]}, 404),
        ({"begins_s": [1e9, None]}, 422),
        ({"begins_s": ["later", None]}, 422),
        ({"begins_s": 3}, 422),
        ({}, 422),
    ],
)
def test_starts_that_cannot_be_are_refused_and_nothing_changes(
    library_folder, client, tmp_path, stated, status
):
    job = lacking(library_folder, tmp_path)
    client.app.state.app_state.queue._jobs[job.id] = job
    answer = client.post(f"/api/jobs/{job.id}/starts", json=stated)
    assert (answer.status_code, set(answer.json())) == (status, {"error"})
    assert read_jobs(library_folder / "analyses") == [job]
    assert not list(tmp_path.glob("*.toml"))


def test_an_analysis_that_is_taken_off_the_list_leaves_nothing_behind(
    library_folder, client, tmp_path
):
    job = lacking(library_folder, tmp_path)
    client.app.state.app_state.queue._jobs[job.id] = job
    kept = library_folder / "analyses" / f".{job.id}.out.unfinished"
    kept.mkdir()
    assert client.delete(f"/api/jobs/{job.id}").status_code == 204
    assert not kept.exists()


def test_jobs_of_the_version_before_are_read(tmp_path):
    row = {"id": "a" * 32, "number": 1, "name": "old", "inputs": ["x"], "tags": []}
    (tmp_path / f"{'a' * 32}.json").write_text(json.dumps(row))
    assert read_jobs(tmp_path) == [Job("a" * 32, 1, "old", ("x",))]


def test_uploads_are_told_by_the_names_people_gave_them_each_once(client, library_folder):
    given = ["../../IMG 1.mov", "IMG 1.mov", "C:\\clips\\rear\n.mp4", "\u202ebad.mp4"]
    upload = begin(client, *((name, 1) for name in given)).json()["id"]
    paths = [file.path for file in client.app.state.app_state.uploads.files(upload)]
    names = names_given([*paths, library_folder / "elsewhere.mp4"])
    assert list(names) == paths
    assert list(names.values()) == ["IMG 1.mov", "IMG 1.mov (2)", "rear.mp4", "bad.mp4"]
