"""Invented people who sit round one invented mouth, as a camera shows their joints."""

from dataclasses import replace

import numpy as np

from ergo.landmarks.joints import JOINT, JOINTS, Joints
from ergo.tracking.pairs import mirrored
from tests.tracking.people import person

FOCAL_PX, AWAY_M = 520.0, 2.4
MOUTH_M = np.array([0.0, 0.0, 0.8])


def seated(bearing_deg, *, away_m, lean_deg, hip_m, hands_short_m):
    """Return joints (joint, xyz) of somebody who sits facing the mouth; level axes, z up. [m]

    A plain figure of usual lengths: the trunk leans as a whole, the face looks
    down, the thighs are spread, the arms hang and the hands point at the mouth,
    which they miss by ``hands_short_m``.
    """
    bearing = np.radians(bearing_deg)
    out = np.array([np.sin(bearing), np.cos(bearing), 0.0])
    ahead, up = -out, np.array([0.0, 0.0, 1.0])
    left = np.cross(up, ahead)
    lean = np.radians(lean_deg)
    spine = np.cos(lean) * up + np.sin(lean) * ahead
    hips = out * away_m + up * hip_m
    shoulders, neck = hips + 0.47 * spine, hips + 0.56 * spine
    ears = neck + 0.06 * up + 0.13 * ahead
    joints = {"c7": neck, "nose": ears + 0.07 * ahead - 0.07 * up}
    for side, to_left in (("left", left), ("right", -left)):
        shoulder = shoulders + 0.17 * to_left
        elbow = shoulder - 0.25 * up + 0.06 * to_left + 0.06 * ahead
        hand = MOUTH_M + hands_short_m * out + 0.03 * to_left
        wrist = elbow + 0.24 * (hand - elbow) / np.linalg.norm(hand - elbow)
        knuckle = wrist + 0.08 * (hand - wrist) / max(np.linalg.norm(hand - wrist), 1e-6)
        knee = hips + 0.38 * ahead + 0.25 * to_left - 0.07 * up
        joints |= {
            f"shoulder_{side}": shoulder,
            f"elbow_{side}": elbow,
            f"wrist_{side}": wrist,
            f"index_{side}": knuckle,
            f"pinky_{side}": knuckle - 0.04 * up,
            f"hip_{side}": hips + 0.11 * to_left,
            f"knee_{side}": knee,
            f"ear_{side}": ears + 0.07 * to_left,
            f"eye_outer_{side}": ears + 0.06 * ahead + 0.045 * to_left - 0.02 * up,
        }
    return np.array([joints[name] for name in JOINTS])


def looks(joints_m, camera_deg, *, is_mirrored=False):
    """Return one look per figure, array (person, joint, xyz), by a level camera at 1.3 m."""
    bearing = np.radians(camera_deg)
    out = np.array([np.sin(bearing), np.cos(bearing), 0.0])
    right = np.cross(-out, [0.0, 0.0, 1.0])
    from_lens = joints_m - (out * AWAY_M + (0, 0, 1.3))
    deep = from_lens @ -out
    hips = deep[:, [JOINT["hip_left"], JOINT["hip_right"]]].mean(1)[:, None]
    place = np.stack(
        [
            FOCAL_PX * (from_lens @ right) / deep,
            FOCAL_PX * -from_lens[..., 2] / deep,
            (deep - hips) * FOCAL_PX / hips,
        ],
        axis=-1,
    )
    if is_mirrored:
        place = mirrored(place)
    spread = 0.02 * FOCAL_PX / np.broadcast_to(hips, place.shape[:2])
    plain = person((320.0, 300.0))
    return [
        replace(plain, joints=Joints(*each)) for each in zip(place, spread, spread, strict=True)
    ]


def at_work(operator_deg=300.0, assistant_deg=90.0):
    """Return an operator at 10 o'clock and an assistant at 3, right-handed."""
    operator = seated(operator_deg, away_m=0.52, lean_deg=20, hip_m=0.52, hands_short_m=0.0)
    assistant = seated(assistant_deg, away_m=0.75, lean_deg=5, hip_m=0.65, hands_short_m=0.25)
    return np.stack([operator, assistant])


def around(hours, *, distance_m=0.5):
    """Return somebody who sits at an hour and faces the head of a patient who lies there.

    Seen from above: x of the picture to the right, y down, z away. The patient lies on
    the back, the feet down in the picture, the left hand to the right.
    """
    bearing = np.radians(30 * hours)
    out = np.array([np.sin(bearing), -np.cos(bearing), 0.0])
    up = np.array([0.0, 0.0, -1.0])
    left = np.cross(up, -out)  # of who looks inwards: up x ahead, in right-handed axes
    own = {"hip": distance_m * out, "shoulder": distance_m * out + 0.5 * up}
    feet, theirs_left = np.array([0.0, 1.0, 0.0]), np.array([1.0, 0.0, 0.0])
    lying = {"ear": 0 * feet, "shoulder": 0.2 * feet, "hip": 0.7 * feet, "index": 0.6 * feet}
    place, theirs = np.zeros((2, len(JOINTS), 3))
    for stem, where in own.items():
        for side, sign in (("left", 1), ("right", -1)):
            place[JOINT[f"{stem}_{side}"]] = where + 0.15 * sign * left
    for stem, where in lying.items():
        for side, sign in (("left", 1), ("right", -1)):
            theirs[JOINT[f"{stem}_{side}"]] = where + 0.15 * sign * theirs_left
    spread = np.ones(len(JOINTS))
    crops = [Joints(200 * each, spread, spread) for each in (place, theirs)]
    there = replace(person((0.0, 0.0), lying=True), joints=crops[1], presence=1.0)
    return replace(person((0.0, 0.0)), joints=crops[0], at_hands=there)
