"""Who of two operates, told from two seated stick figures at one invented mouth."""

from dataclasses import replace

import numpy as np
import pytest

from ergo.landmarks.joints import JOINT, JOINTS
from ergo.landmarks.network import MIRRORED_JOINTS
from ergo.tracking.pairs import mirrored, operator_odds, scale
from tests.tracking.people import person
from tests.tracking.seated import at_work, looks, seated

WIDTH_PX = 640
FROM = [0, 45, 90, 135, 180, 225, 270, 315]  # bearings of the camera


@pytest.mark.parametrize("camera_deg", FROM)
@pytest.mark.parametrize("handed", ["right", None])
def test_who_sits_near_and_low_with_both_hands_at_the_mouth_operates(camera_deg, handed):
    assert operator_odds(looks(at_work(), camera_deg), WIDTH_PX, handed)[0, 1] > 0


@pytest.mark.parametrize("camera_deg", FROM)
def test_exchanging_the_people_changes_the_sign(camera_deg):
    people = looks(at_work(), camera_deg)
    odds = operator_odds(people, WIDTH_PX)
    assert odds == pytest.approx(-odds.T)
    assert operator_odds(people[::-1], WIDTH_PX) == pytest.approx(odds.T)


@pytest.mark.parametrize("camera_deg", FROM)
def test_a_left_handed_operator_is_a_right_handed_one_in_the_mirror(camera_deg):
    right = operator_odds(looks(at_work(), camera_deg), WIDTH_PX, "right")
    left = operator_odds(looks(at_work(), camera_deg, is_mirrored=True), WIDTH_PX, "left")
    assert left == pytest.approx(right)


def test_of_two_who_sit_alike_the_one_with_the_other_on_the_left_is_believed_right_handed():
    alike = {"away_m": 0.55, "lean_deg": 10, "hip_m": 0.55, "hands_short_m": 0.0}
    # 12 o'clock and 3: seen from above the hours run clockwise, so 3 is on the left of who faces 6
    both = np.stack([seated(0.0, **alike), seated(90.0, **alike)])
    for camera_deg in FROM:
        people = looks(both, camera_deg)
        assert operator_odds(people, WIDTH_PX, "right")[0, 1] > 0
        assert operator_odds(people, WIDTH_PX, "left")[0, 1] < 0


def test_nothing_is_told_of_people_without_joints_nor_of_nobody():
    without = person((200.0, 300.0))
    people = [*looks(at_work(), 45.0), without]
    odds = operator_odds(people, WIDTH_PX)
    assert (odds[2] == 0).all()
    assert (odds[:, 2] == 0).all()
    assert odds[0, 1] != 0
    assert operator_odds([without], WIDTH_PX).tolist() == [[0.0]]
    assert operator_odds(people[:1], WIDTH_PX).tolist() == [[0.0]]
    assert operator_odds([], WIDTH_PX).shape == (0, 0)


def test_what_is_far_from_all_examples_counts_no_more_than_what_is_unusual():
    people = looks(at_work(), 45.0)
    far, further = (
        replace(people[1], joints=replace(people[1].joints, place=people[1].joints.place + shift))
        for shift in ((5e4, 0, 0), (9e4, 0, 0))
    )
    odds = [operator_odds([people[0], one], WIDTH_PX)[0, 1] for one in (far, further)]
    assert np.isfinite(odds).all()
    assert odds[0] == pytest.approx(odds[1])


def test_scale_is_the_length_of_a_body_of_usual_size_whichever_way_it_turns():
    figure = seated(120.0, away_m=0.5, lean_deg=20, hip_m=0.5, hands_short_m=0.0)
    assert scale(figure) == pytest.approx(1.0, abs=0.06)
    assert scale(250 * figure) == pytest.approx(250 * scale(figure))


def test_mirroring_twice_changes_nothing():
    figure = seated(30.0, away_m=0.5, lean_deg=20, hip_m=0.5, hands_short_m=0.0)
    assert mirrored(mirrored(figure)) == pytest.approx(figure)
    assert mirrored(figure)[JOINT["ear_left"]] == pytest.approx(
        figure[JOINT["ear_right"]] * (-1, 1, 1)
    )
    assert sorted(MIRRORED_JOINTS) == list(range(len(JOINTS)))
