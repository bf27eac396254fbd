"""Another person is chosen as the operator: watched again, kept, and brought back."""

import time

import numpy as np
import pytest

from ergo.app.analyse import evaluate_session
from ergo.app.rewatching import with_source_again
from ergo.frames.stills import StillSource
from ergo.library.library import open_library
from ergo.notes.notes import Notes
from ergo.session.session import Recording, Settings
from ergo.storage.session_folder import read_session
from ergo.timeline import build_timeline
from tests.web.conftest import SAMPLES, bent_person, folder_of, track_of
from tests.web.test_corrections import FullDisk, files_of, state

PATIENCE_S = 120
STILLS = ("1_kf_side_left.jpg", "3_ro_side_right_with_assistant.jpg")


def session_of_stills(folder):
    """A session of two stills whose landmarks nobody measured; the stills are copies."""
    folder.mkdir()
    sources = []
    for name in STILLS:
        (folder / name).write_bytes((SAMPLES / "stills" / name).read_bytes())
        sources.append(StillSource(folder / name).facts)
    recording = Recording(
        settings=Settings(effort="fast"),
        sources=tuple(sources),
        timeline=build_timeline(STILLS, (np.zeros(1),) * 2, (False,) * 2),
        number=np.zeros(2, dtype=np.int64),
        tracks={"operator": track_of("operator", 2, sources[0].width_px, sources[0].height_px)},
        damage={},
        doubt={STILLS[0]: "invented", STILLS[1]: "invented too"},
        skipped=(),
        versions={},
    )
    return evaluate_session(recording, (Notes(), Notes()))


@pytest.fixture
def stills(client, library_folder, tmp_path):
    """Id of a session of two stills in the library."""
    made = folder_of(session_of_stills(tmp_path / "stills"), tmp_path / "made stills")
    with open_library(library_folder) as library:
        return library.add(made, "Two stills").id


def points_of(library_folder, session):
    recording = read_session(library_folder / "sessions" / session).recording
    return recording.tracks["operator"].picture_px


def when_watched(client):
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        jobs = client.get("/api/jobs").json()
        if all(job["state"] == "done" for job in jobs):
            return jobs
        assert all(job["state"] in ("waiting", "running", "done") for job in jobs), jobs
        time.sleep(0.2)
    raise AssertionError(jobs)


def test_another_operator_is_watched_in_that_source_alone_and_undone_at_once(
    client, stills, library_folder
):
    path = f"/api/sessions/{stills}"
    before = points_of(library_folder, stills)
    figures = client.get(f"{path}/figures").json()
    state(client, path, source=1, key="operator", set={"at": [640, 480], "time_s": 0})
    np.testing.assert_array_equal(points_of(library_folder, stills), before)
    (job,) = when_watched(client)
    assert (job["replaces"], job["session"]) == (stills, stills)
    after = points_of(library_folder, stills)
    np.testing.assert_array_equal(after[0], before[0])
    assert np.all(np.abs(after[1] - before[1]).max(axis=(0, 2)) > 1)
    assert client.get(f"{path}/figures").json() != figures
    assert client.post(f"{path}/undo", json={}).status_code == 200
    np.testing.assert_array_equal(points_of(library_folder, stills), before)
    assert client.get(f"{path}/figures").json() == figures
    state(client, path, source=1, key="operator", set={"at": [640, 480], "time_s": 0})
    np.testing.assert_array_equal(points_of(library_folder, stills), after)
    assert client.get("/api/jobs").json() == []


def test_undoing_a_choice_drops_its_watching(client, stills):
    path = f"/api/sessions/{stills}"
    state(client, path, source=0, key="operator", set={"at": [640, 480], "time_s": 0})
    (job,) = client.get("/api/jobs").json()
    state(client, path, source=0, key="handed", set="left")
    assert [each["id"] for each in client.get("/api/jobs").json()] == [job["id"]]
    client.post(f"{path}/undo", json={})
    client.post(f"{path}/undo", json={})
    assert client.get("/api/jobs").json() == []


def test_a_choice_that_cannot_be_brought_back_leaves_everything_as_it_was(
    client, stills, library_folder, monkeypatch
):
    path = f"/api/sessions/{stills}"
    folder = library_folder / "sessions" / stills
    state(client, path, source=1, key="operator", set={"at": [640, 480], "time_s": 0})
    when_watched(client)
    before, history = files_of(folder), client.get(f"{path}/corrections").json()
    disk = FullDisk(monkeypatch)
    for steps in range(20):
        disk.fill(after=steps)
        answer = client.post(f"{path}/undo", json={})
        if answer.status_code == 200:
            break
        assert "No space left" in answer.json()["error"]
        assert files_of(folder) == before
        assert client.get(f"{path}/corrections").json() == history
    assert steps >= 5  # notes, history, landmarks, how they were watched, whose they are


def test_a_choice_that_cannot_be_queued_is_not_kept(client, stills, library_folder, monkeypatch):
    path = f"/api/sessions/{stills}"
    folder = library_folder / "sessions" / stills
    chosen = {"source": 1, "key": "operator", "set": {"at": [640, 480], "time_s": 0}}
    read, shown = read_session(folder).notes, client.get(f"{path}/timeline").content
    disk = FullDisk(monkeypatch)
    for steps in range(20):
        disk.fill(after=steps)
        answer = client.post(f"{path}/corrections", json=chosen)
        if answer.status_code == 200:
            break
        assert "No space left" in answer.json()["error"]
        assert client.get("/api/jobs").json() == []
        assert client.get(f"{path}/corrections").json() == []
        assert read_session(folder).notes == read
        assert client.get(f"{path}/timeline").content == shown
    assert steps >= 5  # what is shown, whose it is, notes, history, what is to be watched
    disk.fill(after=1000)
    assert [job["replaces"] for job in when_watched(client)] == [stills]


def test_another_operator_cannot_be_chosen_in_a_recording_that_has_gone(client, stills, tmp_path):
    (tmp_path / "stills" / STILLS[1]).unlink()
    answer = client.post(
        f"/api/sessions/{stills}/corrections",
        json={"source": 1, "key": "operator", "set": {"at": [1, 1]}},
    )
    assert answer.status_code == 422
    assert STILLS[1] in answer.json()["error"]
    assert client.get(f"/api/sessions/{stills}/corrections").json() == []


def test_one_source_seen_again_leaves_the_others_as_they_were(tmp_path):
    old = session_of_stills(tmp_path / "stills").recording
    again = Recording(
        settings=old.settings,
        sources=old.sources[1:],
        timeline=build_timeline(STILLS[1:], (np.zeros(1),), (False,)),
        number=np.zeros(1, dtype=np.int64),
        tracks={
            "operator": track_of("operator", 1, 100, 100),
            "assistant": track_of("assistant", 1, 200, 200),
        },
        damage={},
        doubt={},
        skipped=(),
        versions={"ergo": "invented"},
    )
    both = with_source_again(old, 1, again)
    seen = both.tracks["operator"].picture_px
    np.testing.assert_array_equal(seen[0], old.tracks["operator"].picture_px[0])
    np.testing.assert_array_equal(seen[1], bent_person(1, 100, 100)[0])
    assert np.isnan(both.tracks["assistant"].picture_px[0]).all()
    assert np.isfinite(both.tracks["assistant"].picture_px[1]).all()
    assert both.doubt == {STILLS[0]: "invented"}
