from dataclasses import replace

import cv2
import numpy as np
import pytest

from ergo.frames.frame import SourceFacts
from ergo.notes.notes import CameraNotes, Notes, SetUpNotes
from ergo.room.camera import Camera
from ergo.room.edges import edges_px, level_of_edges
from ergo.room.places import place_of

TRUE = Camera(1280, 960, 1000.0, (640.0, 480.0), -14.0, 2.0, height_m=1.5, focal_is_known=True)
FACTS = SourceFacts("shelf.jpg", "shelf.jpg", "still", 1280, 960, None, None, None, "")


def room_picture(camera, tall=True):
    """White panels on a grey wall, drawn by projecting their corners."""
    picture = np.full((960, 1280, 3), 120, np.uint8)
    top = 1.9 if tall else 0.06
    for left in (-1.6, -0.9, -0.2, 0.5, 1.2):
        panel = [
            (left, 3.2, 0.05),
            (left + 0.4, 3.2, 0.05),
            (left + 0.4, 3.2, top),
            (left, 3.2, top),
        ]
        corners = camera.pixels(np.array(panel)).round().astype(np.int32)
        cv2.fillPoly(picture, [corners], (230, 230, 230))
    return picture


def test_level_is_found_from_the_vertical_edges_of_a_tilted_picture():
    found = level_of_edges(edges_px(room_picture(TRUE)), TRUE)
    assert found.pitch_deg == pytest.approx(-14.0, abs=1.0)
    assert found.roll_deg == pytest.approx(2.0, abs=0.3)


def test_a_blank_wall_tells_no_level():
    blank = np.full((480, 640, 3), 128, np.uint8)
    assert level_of_edges(edges_px(blank), TRUE) is None


def test_an_unknown_focal_length_makes_the_pitch_less_sure():
    assumed = Camera(1280, 960, 1000.0, (640.0, 480.0))
    edges = edges_px(room_picture(TRUE))
    sure, unsure = level_of_edges(edges, TRUE), level_of_edges(edges, assumed)
    assert unsure.pitch_sd_deg > sure.pitch_sd_deg


def test_a_stated_level_goes_before_the_rooms():
    notes = Notes(camera=CameraNotes(pitch_deg=-5, roll_deg=0))
    place = place_of(FACTS, notes, edges_px(room_picture(TRUE)))
    assert (place.camera.pitch_deg, place.camera.level_origin) == (-5, "notes")


def test_the_rooms_level_is_used_where_nothing_is_stated():
    place = place_of(FACTS, Notes(), edges_px(room_picture(TRUE)))
    assert place.camera.level_origin == "room"
    assert place.camera.roll_deg == pytest.approx(2.0, abs=0.5)


@pytest.mark.parametrize(("roll_deg", "is_moved"), [(2.0, False), (9.0, True)])
def test_a_camera_that_was_moved_since_its_set_up_is_noticed(roll_deg, is_moved):
    notes = Notes(
        camera=CameraNotes(focal_px=1000, pitch_deg=-14, roll_deg=2, height_m=1.5),
        setup=SetUpNotes(head=(500, 420), foot_end=(900, 480), chair_length_m=1.8),
    )
    now = Camera(1280, 960, 1000.0, (640.0, 480.0), -14.0, roll_deg, height_m=1.5)
    assert place_of(FACTS, notes, edges_px(room_picture(now))).is_moved is is_moved


@pytest.mark.parametrize("pitch_deg", [-52.0, -30.0, 0.0])
def test_a_camera_high_up_that_looks_steeply_down_is_levelled_too(pitch_deg):
    camera = Camera(1280, 960, 1000.0, (640.0, 480.0), pitch_deg, -1.5, height_m=2.3)
    low, high = (0.1, 1.9) if pitch_deg < -40 else (0.5, 2.2)
    posts = np.array([(x, y) for y in (1.4, 2.2, 3.0) for x in (-0.9, -0.4, 0.3, 0.8)])
    ends = np.array([[(*post, low), (*post, high)] for post in posts])
    found = level_of_edges(camera.pixels(ends), replace(camera, pitch_deg=0.0, roll_deg=0.0))
    assert found.pitch_deg == pytest.approx(pitch_deg, abs=0.5)
    assert found.roll_deg == pytest.approx(-1.5, abs=0.5)


def test_no_camera_that_looks_steeply_up_is_believed():
    camera = Camera(1280, 960, 1000.0, (640.0, 480.0), 50.0, 0.0, height_m=0.5)
    posts = np.array([(x, y) for y in (2.0, 3.0) for x in (-0.8, -0.3, 0.3, 0.8)])
    ends = np.array([[(*post, 2.0), (*post, 4.5)] for post in posts])
    found = level_of_edges(camera.pixels(ends), camera)
    assert found is None or found.pitch_deg < 30


def posts_px(camera, low=0.5, high=2.2):
    """Vertical posts of a room as a camera sees them, array (edge, end, xy)."""
    posts = np.array([(x, y) for y in (1.4, 2.2, 3.0) for x in (-0.9, -0.4, 0.3, 0.8)])
    return camera.pixels(np.array([[(*post, low), (*post, high)] for post in posts]))


def test_a_camera_held_askew_is_levelled_where_all_edges_agree():
    askew = replace(TRUE, roll_deg=17.0)
    found = level_of_edges(posts_px(askew), askew)
    assert found.roll_deg == pytest.approx(17.0, abs=0.5)
    assert found.pitch_deg == pytest.approx(-14.0, abs=0.5)


def test_edges_that_tell_two_levels_alike_tell_none():
    upright, askew = replace(TRUE, roll_deg=0.0), replace(TRUE, roll_deg=16.0)
    both = np.concatenate([posts_px(upright), posts_px(askew)])
    assert level_of_edges(both, TRUE) is None
    few = np.concatenate([posts_px(upright), posts_px(askew)[:4]])
    assert level_of_edges(few, TRUE).roll_deg == pytest.approx(0.0, abs=0.5)
