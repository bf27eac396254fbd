from pathlib import Path

import numpy as np
import pytest

from ergo.camera.level import camera_for
from ergo.errors import NotesError
from ergo.frames.frame import SourceFacts
from ergo.notes.notes import CameraNotes, Notes


def facts(width=1280, height=960, focal_px=None):
    return SourceFacts(
        "shelf.mp4", Path("shelf.mp4"), "clip", width, height, 3.0, 30.0, focal_px, ""
    )


def stated(**keys):
    return Notes(camera=CameraNotes(**keys))


def test_everything_stated_is_taken_over():
    camera = camera_for(
        facts(),
        stated(
            width=1280,
            height=960,
            focal_px=900,
            pitch_deg=-10,
            roll_deg=3,
            height_m=1.6,
            principal_px=(600, 500),
        ),
    )
    assert (camera.focal_px, camera.centre_px) == (900, (600, 500))
    assert (camera.pitch_deg, camera.roll_deg, camera.height_m) == (-10, 3, 1.6)
    assert camera.level_origin == "notes"
    assert camera.focal_is_known


def test_lengths_stated_for_another_size_are_scaled():
    camera = camera_for(
        facts(640, 480), stated(width=1280, height=960, focal_px=900, principal_px=(600, 500))
    )
    assert camera.focal_px == pytest.approx(450)
    assert camera.centre_px == pytest.approx((300, 250))
    assert (camera.width_px, camera.height_px) == (640, 480)


@pytest.mark.parametrize("size", [(960, 1280), (1280, 720), (1280, 1280)])
def test_another_shape_is_refused_and_the_clip_named(size):
    with pytest.raises(NotesError, match=r"shelf\.mp4: camera\.width x camera\.height"):
        camera_for(facts(), stated(width=size[0], height=size[1]))


def test_a_field_of_view_gives_the_focal_length():
    camera = camera_for(facts(), stated(horizontal_fov_deg=90))
    assert camera.focal_px == pytest.approx(640)
    edge = camera.rays(np.array([[1280.0, 480.0]]))[0]
    assert np.degrees(np.arctan2(edge[0], edge[2])) == pytest.approx(45)


def test_exif_comes_after_the_notes_and_before_the_assumption():
    assert camera_for(facts(focal_px=1000), Notes()).focal_px == 1000
    assert camera_for(facts(focal_px=1000), stated(focal_px=900)).focal_px == 900
    assumed = camera_for(facts(), Notes())
    assert not assumed.focal_is_known
    upright = camera_for(facts(960, 1280), Notes())
    assert upright.focal_px == pytest.approx(assumed.focal_px)  # the same phone, turned


def test_less_knowledge_of_the_level_means_a_larger_spread():
    both = camera_for(facts(), stated(pitch_deg=0, roll_deg=0))
    one = camera_for(facts(), stated(pitch_deg=-5))
    none = camera_for(facts(), Notes())
    assert both.level_sd_deg < one.level_sd_deg < none.level_sd_deg
    assert (both.level_origin, one.level_origin, none.level_origin) == ("notes", "notes", "assumed")
    assert np.allclose(none.up, [0, -1, 0])
