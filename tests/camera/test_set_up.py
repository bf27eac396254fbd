from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from ergo.camera.camera import Camera
from ergo.camera.set_up import MARK_SD_PX, solve_set_up
from ergo.errors import SetUpError
from ergo.frames.frame import SourceFacts
from ergo.notes.notes import CameraNotes, Notes, SetUpNotes

WIDTH, HEIGHT = 1280, 960
FACTS = SourceFacts("shelf.mp4", Path("shelf.mp4"), "clip", WIDTH, HEIGHT, 3.0, 30.0, None, "")
LENGTH, HEAD_END_HEIGHT = 1.8, 0.75


def opencv_pixels(points_m, focal_px, pitch_deg, roll_deg, height_m):
    """Project with OpenCV; the world: x right, y ahead, z up, the lens above its origin."""
    pitch, roll = np.radians([pitch_deg, roll_deg])
    ahead = np.array([0.0, np.cos(pitch), np.sin(pitch)])
    right, down = np.array([1.0, 0.0, 0.0]), np.array([0.0, np.sin(pitch), -np.cos(pitch)])
    # rolled counter-clockwise as seen from behind: the camera's right side goes up
    rotation = np.stack(
        [
            right * np.cos(roll) - down * np.sin(roll),
            right * np.sin(roll) + down * np.cos(roll),
            ahead,
        ]
    )
    lens = np.array([[focal_px, 0, WIDTH / 2], [0, focal_px, HEIGHT / 2], [0, 0, 1.0]])
    shift = -rotation @ np.array([0.0, 0.0, height_m])
    points = np.asarray(points_m, dtype=float).reshape(-1, 3)
    return cv2.projectPoints(points, cv2.Rodrigues(rotation)[0], shift, lens, None)[0][:, 0]


def room_marks(turn_deg, head_m, view, noise_px=0.0, seed=0):
    """Marks of a chair, two door edges and a floor tile as a camera sees them."""
    turn = np.radians(turn_deg)
    feet = np.array([np.sin(turn), np.cos(turn), 0.0])
    head = np.array([*head_m, HEAD_END_HEIGHT + 0.12])
    head_end = head - 0.1 * feet - [0, 0, 0.12]
    tile = [np.array(p) for p in ([0.4, 2.0, 0], [0.4, 2.6, 0], [1.0, 2.6, 0], [1.0, 2.0, 0])]
    doors = [[-1.0, 3.5, z] for z in (0.3, 1.9)] + [[1.3, 3.8, z] for z in (0.2, 1.8)]
    seen = opencv_pixels([head, head_end, head_end + LENGTH * feet, *tile, *doors], **view)
    seen = seen + np.random.default_rng(seed).normal(0, noise_px, seen.shape)
    points = [tuple(map(float, point)) for point in seen]
    return SetUpNotes(
        head=points[0],
        head_end=points[1],
        foot_end=points[2],
        chair_length_m=LENGTH,
        chair_height_m=HEAD_END_HEIGHT,
        floor=[{"corners": points[3:7], "first_side_m": 0.6, "second_side_m": 0.6}],
        vertical=[{"ends": points[7:9]}, {"ends": points[9:11]}],
    )


VIEW = {"focal_px": 1000.0, "pitch_deg": -14.0, "roll_deg": 2.0, "height_m": 1.5}


def test_a_point_is_seen_where_opencv_projects_it():
    points = np.array([[0.3, 2.0, 0.4], [-0.8, 3.0, 1.9], [0.0, 2.5, 0.0]])
    camera = Camera(WIDTH, HEIGHT, 1000.0, (WIDTH / 2, HEIGHT / 2), -14.0, 2.0, height_m=1.5)
    assert camera.pixels(points) == pytest.approx(opencv_pixels(points, **VIEW), abs=1e-6)


def test_a_line_of_sight_leads_back_to_the_point_at_its_height():
    points = np.array([[0.3, 2.0, 0.4], [-0.8, 3.0, 1.1]])
    camera = Camera(WIDTH, HEIGHT, 900.0, (640, 480), -10.0, -3.0, height_m=1.4)
    found = camera.at_height(camera.pixels(points), points[:, 2])
    assert found == pytest.approx(points[:, :2], abs=1e-9)


def test_a_line_of_sight_that_rises_never_reaches_the_floor():
    camera = Camera(WIDTH, HEIGHT, 900.0, (640, 480), 0.0, 0.0, height_m=1.4)
    assert np.isnan(camera.at_height(np.array([640.0, 100.0]), 0.0)).all()


@settings(max_examples=6, suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow])
@given(
    pitch=st.floats(-30, -5),
    roll=st.floats(-4, 4),
    focal=st.floats(750, 1200),
    turn=st.floats(-180, 180),
    height=st.floats(1.2, 1.9),
)
def test_exact_marks_of_a_random_room_give_camera_and_chair_back(pitch, roll, focal, turn, height):
    view = {"focal_px": focal, "pitch_deg": pitch, "roll_deg": roll, "height_m": height}
    marks = room_marks(turn, (0.0, 2.8), view)
    every = [marks.head, marks.head_end, marks.foot_end, *marks.floor[0].corners]
    every += [end for edge in marks.vertical for end in edge.ends]
    assume(all(0 <= x <= WIDTH and 0 <= y <= HEIGHT for x, y in every))
    found = solve_set_up(FACTS, Notes(setup=marks))
    assert found.camera.pitch_deg == pytest.approx(pitch, abs=max(1.0, 2 * found.sd["pitch_deg"]))
    assert found.camera.roll_deg == pytest.approx(roll, abs=max(0.7, 2 * found.sd["roll_deg"]))
    off = (found.chair.turn_deg - turn + 180) % 360 - 180
    assert abs(off) < max(3.0, 2.5 * found.sd["chair_turn_deg"])
    assert found.residual_px < MARK_SD_PX


def test_tilt_and_roll_are_within_a_degree_with_marks_off_by_three_px():
    off = []
    for seed in range(8):
        found = solve_set_up(FACTS, Notes(setup=room_marks(70, (0.2, 2.6), VIEW, 3.0, seed)))
        off.append((found.camera.pitch_deg + 14.0, found.camera.roll_deg - 2.0))
    assert np.median(np.abs(off), axis=0) == pytest.approx([0.0, 0.0], abs=1.0)


def test_what_is_poorly_determined_is_named_and_more_marks_help():
    marks = room_marks(70, (0.2, 2.6), VIEW)
    few = SetUpNotes(head=marks.head, foot_end=marks.foot_end)
    poor = solve_set_up(FACTS, Notes(setup=few)).poorly_determined
    assert {"pitch_deg", "height_m", "head_y_m"} <= set(poor)
    full = solve_set_up(FACTS, Notes(setup=marks))
    assert not set(full.poorly_determined) & {"roll_deg", "chair_turn_deg", "height_m"}


def test_a_length_that_cannot_be_is_refused_with_the_reason():
    marks = room_marks(70, (0.2, 2.6), VIEW)
    tile = marks.floor[0].model_copy(update={"first_side_m": 1.8})
    with pytest.raises(SetUpError, match=r"do not fit together|not plausible"):
        solve_set_up(FACTS, Notes(setup=marks.model_copy(update={"floor": (tile,)})))


def test_a_mark_outside_the_picture_is_refused():
    marks = SetUpNotes(head=(100, 100), foot_end=(1500, 200))
    with pytest.raises(SetUpError, match=r"setup\.foot_end = \[1500, 200\] lies outside"):
        solve_set_up(FACTS, Notes(setup=marks))


def test_marks_stated_for_another_picture_size_are_scaled():
    marks = room_marks(70, (0.2, 2.6), VIEW)
    half = SetUpNotes.model_validate(
        {
            "head": [x / 2 for x in marks.head],
            "foot_end": [x / 2 for x in marks.foot_end],
            "chair_length_m": LENGTH,
        }
    )
    full = SetUpNotes(head=marks.head, foot_end=marks.foot_end, chair_length_m=LENGTH)
    one = solve_set_up(FACTS, Notes(setup=full))
    other = solve_set_up(FACTS, Notes(setup=half, camera=CameraNotes(width=640, height=480)))
    assert other.chair.head_m == pytest.approx(one.chair.head_m, abs=0.02)


def test_nothing_marked_is_no_set_up():
    assert solve_set_up(FACTS, Notes()) is None


def test_draws_have_the_spread_that_is_stated():
    found = solve_set_up(FACTS, Notes(setup=room_marks(70, (0.2, 2.6), VIEW)))
    heights = [camera.height_m for camera, _ in found.draws(400)]
    assert np.std(heights) == pytest.approx(found.sd["height_m"], rel=0.15)


SMALL = SourceFacts("shelf.mp4", Path("shelf.mp4"), "clip", 640, 480, 3.0, 30.0, None, "")


@pytest.mark.parametrize(
    ("camera", "marks"),
    [
        ({"focal_px": 900, "height_m": 0.5, "pitch_deg": -12, "roll_deg": 0}, "foot_end 163 456"),
        ({"focal_px": 1500, "pitch_deg": 10, "roll_deg": 0}, "head 54 81"),
    ],
)
def test_one_mark_of_a_known_camera_is_enough_for_a_spread(camera, marks):
    key, x, y = marks.split()
    notes = Notes.model_validate({"camera": camera, "setup": {key: (float(x), float(y))}})
    found = solve_set_up(SMALL, notes)
    stated_sd = {"focal_px": "log_focal_px"}
    for name in camera:
        assert found.sd[stated_sd.get(name, name)] < 1.5  # as sure as it was stated
    assert found.sd["chair_turn_deg"] > 30  # and no surer than one mark makes it
    np.testing.assert_allclose(
        np.sqrt(np.diag(found.spread @ found.spread.T)), list(found.sd.values()), rtol=1e-9
    )
    np.testing.assert_array_equal(found.spread, np.tril(found.spread))
    assert all(np.isfinite(one.height_m) for one, _ in found.draws(20))


SAME = ((300.0, 400.0),) * 4
IN_LINE = ((300.0, 400.0), (310.0, 400.0), (320.0, 400.0), (330.0, 400.0))
CROSSED = ((300.0, 400.0), (361.0, 431.0), (352.0, 398.0), (302.0, 434.0))
POINTED = ((300.0, 400.0), (360.0, 400.0), (330.0, 410.0), (330.0, 470.0))


@pytest.mark.parametrize("corners", [SAME, IN_LINE, CROSSED, POINTED])
def test_corners_that_are_no_patch_of_floor_are_refused(corners):
    marks = SetUpNotes(floor=[{"corners": corners, "first_side_m": 0.6, "second_side_m": 0.6}])
    with pytest.raises(SetUpError, match=r"setup\.floor\[1\]\.corners do not go round"):
        solve_set_up(SMALL, Notes(setup=marks))


@pytest.mark.parametrize("turned", [1, -1])
def test_corners_may_go_either_way_round(turned):
    corners = ((300.0, 400.0), (352.0, 398.0), (361.0, 431.0), (302.0, 434.0))[::turned]
    marks = SetUpNotes(floor=[{"corners": corners, "first_side_m": 0.6, "second_side_m": 0.6}])
    assert solve_set_up(SMALL, Notes(setup=marks)) is not None


@pytest.mark.parametrize(
    "stated",
    [
        {"vertical": [{"ends": [(612, 90), (612, 90)]}]},
        {"tape": [{"ends": [(300, 400), (300, 400)], "length_m": 1.0}]},
        {"sides": [(300, 400), (300, 400)], "chair_width_m": 0.5},
    ],
)
def test_two_points_that_are_one_are_refused(stated):
    with pytest.raises(SetUpError, match=r"both points of setup\.\S+ are the same"):
        solve_set_up(SMALL, Notes(setup=SetUpNotes.model_validate(stated)))
