"""Limbs: the directions between body points that angles are made of, and back to points."""

from collections.abc import Sequence

import numpy as np

from ergo.arrays import FloatArray
from ergo.posture import geometry as g
from ergo.posture.body_points import POINTS, POSITION, BodyPoints

LIMBS: tuple[str, ...] = (
    "trunk",
    "trunk_to_shoulders",
    "hips",
    "shoulders",
    "ears",
    "gaze",
    "upper_arm_left",
    "upper_arm_right",
    "forearm_left",
    "forearm_right",
    "hand_left",
    "hand_right",
    "knuckles_left",
    "knuckles_right",
)
"""Order of the limb axis. ``trunk`` runs from mid-hip to the top of the trunk line,
``trunk_to_shoulders`` from mid-hip to mid-shoulder; ``hips``, ``shoulders`` and ``ears`` from
right to left; ``gaze`` from mid-ear to mid outer eye corner; ``hand`` from the wrist to the
middle of the knuckles; ``knuckles`` from the little finger's to the index finger's."""

LIMB = {name: position for position, name in enumerate(LIMBS)}
_ACROSS = ("hips", "shoulders", "ears")


def other_side(name: str) -> str:
    """Return the name of the same point or limb on the other side of the body."""
    if name.endswith("_left"):
        return name.removesuffix("left") + "right"
    return name.removesuffix("right") + "left" if name.endswith("_right") else name


_POINTS_MIRRORED = np.array([POSITION[other_side(name)] for name in POINTS])
_LIMBS_MIRRORED = np.array([LIMB[other_side(name)] for name in LIMBS])
_LIMBS_SIGN = np.array([-1.0 if name in _ACROSS else 1.0 for name in LIMBS])[:, None]
_FLIP_X = np.array([-1.0, 1.0, 1.0])


def mirrored_points(points: BodyPoints) -> BodyPoints:
    """Return the body as seen in a mirror: x turned round, left and right exchanged."""
    by_point = np.moveaxis(points.xyz, 0, -1)[_POINTS_MIRRORED] * _FLIP_X[:, None]
    return BodyPoints(np.moveaxis(by_point, -1, 0))


def mirrored_spread(spread_m: FloatArray) -> FloatArray:
    """Return what each point has (frame, point), left and right exchanged."""
    return spread_m[:, _POINTS_MIRRORED]


def mirrored_limbs(limbs: FloatArray) -> FloatArray:
    """Return limbs (frame, limb, xyz) as seen in a mirror, left and right exchanged."""
    seen: FloatArray = limbs[:, _LIMBS_MIRRORED] * _LIMBS_SIGN * _FLIP_X
    return seen


def limbs_of(points: BodyPoints, names: Sequence[str] = LIMBS) -> FloatArray:
    """Return limbs with their lengths, all or some, array (frame, limb, xyz) in m."""
    by_limb = np.empty((len(names), 3, len(points)))
    for limb, name in zip(by_limb, names, strict=True):
        limb[:] = _limb(points, name).T
    return np.moveaxis(by_limb, -1, 0)


def _limb(points: BodyPoints, name: str) -> FloatArray:
    """Return one vector of :data:`LIMBS` with its length, array (frame, xyz) in m."""
    if name == "trunk":
        return points.trunk
    if name == "trunk_to_shoulders":
        return points.middle("shoulder") - points.middle("hip")
    if name == "gaze":
        return g.ear_eye_line(points)
    if name in _ACROSS:
        stem = name.removesuffix("s")
        return points[f"{stem}_left"] - points[f"{stem}_right"]
    return _of_arm(points, *name.rsplit("_", 1))


def _of_arm(points: BodyPoints, stem: str, side: str) -> FloatArray:
    index, pinky = points[f"index_{side}"], points[f"pinky_{side}"]
    if stem == "knuckles":
        return index - pinky
    if stem == "hand":
        return (index + pinky) / 2 - points[f"wrist_{side}"]
    if stem == "forearm":
        return points[f"wrist_{side}"] - points[f"elbow_{side}"]
    return points[f"elbow_{side}"] - points[f"shoulder_{side}"]


def with_limbs(points: BodyPoints, directions: FloatArray) -> BodyPoints:
    """Return the points moved so that every limb has a new direction and its own length.

    Parameters
    ----------
    points : BodyPoints
        Gives the place of mid-hip, the lengths, and what no limb reaches.
    directions : array (frame, limb, xyz)
        Of any length but 0.
    """
    old = limbs_of(points)
    new = g.unit(directions) * g.length(old)[..., None]
    limb = dict(zip(LIMBS, np.moveaxis(new, 1, 0), strict=True))
    hips, shoulders = points.middle("hip"), points.middle("hip") + limb["trunk_to_shoulders"]
    ears = shoulders + points.middle("ear") - points.middle("shoulder")
    moved = {
        "trunk_top": hips + limb["trunk"],
        "nose": ears + points["nose"] - points.middle("ear"),
    }
    for side, half in (("left", 0.5), ("right", -0.5)):
        detector = points[f"eye_outer_{side}"] - points.middle("eye_outer")
        span = g.length(detector)[:, None] * g.unit(limb["ears"]) * 2 * half
        moved |= {
            f"hip_{side}": hips + half * limb["hips"],
            f"shoulder_{side}": shoulders + half * limb["shoulders"],
            f"ear_{side}": ears + half * limb["ears"],
            f"eye_outer_{side}": ears + limb["gaze"] + span,
        }
        moved |= _arm(moved[f"shoulder_{side}"], limb, side)
    xyz = points.xyz.copy(order="K")
    for name, place in moved.items():
        xyz[:, POSITION[name]] = place
    return BodyPoints(xyz)


def _arm(shoulder: FloatArray, limb: dict[str, FloatArray], side: str) -> dict[str, FloatArray]:
    elbow = shoulder + limb[f"upper_arm_{side}"]
    wrist = elbow + limb[f"forearm_{side}"]
    knuckles = wrist + limb[f"hand_{side}"]
    return {
        f"elbow_{side}": elbow,
        f"wrist_{side}": wrist,
        f"index_{side}": knuckles + limb[f"knuckles_{side}"] / 2,
        f"pinky_{side}": knuckles - limb[f"knuckles_{side}"] / 2,
    }
