import json
import os
import signal

import cv2
import numpy as np
import pytest

from ergo.exposure.bands import NOT_KNOWN, Band, LimitSet, strain_of
from ergo.library.library import open_library
from ergo.posture.angle_names import NAMES
from ergo.posture.posture_track import PostureTrack
from ergo.web.session.pictures import WIDTHS, rounded_width
from ergo.web.session.timeline_arrays import LANES, lane_limits, packed
from tests.web.conftest import folder_of


def unpacked(content):
    """Read the layout that web/session/timeline_arrays.py describes, from its description alone."""
    length = int.from_bytes(content[:4], "little")
    facts = json.loads(content[4 : 4 + length])
    arrays = {}
    for row in facts["arrays"]:
        count = int(np.prod(row["shape"]))
        place = 4 + length + row["offset"]
        values = np.frombuffer(content, np.dtype(row["type"]), count, place)
        arrays[row["name"]] = values.reshape(row["shape"])
    return facts, arrays


def test_the_list_tells_names_and_tags(client):
    (row,) = client.get("/api/sessions").json()
    assert (row["name"], row["tags"]) == ("First day", ["scaling"])


def test_the_timeline_holds_what_was_measured(client, session_id, invented):
    facts, arrays = unpacked(client.get(f"/api/sessions/{session_id}/timeline").content)
    assert [angle["name"] for angle in facts["angles"]] == list(NAMES)
    measured = invented.posture.value.T.astype(np.float32)
    np.testing.assert_allclose(arrays["value"], measured, atol=0.01)
    np.testing.assert_allclose(arrays["time_s"], invented.recording.timeline.time_s, atol=1e-5)
    assert facts["notes"] == [{"handed": "right"}]


def test_a_seen_angle_is_never_shown_as_not_judged_nor_the_other_way_round(client, session_id):
    _, arrays = unpacked(client.get(f"/api/sessions/{session_id}/timeline").content)
    for row, name in enumerate(LANES):
        is_seen = np.isfinite(arrays["value"][NAMES.index(name)])
        np.testing.assert_array_equal(arrays["strain"][row] != NOT_KNOWN, is_seen)


def test_arrays_begin_where_a_browser_can_read_them():
    content = packed({"name": "ü"}, {"a": np.zeros(3, "u1"), "b": np.ones(2, "f4")})
    facts, arrays = unpacked(content)
    length = int.from_bytes(content[:4], "little")
    assert (4 + length) % 8 == 0
    assert all(row["offset"] % 8 == 0 for row in facts["arrays"])
    np.testing.assert_array_equal(arrays["b"], [1, 1])


def test_a_value_on_an_edge_belongs_to_the_less_strained_band():
    bands = (
        Band("back", -np.inf, 0, 2),
        Band("in", 0, 20, 0),
        Band("more", 20, 60, 1),
        Band("out", 60, np.inf, 2),
    )
    angle = lane_limits("neck_flexion_deg").angle
    limits = LimitSet("invented", angle, bands, "invented", "", True)
    values = np.array([-1, 0, 20, 20.1, 60, 61, np.nan])
    track = np.full((len(values), len(NAMES)), np.nan)
    track[:, NAMES.index("neck_flexion_deg")] = values
    posture = PostureTrack(track, track, np.ones(7, bool), np.zeros(7, bool))
    assert list(strain_of(limits, posture)) == [2, 0, 0, 1, 1, 2, NOT_KNOWN]


def test_every_lane_is_coloured_by_a_published_rule():
    assert all(lane_limits(name).source for name in LANES)


def test_rows_of_the_tables_lead_to_moments_that_exist(client, session_id):
    figures = client.get(f"/api/sessions/{session_id}/figures").json()
    assert figures["first"]
    leading = [table for table in figures["tables"] if table["leads"]]
    assert {"holds_table", "limits_table", "scores_table"} <= {each["name"] for each in leading}
    for table in leading:
        assert len(table["leads"]) == len(table["rows"])
        for lead in table["leads"]:
            for first, last in [*lead["spans"], *(span for part in lead["parts"] for span in part)]:
                assert 0 <= first <= last < 100


def test_figures_come_in_the_language_of_the_reader(client, session_id):
    path = f"/api/sessions/{session_id}/figures"
    german = client.get(path, headers={"accept-language": "de-DE"}).json()
    english = client.get(path, headers={"accept-language": "fr"}).json()
    assert german["tables"][-1]["columns"][0] == "Aufnahme"
    assert english["tables"][-1]["columns"][0] == "Recording"


@pytest.mark.parametrize(
    ("accepted", "language"),
    [
        ("fr,de", "de"),
        ("fr-CH, fr;q=0.9, de-CH;q=0.8, en;q=0.7", "de"),
        ("de;q=0.3, en;q=0.7", "en"),
        ("en;q=0.4,de", "de"),
        ("de;q=0, fr", "en"),
        ("DE", "de"),
        ("den, del", "en"),
        ("de;q=x, en;q=0.001", "en"),
        ("", "en"),
    ],
)
def test_the_language_is_the_first_of_ours_that_the_browser_asks_for(client, accepted, language):
    answer = client.get("/", headers={"accept-language": accepted})
    assert f'<html lang="{language}">' in answer.text


def test_refusals_come_in_the_language_of_the_reader(client, session_id):
    path = f"/api/sessions/{session_id}"
    german = {"accept-language": "de"}
    wrong = {"key": "handed", "set": "both"}
    answer = client.post(f"{path}/corrections", json=wrong, headers=german)
    assert answer.json()["error"] == (
        'handed = "both" ist nicht möglich; erlaubt: "right" or "left".'
    )
    undone = client.post(f"{path}/undo", json={}, headers=german)
    assert undone.json()["error"].startswith("Es gibt keine Angabe")
    gone = client.get("/api/sessions/x/figures", headers=german)
    assert gone.json()["error"] == "Eine solche Sitzung gibt es nicht."


def test_a_chosen_language_is_kept(client):
    assert 'lang="de"' in client.get("/?language=de").text
    assert 'lang="de"' in client.get("/", headers={"accept-language": "en"}).text


def test_a_picture_has_the_width_asked_for(client, session_id):
    answer = client.get(f"/api/sessions/{session_id}/pictures/7?width=300")
    picture = cv2.imdecode(np.frombuffer(answer.content, np.uint8), cv2.IMREAD_COLOR)
    assert answer.headers["content-type"] == "image/jpeg"
    assert picture.shape == (240, 320, 3)


@pytest.mark.parametrize("query", ["width=0", "width=-1", "width=x", "width=99999", "width=1e3"])
def test_a_senseless_width_is_refused(client, session_id, query):
    answer = client.get(f"/api/sessions/{session_id}/pictures/7?{query}")
    assert answer.status_code == 422
    assert "width" in answer.json()["error"]


def test_a_frame_that_does_not_exist_is_not_found(client, session_id):
    assert client.get(f"/api/sessions/{session_id}/pictures/100").status_code == 404


def test_a_recording_that_is_gone_leaves_the_figures(client, session_id, clip):
    clip.unlink()
    assert client.get(f"/api/sessions/{session_id}/pictures/3").status_code == 404
    assert client.get(f"/api/sessions/{session_id}/figures").status_code == 200


def test_the_crash_of_a_decoder_does_not_take_the_page_down(client, session_id):
    path = f"/api/sessions/{session_id}/pictures/5"
    assert client.get(path).status_code == 200
    os.kill(client.app.state.app_state.pictures._worker._process.pid, signal.SIGKILL)
    answers = [client.get(f"/api/sessions/{session_id}/pictures/{n}").status_code for n in (6, 6)]
    assert answers[1] == 200
    assert client.get("/").status_code == 200


def test_pictures_are_made_in_a_few_widths_only():
    assert [rounded_width(width) for width in (1, 320, 321, 5000)] == [320, 320, 640, WIDTHS[-1]]


def test_name_and_tags_are_changed_and_a_name_that_is_taken_is_refused(
    client, session_id, library_folder, invented, tmp_path
):
    with open_library(library_folder) as library:
        library.add(folder_of(invented, tmp_path / "another"), "Another")
    path = f"/api/sessions/{session_id}"
    entry = client.post(f"{path}/entry", json={"name": "Monday", "tags": ["room 2", "left"]})
    assert (entry.json()["name"], entry.json()["tags"]) == ("Monday", ["left", "room 2"])
    assert [each["name"] for each in client.get("/api/sessions").json()] == ["Another", "Monday"]
    assert unpacked(client.get(f"{path}/timeline").content)[0]["tags"] == ["left", "room 2"]
    refused = client.post(f"{path}/entry", json={"name": "Another", "tags": []})
    assert refused.status_code == 422
    assert "another session" in refused.json()["error"]
    assert unpacked(client.get(f"{path}/timeline").content)[0]["name"] == "Monday"
    for wrong in ({"name": "", "tags": []}, {"name": "a/b"}, {"name": "a", "tags": ["x/y"]}):
        assert client.post(f"{path}/entry", json=wrong).status_code == 422
    assert client.post("/api/sessions/x/entry", json={"name": "a"}).status_code == 404
