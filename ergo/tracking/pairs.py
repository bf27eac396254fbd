"""Which of two people is the operator, if one of them is and the other one assists.

Both sit round the same mouth and look alike, but not how they sit: whose hands
meet there, who sits nearer, lower and leans more, who has the other on the left.
A small network learned this from thousands of drawn scenes. It reads the joints
of both, how surely each is placed, and the way from one to the other; it is asked
twice, the people changed round, and the difference counts: so that it can never
prefer whoever is named first.
"""

from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path

import numpy as np

from ergo.arrays import FloatArray
from ergo.landmarks.joints import JOINT, JOINTS
from ergo.landmarks.network import MIRRORED_JOINTS, PoseEstimate

MODEL_PATH = Path(__file__).parent / "models" / "pairs.npz"

FOCAL_SHARE = 0.8  # focal length of a common camera in picture widths; turns sizes into distances
MOST_UNUSUAL = 4.0  # deviations at which a measure saturates: far from the examples nothing is new
BONES = (
    (("shoulder_left", "elbow_left"), 0.277, 0.3),
    (("shoulder_right", "elbow_right"), 0.277, 0.3),
    (("elbow_left", "wrist_left"), 0.244, 0.3),
    (("elbow_right", "wrist_right"), 0.244, 0.3),
    (("shoulder_left", "shoulder_right"), 0.352, 1.0),
    (("hip_left", "hip_right"), 0.227, 0.5),
    (("hip_left", "knee_left"), 0.43, 0.7),
    (("hip_right", "knee_right"), 0.43, 0.7),
    (("hip", "shoulder"), 0.482, 2.0),
    (("shoulder", "ear"), 0.208, 0.7),
)
"""Ends (a name without a side is the middle of both), usual length [m] and weight for the scale:
mean and trust over the drawn bodies."""
_NOTHING = 1e-6


def operator_odds(
    people: Sequence[PoseEstimate], width_px: int, handed: str | None = None
) -> FloatArray:
    """Return array (person, person): log odds that the first operates and the second assists.

    Against the other way round, so that exchanging the people changes the sign;
    0 where the joints of either were not seen, and of everybody with themselves.

    Parameters
    ----------
    people : sequence of PoseEstimate
    width_px : int
        Of the picture; stands in for the focal length. [px]
    handed : str, optional
        Of the operator. Where it is not known, most are right-handed.
    """
    odds = np.zeros((len(people), len(people)))
    seen = [at for at, one in enumerate(people) if one.joints is not None]
    pairs = np.array([(one, other) for one in seen for other in seen if one < other])
    if not len(pairs):
        return odds
    joints = [people[at].joints for at in pairs.ravel()]
    place = np.array([one.place for one in joints if one]).reshape(-1, 2, len(JOINTS), 3)
    spread = np.array([one.spread for one in joints if one]).reshape(-1, 2, len(JOINTS))
    if handed == "left":
        place, spread = mirrored(place), spread[..., MIRRORED_JOINTS]
    told = first_operates(measures(place, spread, width_px, is_known=handed is not None), _model())
    odds[pairs[:, 0], pairs[:, 1]] = told
    odds[pairs[:, 1], pairs[:, 0]] = -told
    return odds


def measures(
    place_px: FloatArray, spread_px: FloatArray, width_px: int, *, is_known: bool
) -> FloatArray:
    """Return array (pair, order, measure): what the network reads, the people either way round.

    Parameters
    ----------
    place_px : array (pair, person, joint, xyz)
        x right, y down; z away from the camera, from each one's mid-hip. [px]
    spread_px : array (pair, person, joint)
        One standard deviation. [px]
    width_px : int
        Of the picture. [px]
    is_known : bool
        Whether these people are known to be those of a right-handed operator.
    """
    px_per_m = scale(place_px)
    hips = _middle(place_px, "hip")
    own = (place_px - hips[:, :, None]) / px_per_m[..., None, None]
    both = np.concatenate(
        [own.reshape(*own.shape[:2], -1), np.log(spread_px / px_per_m[..., None])], axis=-1
    )
    way = (hips[:, 1] - hips[:, 0]) / np.sqrt(px_per_m.prod(axis=1))[:, None]
    way[:, 2] = FOCAL_SHARE * width_px * (1 / px_per_m[:, 1] - 1 / px_per_m[:, 0])
    known = np.full((len(way), 1), float(is_known))
    orders = [
        np.concatenate([both[:, first], both[:, 1 - first], sign * way, known], axis=1)
        for first, sign in ((0, 1.0), (1, -1.0))
    ]
    return np.stack(orders, axis=1)


def first_operates(read: FloatArray, model: Mapping[str, FloatArray]) -> FloatArray:
    """Return array (pair,): log odds that the first operates, from array (pair, order, measure)."""
    unusual = (read - model["mean"]) / model["deviation"]
    value = np.clip(unusual, -MOST_UNUSUAL, MOST_UNUSUAL)
    for layer in ("first", "second"):
        summed = value @ model[f"{layer}/weight"] + model[f"{layer}/bias"]
        value = summed / (1 + np.exp(-summed))
    leaning = value @ model["last/weight"]
    return np.asarray(leaning[:, 0] - leaning[:, 1])


def mirrored(place: FloatArray) -> FloatArray:
    """Return joints, array (..., joint, xyz), as in the mirror image, the sides exchanged."""
    return np.asarray(place[..., MIRRORED_JOINTS, :] * (-1.0, 1.0, 1.0))


def scale(place: FloatArray) -> FloatArray:
    """Return array (...): size of a body, array (..., joint, xyz), in its own unit a metre."""
    seen = sum(
        weight * np.linalg.norm(_end(place, one) - _end(place, other), axis=-1)
        for (one, other), _, weight in BONES
    )
    usual = sum(weight * usual_m for _, usual_m, weight in BONES)
    return np.asarray(np.maximum(seen / usual, _NOTHING))


def _end(place: FloatArray, name: str) -> FloatArray:
    return place[..., JOINT[name], :] if name in JOINT else _middle(place, name)


def _middle(place: FloatArray, stem: str) -> FloatArray:
    sides = [JOINT[f"{stem}_left"], JOINT[f"{stem}_right"]]
    return np.asarray(place[..., sides, :].mean(axis=-2))


@cache
def _model() -> Mapping[str, FloatArray]:
    with np.load(MODEL_PATH) as stored:
        return {name: stored[name].astype(np.float64) for name in stored.files}
