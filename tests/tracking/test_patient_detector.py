"""Who lies at the operator's hands: the crop, and what follows from a look at it."""

from dataclasses import replace

import numpy as np
import pytest

from ergo.landmarks.joints import JOINTS, Joints
from ergo.landmarks.names import INDEX
from ergo.landmarks.network import Box
from ergo.tracking.body import Body
from ergo.tracking.patient_detector import CROP_M, SITS, box_at_hands, look_of, sits_to_patient
from ergo.tracking.roles import Identified, with_patient
from tests.tracking.people import person
from tests.tracking.seated import around

BOX = Box(320.0, 240.0, 400.0, 0.0)


def lying_joints(spread_px=4.0):
    """Return the joints of somebody who lies along the picture, the head to the right."""
    lying = person((400.0, 240.0), px_per_m=BOX.side_px / CROP_M, lying=True)
    place = np.array([lying.picture_px[INDEX.get(name, INDEX["nose"])] for name in JOINTS])
    return lying, Joints(place, np.full(len(JOINTS), spread_px), np.full(len(JOINTS), 9.0))


def test_the_crop_lies_upright_round_the_hands_and_grows_with_the_person():
    small, large = (box_at_hands(person((300.0, 400.0), px_per_m=one)) for one in (150.0, 300.0))
    hands = Body.of(person((300.0, 400.0), px_per_m=300.0)).hands_px.mean(0)
    assert (large.x_px, large.y_px) == pytest.approx(tuple(hands))
    assert large.side_px == pytest.approx(2 * small.side_px)
    assert large.side_px == pytest.approx(300.0 * CROP_M, rel=0.01)
    assert large.angle_rad == 0


def test_joints_are_the_landmarks_and_their_size_is_that_of_the_crop():
    truth, joints = lying_joints()
    look = look_of(joints, 0.8, BOX)
    named = [INDEX[name] for name in JOINTS if name in INDEX]
    assert look.picture_px[named] == pytest.approx(truth.picture_px[named])
    assert look.world_m[named] == pytest.approx(truth.world_m[named], abs=1e-9)
    assert look.presence == 0.8
    assert Body.of(look).lean_deg > 80


def test_landmarks_that_are_no_joints_lie_between_those_that_are():
    _, joints = lying_joints()
    points = look_of(joints, 0.8, BOX).picture_px
    eye, nose = points[INDEX["eye_outer_left"]], points[INDEX["nose"]]
    assert points[INDEX["eye_inner_left"]] == pytest.approx((eye + nose) / 2)
    wrist, index = points[INDEX["wrist_left"]], points[INDEX["index_left"]]
    assert np.linalg.norm(points[INDEX["thumb_left"]] - index) < np.linalg.norm(wrist - index)


def test_what_is_unsure_is_not_believed_to_be_in_view():
    sure, unsure = (look_of(lying_joints(px)[1], 0.8, BOX).visibility for px in (2.0, 30.0))
    joints = [INDEX[name] for name in JOINTS if name in INDEX]
    assert (sure[joints] > 0.9).all()
    assert (unsure[joints] < 0.5).all()
    assert sure[INDEX["ankle_left"]] < sure[INDEX["knee_left"]]


def test_the_next_crop_keeps_its_size_and_has_the_head_in_its_middle():
    look = look_of(lying_joints()[1], 0.8, BOX)
    ears = look.picture_px[[INDEX["ear_left"], INDEX["ear_right"]], :2].mean(0)
    assert look.next_box.side_px == BOX.side_px
    assert (look.next_box.x_px, look.next_box.y_px) == pytest.approx(tuple(ears))


def told(presence, others):
    lying = look_of(lying_joints()[1], presence, BOX)
    operator = replace(person((200.0, 300.0)), at_hands=lying)
    who = {role: Identified(look, 0.9) for role, look in others.items()}
    return with_patient(who | {"operator": Identified(operator, 0.9)}), operator


def test_the_look_at_the_hands_tells_the_patient_alone():
    who, operator = told(0.8, {"patient": person((500.0, 90.0), lying=True)})
    assert who["patient"].look is operator.at_hands
    assert who["patient"].belief == 0.8
    assert who["operator"].look is operator


def test_where_nobody_lies_at_the_hands_there_is_no_patient():
    who, _ = told(0.2, {"patient": person((5.0, 9.0))})
    assert set(who) == {"operator"}


def test_without_an_operator_there_is_no_patient():
    somebody = replace(person((200.0, 300.0)), at_hands=look_of(lying_joints()[1], 0.9, BOX))
    assert "patient" not in with_patient({"assistant": Identified(somebody, 0.9)})


@pytest.mark.parametrize(("away_px", "roles"), [(0, set()), (150, {"assistant"})])
def test_the_patient_s_own_body_is_no_assistant(away_px, roles):
    truth, _ = lying_joints()
    moved = replace(truth, picture_px=truth.picture_px + (0.0, away_px, 0.0))
    who, _ = told(0.8, {"assistant": moved})
    assert set(who) == {"operator", "patient"} | roles


@pytest.mark.parametrize(
    ("hours", "to_left", "to_feet", "on_right"),
    [(9.0, 1.0, 0.0, 1.0), (12.0, 0.0, 1.0, 0.0), (3.0, -1.0, 0.0, -1.0), (10.5, 0.71, 0.71, 0.71)],
)
def test_how_somebody_sits_to_the_patient_follows_the_hour(hours, to_left, to_feet, on_right):
    told = dict(zip(SITS, sits_to_patient(around(hours)), strict=True))
    assert told["somebody_lies_at_hands"] == 1
    assert told["faces_their_left"] == pytest.approx(to_left, abs=0.01)
    assert told["faces_their_feet"] == pytest.approx(to_feet, abs=0.01)
    assert told["on_their_right"] == pytest.approx(on_right, abs=0.01)
    assert told["faces_their_left_and_feet"] == pytest.approx(to_left * to_feet, abs=0.01)
    assert told["faces_their_left_not_feet"] == pytest.approx(
        np.cos(2 * np.arctan2(to_feet, to_left)), abs=0.01
    )
    assert told["away_from_their_head"] == pytest.approx(0.5 / 0.7)


def test_where_nobody_was_looked_for_nothing_is_told_of_sitting():
    assert (sits_to_patient(person((0.0, 0.0))) == 0).all()
    doubtful = around(9.0)
    doubtful = replace(doubtful, at_hands=replace(doubtful.at_hands, presence=0.25))
    assert sits_to_patient(doubtful) == pytest.approx(0.25 * sits_to_patient(around(9.0)))
