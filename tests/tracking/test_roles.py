"""Who is the operator among people whose measures are invented."""

from dataclasses import replace

import numpy as np
import pytest

from ergo.landmarks.joints import JOINT, Joints
from ergo.landmarks.names import INDEX
from ergo.tracking.roles import (
    CUES,
    LEFT_HANDED,
    MOST_OF_IMPRESSION,
    MOST_OF_PAIR,
    POSE,
    ROLES,
    _weights,
    cues,
    identify,
    pose_of,
    role_permutations,
    role_posterior,
)
from tests.tracking.people import person
from tests.tracking.seated import around, at_work, looks

WIDTH_PX = 640
BODY_PX = 240.0  # roughly the height of an invented person


def beliefs(people, width_px, handed=None):
    return role_posterior(people, width_px, handed).belief


def with_spread(one, share):
    spread = np.full(20, share * BODY_PX)
    return replace(one, joints=Joints(np.zeros((20, 3)), spread, spread))


@pytest.mark.parametrize(("people", "ways"), [(1, 4), (2, 13), (3, 34)])
def test_each_role_goes_to_one_person_at_most(people, ways):
    # ways = sum over k roles given of C(3, k) * n! / (n - k)!
    shared = role_permutations(people)
    assert len(shared) == ways
    assert all(np.sum(shared == role, axis=1).max() <= 1 for role in range(len(ROLES)))


def test_beliefs_of_a_role_never_add_up_to_more_than_one():
    people = [person((100.0 + 120 * at, 300.0)) for at in range(4)]
    assert (beliefs(people, WIDTH_PX).sum(axis=0) <= 1 + 1e-9).all()


def test_a_body_whose_joints_are_unsure_is_believed_less():
    sure, unsure = (
        with_spread(person((200.0, 300.0)), 0.03),
        with_spread(person((200.0, 300.0)), 0.3),
    )
    assert beliefs([unsure], WIDTH_PX)[0, 0] < beliefs([sure], WIDTH_PX)[0, 0]


def test_of_two_alike_the_one_that_is_clearly_a_body_is_the_operator():
    clear = with_spread(person((200.0, 300.0)), 0.03)
    mixed = with_spread(person((450.0, 300.0)), 0.3)
    believed = beliefs([mixed, clear], WIDTH_PX)[:, 0]
    assert believed[1] > believed[0]


def test_of_two_who_look_alike_the_one_who_sits_like_an_operator_is_believed():
    people = looks(at_work(), 120.0)  # their landmarks are the same, their joints are not
    assert np.argmax(beliefs(people, WIDTH_PX)[:, 0]) == 0
    assert np.argmax(beliefs(people[::-1], WIDTH_PX)[:, 0]) == 1


def test_who_lies_is_no_party_to_who_of_two_operates():
    operator, assistant = looks(at_work(), 120.0)
    told = cues([operator, assistant], WIDTH_PX)[:, CUES.index("sits_like_operator")]
    assert told[0] == pytest.approx(-told[1])
    assert 0 < told[0] <= MOST_OF_PAIR
    lying = replace(person((400.0, 320.0), lying=True), joints=assistant.joints)
    told = cues([operator, lying], WIDTH_PX)[:, CUES.index("sits_like_operator")]
    assert told == pytest.approx([0.0, 0.0], abs=0.05)


def turned_about_the_vertical(points, turn_deg):
    """Return points (point, xyz) of somebody who turned on the spot."""
    turn = np.radians(turn_deg)
    cosine, sine = np.cos(turn), np.sin(turn)
    return points @ np.array([(cosine, 0, sine), (0, 1, 0), (-sine, 0, cosine)]).T


@pytest.mark.parametrize("turn_deg", [0.0, 70.0, 180.0])
def test_a_pose_is_that_of_the_joints_and_the_same_from_every_side(turn_deg):
    one = person((300.0, 250.0), px_per_m=200.0)
    place = np.zeros((20, 3))
    for name in POSE:
        place[JOINT[name]] = one.world_m[INDEX[name]]
    place[JOINT["wrist_left"]] = (0.1, 0.2, -0.4)  # held out towards the camera: ahead
    place = turned_about_the_vertical(place, turn_deg) * 200 + (300, 250, 0)
    seen = replace(one, joints=Joints(place, np.ones(20), np.ones(20)))
    pose = pose_of(seen).reshape(-1, 3)  # left, down, backwards
    assert pose[POSE.index("shoulder_left")] == pytest.approx([0.18, -0.48, 0.0], abs=1e-3)
    assert pose[POSE.index("wrist_left")] == pytest.approx([0.1, 0.2, -0.4], abs=1e-3)


def test_a_left_handed_operator_s_pose_is_the_mirror_image_of_a_right_handed_one_s():
    one = person((300.0, 250.0), px_per_m=200.0)
    raised = one.world_m.copy()
    raised[INDEX["wrist_left"]] = (0.3, -0.5, -0.2)
    other = one.world_m.copy()
    other[INDEX["wrist_right"]] = (-0.3, -0.5, -0.2)
    left = pose_of(replace(one, world_m=raised), "left")
    assert left == pytest.approx(pose_of(replace(one, world_m=other), "right"), abs=1e-9)


def test_the_patient_is_on_the_other_side_of_a_left_handed_operator():
    people = [person((200.0, 300.0)), person((400.0, 320.0), lying=True)]
    right, left = (cues(people, WIDTH_PX, handed) for handed in ("right", "left"))
    assert (np.abs(right - left).max(axis=0) > 0).any()
    assert np.abs(right) == pytest.approx(np.abs(left))


def beside_patient(people, hours):
    """The people as they sit, with the patient at the hands of each."""
    return [
        replace(one, at_hands=around(at).at_hands, joints=around(at).joints)
        for one, at in zip(people, hours, strict=True)
    ]


def test_how_they_sit_tells_the_hand_and_a_stated_hand_changes_who_operates_only():
    one = person((300.0, 250.0), px_per_m=200.0)
    at_nine, at_three = (beside_patient([one], [at]) for at in (9.0, 3.0))
    hands = [role_posterior(each, WIDTH_PX).right_handed for each in (at_nine, at_three)]
    assert hands[0] > 1 - LEFT_HANDED > hands[1]
    stated = [role_posterior(at_three, WIDTH_PX, hand) for hand in ("right", "left")]
    assert stated[0].belief[0, 0] < stated[1].belief[0, 0]
    assert stated[0].right_handed == stated[1].right_handed == hands[1]


def test_who_is_certain_to_operate_leaves_the_others_the_other_roles():
    people = [person((100.0 + 120 * at, 300.0)) for at in range(3)]
    shared = role_posterior(people, WIDTH_PX, operator=2)
    assert shared.belief[:, 0] == pytest.approx([0, 0, 1])
    assert shared.belief[2, 1:] == pytest.approx([0, 0])
    assert identify(people, WIDTH_PX, operator=2)["operator"].look is people[2]


def test_an_impression_unlike_any_learned_from_cannot_overrule_everything():
    one = person((200.0, 300.0))
    plain = beliefs([replace(one, impression=_weights()["impression_mean"])], WIDTH_PX)[0]
    absurd = np.full(len(_weights()["impression_mean"]), 1e6)
    swayed = beliefs([replace(one, impression=absurd)], WIDTH_PX)[0]
    moved = np.log(swayed / (1 - swayed)) - np.log(plain / (1 - plain))
    assert np.abs(moved).max() <= 2 * MOST_OF_IMPRESSION + 1e-6


def test_nobody_in_the_picture_has_no_role():
    assert beliefs([], WIDTH_PX).shape == (0, len(ROLES))
