"""A session of several cameras on its page: each is shown, and notes are stated of each."""

import json
from dataclasses import replace

import numpy as np
import pytest

from ergo.app.analyse import evaluate_session
from ergo.app.workflow import load_session, rescore_session
from ergo.frames.clips import ClipSource
from ergo.landmarks.names import INDEX
from ergo.library.library import open_library
from ergo.notes.notes import Notes
from ergo.session.several_cameras import merged_cameras
from ergo.storage.session_folder import read_session
from tests.session.two_phones import NAMES, STARTED_LATER_S, recording
from tests.web.conftest import SAMPLES, folder_of, track_of
from tests.web.test_corrections import state, timeline

STATED_S = 2.6
"""What the notes of the second clip state at first; the truth, in fact. [s]"""


def joined_session(folder, *, is_whole=False):
    """Two clips of invented landmarks; the second file is there, the first is not.

    Every landmark is known where ``is_whole``; nobody moves in both alike then.
    """
    folder.mkdir(parents=True)
    (folder / NAMES[1]).write_bytes((SAMPLES / "kf_scaling.mp4").read_bytes())
    seen = recording(folder, noise=0.3)
    facts = replace(ClipSource(folder / NAMES[1]).facts, name=NAMES[1])
    seen = replace(seen, sources=(seen.sources[0], facts))
    if is_whole:
        track = track_of("operator", len(seen.timeline), facts.width_px, facts.height_px)
        seen = replace(seen, tracks={"operator": track})
    return evaluate_session(merged_cameras(seen, (Notes(), Notes(begins_s=STATED_S))), (Notes(),))


@pytest.fixture
def joined(request, client, library_folder, tmp_path):
    """Address and folder of a joined session in the library."""
    session = joined_session(tmp_path / "phones", is_whole=getattr(request, "param", False))
    made = folder_of(session, tmp_path / "made both")
    with open_library(library_folder) as library:
        entry = library.add(made, "Both")
    return f"/api/sessions/{entry.id}", entry.folder


def together(client, path, language="en"):
    return client.get(f"{path}/figures?language={language}").json()["together"]


def test_the_page_says_which_clips_lie_beside_the_first_since_when_and_how_that_was_found(
    client, joined
):
    path, _ = joined
    facts, _ = timeline(client, path)
    assert [each["name"] for each in facts["sources"]] == [NAMES[0]]
    (beside,) = facts["beside"]
    assert (beside["name"], beside["start_s"], beside["is_stated"]) == (NAMES[1], STATED_S, True)
    assert "rear.mp4 began 2.60 s after side.mp4. So the notes say." in together(client, path)
    assert "rear.mp4 begann 2,60 s nach side.mp4. So steht es in den Notizen." in together(
        client, path, "de"
    )


def test_another_start_is_kept_undone_and_found_again_by_movement(client, joined, tmp_path):
    path, folder = joined
    before = client.get(f"{path}/figures").json()
    steps = state(client, path, source=1, key="begins_s", set=1.05)
    assert steps[-1]["text"] == "rear.mp4: Began after the first clip (s): 1.05"
    assert read_session(folder).recording.beside[0].start.offset_s == 1.05
    assert not (tmp_path / "phones/rear.toml").exists()
    rescore_session(folder)
    assert load_session(folder).recording.beside[0].start.offset_s == 1.05
    client.app.state.app_state.sessions.forget(path.rsplit("/", 1)[-1])
    assert client.get(f"{path}/figures").json() != before
    client.post(f"{path}/undo", json={})
    assert client.get(f"{path}/figures").json() == before
    state(client, path, source=1, key="begins_s", set=None)
    start = read_session(folder).recording.beside[0].start
    assert start.origin == "movement"
    assert start.offset_s == pytest.approx(STARTED_LATER_S, abs=0.2)
    assert "Found by how the operator moves in both" in " ".join(together(client, path))


def test_a_start_outside_the_first_clip_is_refused_in_one_line_and_nothing_is_kept(
    client, joined, tmp_path
):
    path, folder = joined
    before = (folder / "session.json").read_bytes()
    answer = client.post(
        f"{path}/corrections?language=de", json={"source": 1, "key": "begins_s", "set": 300}
    )
    assert (answer.status_code, answer.json()["error"]) == (
        422,
        "rear.mp4: lässt sich nicht neben side.mp4 legen: Den Notizen nach begann die Aufnahme "
        "bei 300 s der ersten, und das liegt außerhalb.",
    )
    assert (folder / "session.json").read_bytes() == before
    assert not (tmp_path / "phones/rear.toml").exists()
    assert client.get(f"{path}/corrections").json() == []


def test_notes_of_the_first_clip_are_kept_as_before(client, joined):
    path, folder = joined
    state(client, path, source=0, key="handed", set="left")
    stored = read_session(folder)
    assert stored.notes == (Notes(handed="left"),)
    assert stored.recording.beside[0].notes == Notes(begins_s=STATED_S)
    assert stored.recording.beside[0].start.offset_s == STATED_S


def test_landmarks_of_another_camera_are_those_of_the_same_moment(client, joined):
    path, folder = joined
    _, arrays = timeline(client, path)
    points, time_s = arrays["points_beside"][0], arrays["time_s"]
    rear = read_session(folder).recording.beside[0].recording
    seen = rear.tracks["operator"].picture_px[:, :, :, :2].mean(axis=1)
    at = int(np.argmin(np.abs(time_s - 7.0)))
    wanted = int(np.argmin(np.abs(rear.timeline.time_s - (7.0 - STATED_S))))
    np.testing.assert_allclose(points[at], seen[wanted], atol=1e-3)
    assert np.isnan(points[time_s < STATED_S - 0.3]).all()
    hip = points[:, INDEX["hip_left"]]
    assert np.isfinite(hip[(time_s > STATED_S + 0.3) & (time_s < 17)]).all()


def test_a_landmark_of_another_camera_is_moved_in_its_own_picture_and_comes_back(client, joined):
    path, _ = joined
    _, before = timeline(client, path)
    state(
        client,
        path,
        source=1,
        key="landmarks",
        add={"name": "hip_left", "time_s": 5.0, "at": [111, 222]},
    )
    _, moved = timeline(client, path)
    changed = np.argwhere(moved["points_beside"] != before["points_beside"])
    is_own = ~np.isnan(moved["points_beside"][tuple(changed.T)])
    assert set(moved["points_beside"][tuple(changed[is_own].T)]) == {111, 222}
    np.testing.assert_array_equal(moved["points"], before["points"])
    client.post(f"{path}/undo", json={})
    np.testing.assert_array_equal(
        timeline(client, path)[1]["points_beside"], before["points_beside"]
    )


@pytest.mark.parametrize("joined", [True], indirect=True)
def test_the_picture_of_another_camera_is_that_of_the_same_moment_and_follows_its_start(
    client, joined
):
    path, _ = joined
    frame = 30  # 6 s of the first clip
    shown = client.get(f"{path}/pictures/{frame}?camera=2")
    assert (shown.status_code, shown.headers["content-type"]) == (200, "image/jpeg")
    assert client.get(f"{path}/pictures/{frame}").status_code == 404  # that file is not there
    assert client.get(f"{path}/pictures/0?camera=2").status_code == 404  # it began later
    assert client.get(f"{path}/pictures/{frame}?camera=3").status_code == 422
    state(client, path, source=1, key="begins_s", set=0.6)
    assert client.get(f"{path}/pictures/{frame}?camera=2").content != shown.content


def test_the_operator_cannot_be_chosen_in_a_clip_that_has_gone(client, joined, tmp_path):
    path, _ = joined
    (tmp_path / "phones" / NAMES[1]).unlink()
    answer = client.post(
        f"{path}/corrections", json={"source": 1, "key": "operator", "set": {"at": [1, 1]}}
    )
    assert answer.status_code == 422
    assert answer.json()["error"].startswith("rear.mp4: is no longer at its place.")
    assert client.get("/api/jobs").json() == []


def test_a_camera_that_there_is_not_is_refused(client, joined):
    path, folder = joined
    answer = client.post(f"{path}/corrections", json={"source": 2, "key": "handed", "set": "left"})
    assert answer.status_code == 422
    assert client.get(f"{path}/setup/1").status_code == 200
    assert client.get(f"{path}/setup/2").status_code == 404
    assert len(json.loads((folder / "session.json").read_text())["beside"]) == 1
