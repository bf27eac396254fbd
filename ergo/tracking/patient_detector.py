"""The patient, told from a crop at the hands of somebody who works there.

The person detector knows people who are upright and misses most who lie under
cloths and instruments. Who works at a mouth shows where the head is: a second head
of the joint branch tells from a crop round the hands whether somebody lies there
and where that person's joints are, hidden ones included.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from ergo.arrays import FloatArray, PictureArray
from ergo.landmarks.joints import JOINT, LYING_SIDE_M, Joints
from ergo.landmarks.names import LANDMARKS
from ergo.landmarks.network import Box, PoseEstimate, PoseNetwork
from ergo.tracking.body import TRUE_PER_NETWORK_SIZE, Body

CROP_M = LYING_SIDE_M / TRUE_PER_NETWORK_SIZE
"""Side of the crop in metres of the network, in which people are smaller than they are."""
LYING_FLOOR = 0.5
"""Belief from which somebody lies there."""
_KNUCKLES = [JOINT["index_left"], JOINT["index_right"]]
SURE_M = 0.06
"""Error of a joint at which it is believed half to be in view. [m]"""
SITS = (
    "somebody_lies_at_hands",
    "faces_their_left",
    "faces_their_feet",
    "hands_from_their_nose",
    "on_their_right",
    "away_from_their_head",
    "faces_their_left_and_feet",
    "faces_their_left_not_feet",
)
"""Measures of how a person sits to who lies at their hands."""
CHANGES_SIDE = ("faces_their_left", "on_their_right", "faces_their_left_and_feet")
"""Those whose sign changes in the mirror image."""
_FAR = 2.0  # ways from head to hips at which a distance saturates


def box_at_hands(person: PoseEstimate) -> Box:
    """Return the upright crop in which a patient would lie at a person's hands."""
    body = Body.of(person)
    hands_px = body.hands_px if person.joints is None else person.joints.place[_KNUCKLES, :2]
    right, down = hands_px.mean(0)
    return Box(float(right), float(down), CROP_M * body.px_per_m, 0.0)


def lying_look(network: PoseNetwork, picture: PictureArray, box: Box) -> PoseEstimate:
    """Return the patient as a crop at somebody's hands tells of them.

    Landmarks are the joints, or lie on lines through them; of legs beyond the knee
    nothing is known. ``presence`` is the belief that somebody lies there.

    Parameters
    ----------
    network : PoseNetwork
        With a branch of joints.
    picture : array (row, column, rgb)
    box : Box
        Of :func:`box_at_hands`, or the ``next_box`` of such a look.
    """
    joints, presence = network.lying_joints(picture, box)
    return look_of(joints, presence, box)


def look_of(joints: Joints, presence: float, box: Box) -> PoseEstimate:
    """Return joints seen in a crop of :data:`CROP_M` as a look. [px]."""
    picture_px: FloatArray = _PLACES @ joints.place
    m_per_px = CROP_M / box.side_px
    hips = joints.place[[JOINT["hip_left"], JOINT["hip_right"]]].mean(0)
    head = joints.place[[JOINT["ear_left"], JOINT["ear_right"]]].mean(0)
    spread_m = (np.abs(_PLACES) @ joints.spread) * m_per_px
    return PoseEstimate(
        picture_px=picture_px,
        world_m=(picture_px - hips) * m_per_px,
        visibility=1 / (1 + (spread_m / SURE_M) ** 2),
        presence=presence,
        next_box=replace(box, x_px=float(head[0]), y_px=float(head[1])),
        joints=joints,
    )


def sits_to_patient(person: PoseEstimate) -> FloatArray:
    """Return array (measure,) of :data:`SITS`: how a person sits to who lies at their hands.

    Facing by the bodies in space, ahead against the lying one's left and feet, -1..1,
    whatever the distance between the two, and its second harmonics, since an assistant sits
    within fewer hours than an operator; ways in the picture, in lengths from the lying
    one's head to hips. All count by the belief that somebody lies there, and are 0 where
    nobody was looked for.
    """
    lying = person.at_hands
    if lying is None or lying.joints is None or person.joints is None:
        return np.zeros(len(SITS))
    own, theirs = person.joints.place, lying.joints.place
    head, to_hips = _middle(theirs, "ear"), _middle(theirs, "hip") - _middle(theirs, "ear")
    length = max(float(np.linalg.norm(to_hips)), 1.0)
    ahead = _unit(
        np.cross(_left(own), _unit(_middle(own, "shoulder") - _middle(own, "hip")))
    )  # x right, y down, z away: right-handed axes, so left x up points ahead
    hands = float(np.linalg.norm((own[_KNUCKLES].mean(0) - theirs[JOINT["nose"]])[:2]))
    feet, seat = to_hips[:2], (_middle(own, "hip") - head)[:2]
    turn = feet[0] * seat[1] - feet[1] * seat[0]
    away = float(np.linalg.norm(seat))
    to_left, to_feet = float(ahead @ _unit(_left(theirs))), float(ahead @ _unit(to_hips))
    return lying.presence * np.array(
        (
            1.0,
            to_left,
            to_feet,
            min(hands / length, _FAR),
            turn / max(float(np.linalg.norm(feet)) * away, _NOTHING),
            min(away / length, _FAR),
            to_left * to_feet,
            to_left**2 - to_feet**2,
        )
    )


_NOTHING = 1e-6


def _left(place: FloatArray) -> FloatArray:
    """Return the way (xyz) to a body's own left, of no certain length."""
    shoulders, hips = (
        _unit(place[JOINT[f"{stem}_left"]] - place[JOINT[f"{stem}_right"]])
        for stem in ("shoulder", "hip")
    )
    return np.asarray(shoulders + hips)


def _middle(place: FloatArray, stem: str) -> FloatArray:
    return np.asarray(place[[JOINT[f"{stem}_left"], JOINT[f"{stem}_right"]]].mean(0))


def _unit(way: FloatArray) -> FloatArray:
    return np.asarray(way / (np.linalg.norm(way) + _NOTHING))


def _shares() -> Mapping[str, Mapping[str, float]]:
    """Return which joints every landmark that is none lies between, or beyond."""
    shares: dict[str, Mapping[str, float]] = {}
    for side in ("left", "right"):
        eye, knee, hip = f"eye_outer_{side}", f"knee_{side}", f"hip_{side}"
        shares[f"eye_inner_{side}"] = {"nose": 0.5, eye: 0.5}
        shares[f"eye_{side}"] = {"nose": 0.25, eye: 0.75}
        shares[f"mouth_{side}"] = {"nose": 0.9, "c7": 0.05, f"shoulder_{side}": 0.05}
        shares[f"thumb_{side}"] = {f"wrist_{side}": 0.4, f"index_{side}": 0.6}
        for part in ("ankle", "heel", "toe"):
            shares[f"{part}_{side}"] = {knee: 1.9, hip: -0.9}
    return shares


def _places() -> FloatArray:
    """Return array (landmark, joint): how landmarks follow from joints."""
    shares = _shares()
    places = np.zeros((len(LANDMARKS), len(JOINT)))
    for row, landmark in enumerate(LANDMARKS):
        for joint, share in shares.get(landmark, {landmark: 1.0}).items():
            places[row, JOINT[joint]] = share
    return places


_PLACES = _places()
