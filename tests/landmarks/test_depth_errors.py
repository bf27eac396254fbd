"""The network's lopsidedness: seen on real passes over a picture and its mirror image."""

from pathlib import Path

import numpy as np
import pytest

from ergo.frames.stills import StillSource
from ergo.landmarks.depth_errors import evened
from ergo.landmarks.names import INDEX, LANDMARKS
from ergo.landmarks.network import Box, PoseNetwork

SAMPLE = Path(__file__).parents[2] / "sample_frames" / "stills"
SCENES = Path(__file__).parents[1] / "training" / "scenes"


def other_side(name):
    if "right" in name:
        return name.replace("right", "left")
    return name.replace("left", "right")


OTHER = [INDEX[other_side(name)] for name in LANDMARKS]


def heading_deg(world_m, stem):
    """Which way a line from right to left points, seen from above."""
    across, _, away = world_m[INDEX[f"{stem}_left"]] - world_m[INDEX[f"{stem}_right"]]
    return np.degrees(np.arctan2(away, across))


def twist_deg(world_m):
    apart = heading_deg(world_m, "shoulder") - heading_deg(world_m, "hip")
    return 180 - (180 - apart) % 360


@pytest.fixture(scope="module")
def twists():
    """Twist by the network and evened, (picture, plain or mirrored back, as seen or evened)."""
    network = PoseNetwork("heavy")
    found = []
    for path in sorted([*SAMPLE.glob("*.jpg"), *SCENES.glob("*.jpg")]):
        picture = next(iter(StillSource(path))).picture
        height, width = picture.shape[:2]
        box = Box(width / 2, height / 2, float(max(height, width)), 0.0)
        for _ in range(4):
            look = network.look(picture, box)
            box = look.next_box
        if look.presence < 0.9:
            continue
        pair = [network.look(picture, box, mirrored=mirrored).world_m for mirrored in (False, True)]
        # a mirror image errs the other way: as if left and right had been told the other way round
        found.append([[twist_deg(pair[0]), twist_deg(evened(pair[0]))], [twist_deg(pair[1])] * 2])
    return np.array(found)


def test_a_picture_and_its_mirror_image_disagree_much_less_once_depths_are_evened(twists):
    assert len(twists) >= 5
    apart = np.abs(180 - (180 - (twists[:, 0] - twists[:, 1])) % 360)
    as_seen, half_evened = np.median(apart, axis=0)  # the mirror image keeps its own error
    assert as_seen > 25
    assert half_evened < 0.65 * as_seen


def test_evening_moves_left_and_right_apart_alike_and_leaves_their_middle():
    rng = np.random.default_rng(1)
    world = rng.normal(size=(4, len(LANDMARKS), 3))
    moved = evened(world) - world
    assert np.allclose(moved, -moved[:, OTHER])
    assert not moved[..., :2].any()
    assert moved[:, INDEX["hip_left"], 2].max() < 0 < moved[:, INDEX["shoulder_left"], 2].min()


def test_who_was_not_seen_stays_unseen():
    unseen = np.full((2, 1, len(LANDMARKS), 3), np.nan)
    assert np.isnan(evened(unseen)).all()
