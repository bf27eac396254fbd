from dataclasses import replace

import cv2
import numpy as np
import pytest

from ergo.camera.camera import Camera, Level
from ergo.camera.edges import edges_px, level_of_edges
from ergo.camera.level import fused
from ergo.camera.places import place_of
from ergo.frames.frame import SourceFacts
from ergo.notes.notes import CameraNotes, Notes, SetUpNotes

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


def test_a_stated_level_counts_more_than_the_rooms_by_the_spreads_of_both():
    notes = Notes(camera=CameraNotes(focal_px=1000, pitch_deg=-12.5, roll_deg=2.0))
    room = level_of_edges(edges_px(room_picture(TRUE)), TRUE)
    camera = place_of(FACTS, notes, edges_px(room_picture(TRUE))).camera
    by_hand = (-12.5 / 1.0 + room.pitch_deg / room.pitch_sd_deg**2) / (1.0 + room.pitch_sd_deg**-2)
    assert camera.pitch_deg == pytest.approx(by_hand)
    assert camera.level_sd_deg < 1.0


def test_sources_that_contradict_each_other_make_the_level_less_sure():
    agree, contradict = (
        place_of(
            FACTS,
            Notes(camera=CameraNotes(focal_px=1000, pitch_deg=pitch, roll_deg=2.0)),
            edges_px(room_picture(TRUE)),
        ).camera
        for pitch in (-14.0, 4.0)
    )
    assert contradict.level_sd_deg > 2 * agree.level_sd_deg
    assert -14 < contradict.pitch_deg < 4


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


def seen_posts(places, camera, low=0.1, high=2.0):
    """Vertical lines at (x, y) of the floor as a camera sees them, array (edge, end, xy) [px]."""
    ends = np.array([[(x, y, low), (x, y, high)] for x, y in places])
    return camera.pixels(ends)


def test_a_level_from_one_radiator_is_less_sure_than_one_from_the_whole_room():
    """As many edges, as long, as far away: the ribs of one radiator, or posts all over the room."""
    radiator = [(0.9 + 0.05 * rib, 3.0) for rib in range(12)]
    room = [(-1.7 + 0.31 * post, 3.0) for post in range(12)]
    plain = replace(TRUE, pitch_deg=0.0, roll_deg=0.0)
    one, all_over = (level_of_edges(seen_posts(p, TRUE), plain) for p in (radiator, room))
    assert one.edges == all_over.edges == 12
    assert one.pitch_sd_deg > 3 * all_over.pitch_sd_deg
    assert one.roll_sd_deg > all_over.roll_sd_deg


def test_fewer_edges_and_edges_that_do_not_agree_make_a_level_less_sure():
    places = [(-1.7 + 0.31 * post, 3.0) for post in range(12)]
    plain = replace(TRUE, pitch_deg=0.0, roll_deg=0.0)
    edges = seen_posts(places, TRUE)
    leaning = edges[::2].copy()
    leaning[:, 1, 0] += np.linspace(-110, 130, len(leaning))  # plants, cables, coats
    whole, few, doubted = (
        level_of_edges(each, plain)
        for each in (edges, edges[::3], np.concatenate([edges, leaning]))
    )
    assert few.roll_sd_deg > whole.roll_sd_deg
    assert doubted.pitch_sd_deg > 1.2 * whole.pitch_sd_deg


def test_the_spread_of_a_level_is_that_of_many_drawn_rooms():
    """Posts that lean by chance, each thing by itself: the spread holds the errors there."""
    numbers = np.random.default_rng(5)
    plain = replace(TRUE, pitch_deg=0.0, roll_deg=0.0)
    off = []
    for _ in range(120):
        places = np.stack([numbers.uniform(-1.7, 1.7, 7), numbers.uniform(2.2, 3.6, 7)], axis=1)
        edges = seen_posts(places, TRUE)
        edges[:, 1, 0] += numbers.normal(0, np.radians(0.6), 7) * (edges[:, 1, 1] - edges[:, 0, 1])
        found = level_of_edges(edges, plain)
        if found is not None:
            off.append(
                (
                    (found.pitch_deg - TRUE.pitch_deg) / found.pitch_sd_deg,
                    (found.roll_deg - TRUE.roll_deg) / found.roll_sd_deg,
                )
            )
    held = np.mean(np.abs(off) < 1.645, axis=0)
    assert len(off) > 60
    assert (held > 0.85).all()


def test_a_level_too_unsure_for_angles_waits_for_what_else_is_told():
    camera = Camera(1280, 960, 1000.0, (640.0, 480.0), focal_is_known=True)
    weak = fused(camera, Level(-20.0, 3.0, 7.0, 2.0, "room"))
    assert (weak.level_origin, weak.pitch_deg) == ("assumed", 0.0)
    sure = fused(weak, Level(-10.0, 1.0, 4.5, 3.0, "neutral"))
    assert sure.level_origin == "neutral"
    assert sure.pitch_deg == pytest.approx((-20 / 49 - 10 / 20.25) / (1 / 49 + 1 / 20.25))
    assert sure.roll_deg == pytest.approx((3 / 4 + 1 / 9) / (1 / 4 + 1 / 9))
