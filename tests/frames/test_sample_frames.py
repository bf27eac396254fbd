"""The sample session is readable, and its notes are true to the scene."""

import gzip
import json
from pathlib import Path

import numpy as np
import pytest

from ergo.camera.camera import Camera
from ergo.frames.find import find_sources
from ergo.notes.reading import read_notes
from ergo.notes.spans import numbers_per_frame

TOP = Path(__file__).parents[2]
SAMPLE = TOP / "sample_frames"
STILLS = {  # sample still: scene it shows
    "1_kf_side_left": "dev_006",
    "2_kf_rear_oblique": "dev_009",
    "3_ro_side_right_with_assistant": "dev_013",
    "4_ro_front_oblique_with_assistant": "dev_016",
    "5_ro_overhead": "dev_011",
    "6_tm_left_handed_side_left": "dev_054",
}


@pytest.fixture(scope="module")
def truth():
    with gzip.open(TOP / "tests" / "data" / "scenes_truth.json.gz") as file:
        return json.load(file)


def stated_camera(notes) -> Camera:
    stated = notes.camera
    return Camera(
        width_px=stated.width,
        height_px=stated.height,
        focal_px=stated.focal_px,
        centre_px=(stated.width / 2, stated.height / 2),
        pitch_deg=stated.pitch_deg,
        roll_deg=stated.roll_deg,
    )


def assert_same_camera(notes, true):
    camera = stated_camera(notes)
    # world z is up, so R @ (0, 0, 1), the third column of R, is up as the camera sees it
    np.testing.assert_allclose(camera.up, np.array(true["R"])[:, 2], atol=1e-3)
    assert camera.focal_px == pytest.approx(true["K"][0][0], abs=0.01)
    assert (camera.width_px, camera.height_px) == (true["width"], true["height"])
    assert notes.camera.height_m == pytest.approx(true["position"][2], abs=0.01)


def test_the_sample_session_is_of_one_person():
    found = find_sources([SAMPLE])
    assert found.skipped == ("README.md", "stills/")
    assert [source.facts.name for source in found.sources] == ["kf_scaling.mp4"]


def test_every_sample_can_be_read_and_has_notes():
    found = find_sources([SAMPLE, SAMPLE / "stills"])
    assert [source.facts.kind for source in found.sources] == ["clip"] + ["still"] * 6
    people = [read_notes(source.facts.path).pseudonym for source in found.sources]
    assert people == ["KF", "KF", "KF", "RO", "RO", "RO", "TM"]
    for source in found.sources:
        camera = read_notes(source.facts.path).camera
        first = next(iter(source)).picture
        assert first.shape == (camera.height, camera.width, 3)


def test_all_samples_together_are_small():
    assert sum(path.stat().st_size for path in SAMPLE.rglob("*")) < 12e6


@pytest.mark.parametrize(("name", "scene"), STILLS.items())
def test_notes_of_a_still_are_true_to_the_scene(truth, name, scene):
    notes = read_notes(SAMPLE / "stills" / f"{name}.jpg")
    true = next(still for still in truth["stills"] if still["id"] == scene)
    assert_same_camera(notes, true["camera"])
    assert notes.handed == true["handed"]
    assert notes.clock[0].hours == pytest.approx(true["clock_hours"], abs=0.01)
    left, top, right, bottom = true["box_px"]
    x, y = notes.operator.at
    assert left < x < right
    assert top < y < bottom


def test_notes_of_the_clip_are_true_to_the_scene(truth):
    notes = read_notes(SAMPLE / "kf_scaling.mp4")
    frames = truth["clip"]["frames"]
    assert_same_camera(notes, truth["clip"]["camera"])
    times_s = np.array([frame["time_s"] for frame in frames])
    hours = numbers_per_frame(notes.clock, times_s, lambda span: span.hours)
    held = [frame["state"] == "hold" for frame in frames]
    true = np.array([frame["clock_hours"] for frame in frames])
    np.testing.assert_allclose(hours[held], true[held], atol=0.02)
