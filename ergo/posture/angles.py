"""The angles of the body, by the definitions, names and signs of DEVELOPERS.md.

Every function takes points in level axes and returns degrees (mm for the
shoulder raise) per frame, NaN where a point it needs was not seen or where the
line in question is seen end-on in the plane of the angle.
"""

import numpy as np

from ergo.arrays import FloatArray
from ergo.posture import geometry as g
from ergo.posture.angle_names import ANGLES
from ergo.posture.body_points import BodyPoints
from ergo.posture.mixing import wrapped

_OUTWARD = {"left": 1.0, "right": -1.0}


def body_angles(points: BodyPoints, neutral: BodyPoints | None = None) -> FloatArray:
    """Return every angle of every frame.

    Parameters
    ----------
    points : BodyPoints
        What was seen.
    neutral : BodyPoints, optional
        The same person upright, gaze level, arms hanging: one frame, or one per
        frame of ``points``. Without it relative angles are read against the
        world or the trunk as they are, and arms against the uncorrected trunk line.

    Returns
    -------
    array (frame, angle)
        In the order of ``angle_names.NAMES``; [deg], shoulder raise [mm].
    """
    raw = _against_world(points, neutral)
    if neutral is not None:
        zero = _against_world(neutral, neutral)
        for name in (angle.name for angle in ANGLES if angle.is_relative):
            raw[name] = raw[name] - zero[name]
    raw |= _neck(points, neutral)
    return wrapped(np.stack([raw[angle.name] for angle in ANGLES], axis=1))


def _against_world(points: BodyPoints, neutral: BodyPoints | None) -> dict[str, FloatArray]:
    upright = g.neutral_trunk_axes(points, neutral)
    found = _trunk(points) | {"head_inclination_deg": head_inclination_deg(points)}
    unknown = np.full(len(points), np.nan)
    found |= {name: unknown for name in _NECK}
    for side in _OUTWARD:
        found |= _arm(points, upright, side) | _wrist(points, side)
    return found


def _trunk(points: BodyPoints) -> dict[str, FloatArray]:
    line = points.trunk
    left, forward, up = g.within(g.heading_axes(points), line)
    return {
        "trunk_inclination_deg": g.between_deg(line, np.broadcast_to(g.UP, line.shape)),
        "trunk_flexion_deg": g.atan2_deg(forward, up),
        "trunk_side_bend_deg": g.atan2_deg(-left, up),
        "trunk_twist_deg": trunk_twist_deg(points),
    }


def trunk_twist_deg(points: BodyPoints) -> FloatArray:
    """Return the shoulder line against the hip line about the trunk line.

    array (frame,): 0 = parallel, + = shoulders turned to the left, -180..180. [deg]
    """
    axis = g.unit(points.trunk)
    hips = g.unit(g.without(points["hip_left"] - points["hip_right"], axis))
    shoulders = g.trunk_axes(points)[..., 0]
    return g.atan2_deg(g.dot(g.cross(hips, shoulders), axis), g.dot(hips, shoulders))


def head_inclination_deg(points: BodyPoints) -> FloatArray:
    """Return the slope of the ear-eye line.

    array (frame,): 0 = level, + = face down, -90..90. [deg]
    """
    line = g.ear_eye_line(points)
    rise = g.dot(line, np.broadcast_to(g.UP, line.shape))
    return g.atan2_deg(-rise, g.length(g.without(line, g.UP)))


_NECK = ("neck_flexion_deg", "neck_side_bend_deg", "neck_rotation_deg")


def _neck(points: BodyPoints, neutral: BodyPoints | None) -> dict[str, FloatArray]:
    """Return the head's turn on the trunk as rotation, then flexion, then side bend."""
    turn = g.head_on_trunk(points, neutral)
    forward, left = turn[..., 1], turn[..., 0]
    rotation = np.arctan2(forward[:, 0], forward[:, 1])
    level_left = np.stack([np.cos(rotation), -np.sin(rotation), np.zeros_like(rotation)], axis=-1)
    # (left, forward, up) is a left-handed triple, hence the order of the product
    level_up = g.cross(level_left, forward)
    return {
        "neck_flexion_deg": -np.degrees(np.arcsin(np.clip(forward[:, 2], -1, 1))),
        "neck_side_bend_deg": g.atan2_deg(g.dot(left, level_up), g.dot(left, level_left)),
        "neck_rotation_deg": np.degrees(rotation),
    }


def _arm(points: BodyPoints, upright: FloatArray, side: str) -> dict[str, FloatArray]:
    upper_arm = points[f"elbow_{side}"] - points[f"shoulder_{side}"]
    forearm = points[f"wrist_{side}"] - points[f"elbow_{side}"]
    left, forward, up = g.within(upright, upper_arm)
    trunk_up = g.unit(points.trunk)
    height = g.dot(trunk_up, points[f"shoulder_{side}"] - points.middle("hip"))
    return {
        f"upper_arm_elevation_deg_{side}": g.between_deg(
            upper_arm, np.broadcast_to(-g.UP, upper_arm.shape)
        ),
        f"shoulder_flexion_deg_{side}": g.atan2_deg(forward, -up),
        f"shoulder_abduction_deg_{side}": g.atan2_deg(_OUTWARD[side] * left, -up),
        f"elbow_flexion_deg_{side}": g.between_deg(upper_arm, forearm),
        f"shoulder_raise_mm_{side}": 1000.0 * height,
    }


def _wrist(points: BodyPoints, side: str) -> dict[str, FloatArray]:
    """Return the forearm as seen from the hand: in its palm plane and across it."""
    forearm = points[f"wrist_{side}"] - points[f"elbow_{side}"]
    knuckles = (points[f"index_{side}"] + points[f"pinky_{side}"]) / 2
    hand = g.unit(knuckles - points[f"wrist_{side}"])
    thumbward = g.unit(g.without(points[f"index_{side}"] - points[f"pinky_{side}"], hand))
    palmward = _OUTWARD[side] * g.cross(hand, thumbward)
    along = g.dot(forearm, hand)
    return {
        f"wrist_flexion_deg_{side}": g.atan2_deg(-g.dot(forearm, palmward), along),
        f"wrist_deviation_deg_{side}": g.atan2_deg(-g.dot(forearm, thumbward), along),
    }
