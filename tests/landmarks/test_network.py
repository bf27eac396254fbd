"""The landmark network run directly, held against the Tasks API and against itself."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from ergo.frames.stills import StillSource
from ergo.landmarks.names import INDEX
from ergo.landmarks.network import Box, PoseNetwork, box_round, crop_of
from ergo.landmarks.runtime import bundle_path, people_library, quiet_native

SAMPLE = Path(__file__).parents[2] / "sample_frames" / "stills"
STILLS = ("1_kf_side_left.jpg", "6_tm_left_handed_side_left.jpg")
ROUNDS = 25  # until both have settled on the crop that their own landmarks ask for


def picture_of(name):
    return next(iter(StillSource(SAMPLE / name))).picture


def tasks_api_settled(kind, picture):
    """Return px, world and visibility after VIDEO mode has seen one picture many times."""
    vision = people_library()
    import mediapipe

    with quiet_native():
        options = vision.PoseLandmarkerOptions(
            base_options=mediapipe.tasks.BaseOptions(model_asset_path=str(bundle_path(kind))),
            running_mode=vision.RunningMode.VIDEO,
        )
        image = mediapipe.Image(image_format=mediapipe.ImageFormat.SRGB, data=picture)
        with vision.PoseLandmarker.create_from_options(options) as landmarker:
            for turn in range(ROUNDS):
                found = landmarker.detect_for_video(image, 200 * turn)
    height, width = picture.shape[:2]
    scale = (width, height, width)
    px = np.array([(point.x, point.y, point.z) for point in found.pose_landmarks[0]]) * scale
    world = np.array([(point.x, point.y, point.z) for point in found.pose_world_landmarks[0]])
    return px, world, np.array([point.visibility for point in found.pose_landmarks[0]])


def settled(network, picture, start_px):
    hips = start_px[[INDEX["hip_left"], INDEX["hip_right"]], :2].mean(0)
    box = box_round(hips, start_px[INDEX["nose"], :2])
    for _ in range(ROUNDS):
        look = network.look(picture, box)
        box = look.next_box
    return look


@pytest.fixture(scope="module", params=["full", "heavy"])
def kind(request):
    return request.param


@pytest.fixture(scope="module")
def network(kind):
    return PoseNetwork(kind)


@pytest.mark.parametrize("name", STILLS)
def test_it_gives_the_landmarks_of_the_tasks_api(kind, network, name):
    picture = picture_of(name)
    px, world, visibility = tasks_api_settled(kind, picture)
    look = settled(network, picture, px)
    size_px = np.ptp(px[:, 1])
    apart = np.linalg.norm(look.picture_px[:, :2] - px[:, :2], axis=1)
    assert np.median(apart) < 0.006 * size_px
    assert np.median(np.abs(look.picture_px[:, 2] - px[:, 2])) < 0.05 * size_px
    assert np.median(np.linalg.norm(look.world_m - world, axis=1)) < 0.03
    assert np.median(np.abs(look.visibility - visibility)) < 0.03
    assert look.presence > 0.9


def test_a_mirrored_look_at_a_mirrored_picture_swaps_left_and_right(network):
    picture = picture_of(STILLS[0])
    width = picture.shape[1]
    box = Box(x_px=200.0, y_px=220.0, side_px=300.0, angle_rad=0.2)
    # pixel columns 0 and width - 1 change places, the crop's edge lies half a crop away
    turned = Box(width - 1 - box.x_px + box.side_px / 256, box.y_px, box.side_px, -box.angle_rad)
    plain = network.look(picture, box)
    mirrored = network.look(np.ascontiguousarray(picture[:, ::-1]), turned, mirrored=True)
    left, right = INDEX["shoulder_left"], INDEX["shoulder_right"]
    swapped_x = width - 1 - mirrored.picture_px[[right, left], 0]
    assert swapped_x == pytest.approx(plain.picture_px[[left, right], 0], abs=8)
    assert mirrored.world_m[[right, left], 0] == pytest.approx(
        -plain.world_m[[left, right], 0], abs=0.05
    )


def test_the_same_look_twice_is_the_same_to_the_last_bit(network):
    picture = picture_of(STILLS[0])
    box = Box(200.0, 220.0, 300.0, 0.0)
    first, second = network.look(picture, box), network.look(picture, box)
    assert np.array_equal(first.picture_px, second.picture_px)
    assert np.array_equal(first.world_m, second.world_m)


def test_a_crop_shows_the_person_upright():
    picture = np.zeros((200, 300, 3), np.uint8)
    picture[98:103, 200:205] = 255  # to the right of the middle of the box below
    box = box_round(np.array([150.0, 100.0]), np.array([200.0, 100.0]))
    crop = crop_of(picture, box)
    rows, columns = np.nonzero(crop[..., 0] > 128)
    assert box.angle_rad == pytest.approx(np.pi / 2)
    assert rows.mean() < 60  # what lay towards the head is now above the middle
    assert columns.mean() == pytest.approx(128, abs=4)


def test_nothing_that_reports_to_the_makers_is_loaded():
    code = (
        "import sys, numpy as np\n"
        "from ergo.landmarks.network import Box, PoseNetwork\n"
        "PoseNetwork('full').look(np.zeros((64, 64, 3), np.uint8), Box(32, 32, 60, 0))\n"
        "assert 'openvino' in sys.modules\n"
        "print([name for name in sys.modules if 'telemetry' in name])\n"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"
    assert ran.stderr == ""
