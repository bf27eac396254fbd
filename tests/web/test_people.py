"""Everybody in a picture is found, outlined and asked about before anybody is the operator."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from ergo.app.analyse import evaluate_session
from ergo.landmarks.names import INDEX
from ergo.library.library import open_library
from ergo.notes.notes import Notes
from ergo.notes.reading import read_notes
from ergo.web.session.finding import Found, described, merged
from tests.web.conftest import SAMPLES, bent_person, folder_of, invented_session, track_of
from tests.web.test_choosing import STILLS, session_of_stills
from tests.web.test_corrections import state

WIDTH, HEIGHT = 640, 480


def body(near, **facts):
    return Found(bent_person(1, WIDTH, HEIGHT, near)[0, 0, :, :2], **{"lies": False, **facts})


def inside(person, at):
    corners = np.array(person["outline"], dtype=np.int32)
    return cv2.pointPolygonTest(corners, (float(at[0]), float(at[1])), False) >= 0


def test_one_body_found_twice_is_one_person_of_whom_every_find_tells():
    right, left = body(0.25), body(-0.3, is_operator=True)
    again = replace(left, points=left.points + (4, 2), lies=True, is_operator=False)
    people = merged([right, left, again])
    assert [(each.lies, each.is_operator) for each in people] == [(True, True), (False, False)]
    assert people[1] is right


def test_everybody_is_pointed_at_where_nobody_else_is():
    """The second person's trunk lies behind the first one's arm and hand."""
    first = body(0.0)
    behind = Found(first.points + (0.14 * WIDTH, 0.0), lies=False)
    people = described([first, behind], (HEIGHT, WIDTH))
    for own, other in (people, people[::-1]):
        assert inside(own, own["at"])
        assert not inside(other, own["at"])


def test_a_point_on_somebody_half_outside_lies_in_the_picture():
    (person,) = described([body(0.55)], (HEIGHT, WIDTH))
    assert 0 <= person["at"][0] < WIDTH
    assert 0 <= person["at"][1] < HEIGHT


@pytest.fixture
def stills(client, library_folder, tmp_path):
    """Id of a session of two stills; nobody was followed in them."""
    session = session_of_stills(tmp_path / "stills")
    track = session.recording.tracks["operator"]
    nowhere = replace(track, picture_px=np.full_like(track.picture_px, np.nan))
    recording = replace(
        session.recording, tracks={"operator": replace(nowhere, presence=np.zeros(2))}
    )
    made = folder_of(evaluate_session(recording, (Notes(), Notes())), tmp_path / "made stills")
    with open_library(library_folder) as library:
        return library.add(made, "Two stills").id


def test_operator_assistant_and_lying_patient_of_a_still_are_found(client, stills):
    """Checked against the notes of the example, which say where the operator is."""
    people = client.get(f"/api/sessions/{stills}/people/1").json()
    noted = read_notes(SAMPLES / "stills" / STILLS[1]).operator
    assert [person["lies"] for person in people].count(True) == 1
    assert len(people) >= 3
    (operator,) = [person for person in people if inside(person, noted.at)]
    assert not operator["lies"]
    assert [person["at"][0] for person in people] == sorted(p["at"][0] for p in people)
    assert not any(person["is_operator"] for person in people)


@pytest.fixture
def searched(client, monkeypatch):
    """Count searches instead of searching; nobody is ever found."""
    asked = []

    async def search(*place):
        asked.append(place[1:])
        return []

    monkeypatch.setattr(client.app.state.app_state.people, "search", search)
    return asked


def test_a_picture_is_searched_once(client, stills, searched):
    path = f"/api/sessions/{stills}/people"
    for frame in (1, 0, 1):
        assert client.get(f"{path}/{frame}").json() == []
    assert searched == [(1, 1), (0, 1)]


def test_a_picture_that_is_not_there_is_told_in_one_line(client, stills, tmp_path):
    path = f"/api/sessions/{stills}/people"
    assert client.get(f"{path}/2").status_code == 404
    assert client.get(f"{path}/0?camera=2").status_code == 422
    (tmp_path / "stills" / STILLS[0]).unlink()
    answer = client.get(f"{path}/0")
    assert answer.status_code == 404
    assert answer.json() == {"error": "The recording is no longer at its place."}


def test_a_search_that_takes_too_long_is_ended_and_told(client, stills):
    client.app.state.app_state.people.patience_s = 0.05
    answer = client.get(f"/api/sessions/{stills}/people/0", headers={"accept-language": "de"})
    assert answer.status_code == 422
    assert answer.json()["error"].startswith("Das Suchen nach Personen in diesem Bild hat zu lange")


@pytest.fixture
def with_patient(client, library_folder, tmp_path, clip):
    """Id of a session in which a patient was followed, too; to the left of the operator."""
    session = invented_session(clip, 20)
    facts = session.recording.sources[0]
    patient = track_of("patient", 20, facts.width_px, facts.height_px, near=-0.3)
    found = np.arange(20) == 4
    points = np.where(found[:, None, None, None], patient.picture_px, np.nan)
    patient = replace(patient, picture_px=points, presence=np.where(found, 0.9, 0.0))
    tracks = {**session.recording.tracks, "patient": patient}
    session = evaluate_session(replace(session.recording, tracks=tracks), session.notes)
    with open_library(library_folder) as library:
        entry = library.add(folder_of(session, tmp_path / "made with patient"), "With patient")
    return entry.id, points[4, 0]


def chosen(points, **more):
    at = points[INDEX["shoulder_left"], :2].round(1).tolist()
    return {"source": 0, "key": "operator", "set": {"at": at, "time_s": 3.0}, **more}


@pytest.mark.parametrize(("language", "words"), [("en", "lies, as a"), ("de", "liegt wie ein")])
def test_a_lying_patient_is_no_operator_before_that_is_confirmed(
    client, with_patient, language, words
):
    session, points = with_patient
    path = f"/api/sessions/{session}"
    before = client.get(f"{path}/pictures/4").content
    headers = {"accept-language": language}
    answer = client.post(f"{path}/corrections", json=chosen(points), headers=headers)
    assert answer.status_code == 422
    assert words in answer.json()["error"]
    assert client.get(f"{path}/corrections").json() == []
    assert client.get("/api/jobs").json() == []
    state(client, path, **chosen(points, confirmed=True))
    (job,) = client.get("/api/jobs").json()
    assert job["replaces"] == session
    assert client.get(f"{path}/pictures/4").content == before  # nothing is shown before it ended
    client.post(f"{path}/undo", json={})


def test_who_sits_beside_the_patient_is_not_asked_about(client, with_patient):
    session, points = with_patient
    path = f"/api/sessions/{session}"
    beside = points + (0.3 * 640, 0, 0)
    state(client, path, **chosen(beside))
    client.post(f"{path}/undo", json={})
