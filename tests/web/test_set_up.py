"""The camera place, marked on the page: what follows is told at once."""

import numpy as np
import pytest

from tests.web.test_corrections import state, timeline

WIDTH, HEIGHT, FOCAL = 640, 480, 500.0
LENS_M, TILT_DEG = 1.2, -10.0
CAMERA = {"focal_px": FOCAL}


@pytest.fixture
def path(session_id):
    return f"/api/sessions/{session_id}"


def seen(x, y, z):
    """Where a camera of known height and tilt shows a point of the room, px by hand."""
    tilt = np.radians(TILT_DEG)
    ahead = y * np.cos(tilt) + (z - LENS_M) * np.sin(tilt)
    above = (z - LENS_M) * np.cos(tilt) - y * np.sin(tilt)
    return [WIDTH / 2 + FOCAL * x / ahead, HEIGHT / 2 - FOCAL * above / ahead]


def sheet(x, y, side):
    ends = ((0, 0), (0, side), (side, side), (side, 0))
    corners = [seen(x + right, y + ahead, 0) for right, ahead in ends]
    return {"corners": corners, "first_side_m": side, "second_side_m": side}


def marked(client, path, **setup):
    state(client, path, source=0, key="setup", set=setup)
    return client.get(f"{path}/setup/0").json()


def test_a_recording_without_marks_says_what_to_mark_first(client, path):
    told = client.get(f"{path}/setup/0").json()
    assert told["values"] == told["missed"] == told["next"] == []
    assert "head" in told["summary"]
    assert client.get(f"{path}/setup/1").status_code == 404


def test_few_marks_leave_results_poorly_determined_and_say_what_to_mark_next(client, path):
    told = marked(client, path, head=seen(0.3, 2.2, 0.8))
    assert "Not well determined" in told["summary"]
    assert any("vertical edges" in text for text in told["next"])


def test_enough_marks_tell_the_tilt_and_the_height_that_were_filmed_with(client, path):
    state(client, path, source=0, key="camera", set=CAMERA)
    posts = ((-0.9, 3.0), (0.9, 3.0), (0.0, 3.5))
    told = marked(
        client,
        path,
        floor=[sheet(-0.4, 1.8, 0.6), sheet(0.3, 2.6, 0.6)],
        vertical=[{"ends": [seen(x, y, 0.2), seen(x, y, 1.6)]} for x, y in posts],
    )
    values = dict(text.split(": ", 1) for text in told["values"])
    tilt = next(text for name, text in values.items() if name.startswith("Tilt of the camera up"))
    height = next(text for name, text in values.items() if name.startswith("Height of the lens"))
    assert float(tilt.split("°")[0].replace("−", "-")) == pytest.approx(TILT_DEG, abs=0.6)
    assert float(height.split(" m")[0]) == pytest.approx(LENS_M, abs=0.06)
    assert len(told["missed"]) == 5
    assert timeline(client, path)[0]["notes"][0]["setup"]["floor"][1]["first_side_m"] == 0.6


def test_a_mark_that_contradicts_the_others_is_refused_and_not_kept(client, path):
    good = {
        "floor": [sheet(-0.4, 1.8, 0.6)],
        "vertical": [{"ends": [seen(0.9, 3.0, 0.2), seen(0.9, 3.0, 1.6)]}],
    }
    state(client, path, source=0, key="camera", set=CAMERA)
    marked(client, path, **good)
    askew = {"ends": [[100, 100], [260, 300]]}
    wrong = {**good, "vertical": [*good["vertical"], askew]}
    refused = client.post(f"{path}/corrections", json={"source": 0, "key": "setup", "set": wrong})
    assert refused.status_code == 422
    assert "marks" in refused.json()["error"]
    assert len(timeline(client, path)[0]["notes"][0]["setup"]["vertical"]) == 1


def test_a_mark_is_undone(client, path):
    marked(client, path, head=[320, 240])
    client.post(f"{path}/undo", json={})
    assert "setup" not in timeline(client, path)[0]["notes"][0]
