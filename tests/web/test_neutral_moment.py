"""A neutral moment stated on the page: what it changed is shown, and undone it is gone."""

import numpy as np
import pytest
from starlette.testclient import TestClient

from ergo.app.analyse import evaluate_session
from ergo.library.library import open_library
from ergo.notes.notes import Notes
from ergo.web.app import create_app
from ergo.web.guard import Keys
from tests.posture.bodies import scenes, upright_then_work
from tests.posture.two_views import seen_by
from tests.session.two_phones import as_recording
from tests.web.conftest import HOME, folder_of


@pytest.fixture
def client(tmp_path):
    """A page with a session in which the operator sits upright for 4 s, then works."""
    clip, points = scenes()["clip"], upright_then_work()
    view = seen_by(clip["camera"], scenes()["names"], points, np.arange(len(points)) / 5)
    camera = {"focal_px": view.camera.focal_px, "pitch_deg": view.camera.pitch_deg, "roll_deg": 0}
    session = evaluate_session(
        as_recording([view], ("a.mp4",)), (Notes.model_validate({"camera": camera}),)
    )
    with open_library(tmp_path / "library") as library:
        library.add(folder_of(session, tmp_path / "made"), "upright first")
    keys = Keys()
    with TestClient(create_app(tmp_path / "library", keys), base_url=HOME) as client:
        client.get(f"/open?key={keys.secret}")
        client.headers["origin"] = HOME
        yield client


def moments(client, path):
    tables = client.get(f"{path}/figures").json()["tables"]
    return [table for table in tables if table["name"] == "moments_table"]


def test_before_and_after_are_shown_and_undone(client):
    path = f"/api/sessions/{client.get('/api/sessions').json()[0]['id']}"
    assert moments(client, path) == []
    stated = {"key": "neutral", "set": {"time_s": 2.0}, "source": 0}
    assert client.post(f"{path}/corrections", json=stated).status_code == 200
    (table,) = moments(client, path)
    assert table["columns"][2:] == ["Against an average body", "Against your own posture"]
    head = next(row for row in table["rows"] if row[1] == "Head, inclination")
    assert head[0] == "a.mp4, 0:02"
    assert head[2] != head[3]
    assert all("±" in cell for cell in head[2:])
    client.post(f"{path}/undo", json={})
    assert moments(client, path) == []
