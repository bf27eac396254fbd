"""What lies on this disk, and deleting on the page: nothing is left, and a question comes first."""

import json
import os
import subprocess
import sys
from dataclasses import replace

import pytest

from ergo.library.library import open_library
from ergo.storage.session_folder import read_session
from ergo.web.jobs.job import Job, write_job
from tests.storage.test_copies import traces
from tests.web.conftest import HOME, folder_of

NAME = "First day"


@pytest.fixture
def path(session_id):
    return f"/sessions/{session_id}"


@pytest.fixture
def recording(library_folder, invented):
    """A session made of a recording that was sent through the page, and its analysis."""
    place = library_folder / "recordings" / ("7" * 32)
    place.mkdir(parents=True)
    picture = os.urandom(2000)
    (place / "001.mp4").write_bytes(picture)
    (place / "upload.json").write_text(
        json.dumps([{"name": "secret crown.mp4", "path": "001.mp4", "size": 2000}])
    )
    facts = replace(invented.recording.sources[0], path=place / "001.mp4")
    session = replace(invented, recording=replace(invented.recording, sources=(facts,)))
    with open_library(library_folder) as library:
        entry = library.add(folder_of(session, library_folder.parent / "sent"), "Secret crown")
    job = Job("8" * 32, 1, "Secret crown", (str(place / "001.mp4"),), state="done")
    write_job(replace(job, session=entry.id), library_folder / "analyses")
    return entry, picture


def test_the_page_says_what_lies_there_and_leads_to_questions(recording, client, library_folder):
    entry, _ = recording
    page = client.get("/disk").text
    assert "Secret crown" in page
    assert NAME in page
    assert str(library_folder) in page
    assert f'href="/sessions/{entry.id}/delete"' in page
    question = client.get(f"/sessions/{entry.id}/delete")
    assert "Delete Secret crown for good?" in question.text
    assert f'<form method="post" action="/sessions/{entry.id}/delete"' in question.text
    assert "endgültig löschen?" in client.get(f"/sessions/{entry.id}/delete?language=de").text
    assert len(client.get("/api/sessions").json()) == 2


def test_a_session_deleted_on_the_page_is_gone_from_page_memory_and_disk(
    recording, client, library_folder
):
    entry, picture = recording
    assert client.get(f"/api/sessions/{entry.id}/timeline").status_code == 200
    assert [job["name"] for job in client.get("/api/jobs").json()] == ["Secret crown"]
    answer = client.post(f"/sessions/{entry.id}/delete", follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, "/disk")
    words = (b"Secret crown", b"secret crown", entry.id.encode(), picture[:100])
    assert traces(library_folder, *words) == []
    assert client.get(f"/api/sessions/{entry.id}/timeline").status_code == 404
    assert client.get(f"/sessions/{entry.id}").status_code == 404
    assert client.get("/api/jobs").json() == []
    assert [each["name"] for each in client.get("/api/sessions").json()] == [NAME]


def test_a_session_that_another_program_deletes_is_gone_from_a_running_page(
    recording, client, library_folder
):
    entry, picture = recording
    assert client.get(f"/api/sessions/{entry.id}/timeline").status_code == 200
    client.get("/api/jobs")
    command = ["sessions", "delete", "Secret crown", "--yes", "--library", str(library_folder)]
    subprocess.run([sys.executable, "-m", "ergo", *command], check=True)
    assert client.get(f"/api/sessions/{entry.id}/timeline").status_code == 404
    assert client.get(f"/api/sessions/{entry.id}/pictures/0").status_code == 404
    assert client.get("/api/jobs").json() == []
    words = (b"Secret crown", b"secret crown", entry.id.encode(), picture[:100])
    assert traces(library_folder, *words) == []


def test_a_recording_without_a_session_is_named_and_deleted_after_a_question(
    client, library_folder, session_id
):
    place = library_folder / "recordings" / ("9" * 32)
    place.mkdir(parents=True)
    (place / "upload.json").write_text('[{"name": "lost.mp4", "path": "001.mp4", "size": 5}]')
    (place / "001.mp4").write_bytes(b"12345")
    address = f"/recordings/{'9' * 32}/delete"
    assert "lost.mp4" in client.get("/disk").text
    assert f'href="{address}"' in client.get("/disk").text
    assert "lost.mp4" in client.get(address).text
    assert place.exists()
    assert client.post(address, follow_redirects=False).status_code == 303
    assert not place.exists()
    assert client.post(address).status_code == 404
    assert read_session(library_folder / "sessions" / session_id)


def test_a_recording_that_a_session_needs_cannot_be_deleted_alone(
    recording, client, library_folder
):
    address = f"/recordings/{'7' * 32}/delete"
    assert client.get(address).status_code == 404
    assert client.post(address).status_code == 404
    assert (library_folder / "recordings" / ("7" * 32) / "001.mp4").exists()


def test_what_can_be_made_again_is_cleared(client, library_folder):
    (library_folder / "made" / "report-1").mkdir(parents=True)
    client.post("/disk/clear")
    assert list((library_folder / "made").iterdir()) == []


@pytest.mark.parametrize("address", ["/sessions/{}/delete", "/disk/clear"])
def test_other_sites_delete_nothing(client, session_id, address):
    headers = {"origin": "http://elsewhere.example"}
    assert client.post(address.format(session_id), headers=headers).status_code == 403
    client.headers.pop("origin")
    assert client.post(address.format(session_id)).status_code == 403
    client.headers["origin"] = HOME
    assert len(client.get("/api/sessions").json()) == 1
