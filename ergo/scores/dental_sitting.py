"""Sitting requirements for dental operators that the angles can judge.

Not judged, because no angle tells: knee and hip angle, feet, viewing distance and
direction, light, height of the mouth, forearm twist.

References
----------
Hokwerda O, Wouters JAJ, de Ruijter RAG, Zijlstra-Shaw S (2006). Ergonomic
requirements for dental equipment. European Society of Dental Ergonomics.
"""

import numpy as np

from ergo.posture.posture_track import PostureTrack
from ergo.scores.arms import arms_as_read
from ergo.scores.body_regions import ArmSide, Reading, lean, measured, with_support
from ergo.scores.circumstances import Circumstances
from ergo.scores.method_score import MethodScore
from ergo.scores.steps import Judged, step_by
from ergo.scores.table import band_table
from ergo.scores.verdicts import verdict_score

NECK = {"0": "dental_neck_flexion", "5": "dental_neck_flexion_back_5"}
TRUNK = {"0": "dental_trunk_forward", "5": "dental_trunk_forward_back_5"}
FOREARM = {"raised": "dental_forearm_raise", "level": "dental_forearm_level"}
SYMMETRY = (
    "trunk_twist_deg",
    "trunk_side_bend_deg",
    "neck_rotation_deg",
    "neck_side_bend_deg",
)


def dental_sitting(
    posture: PostureTrack, circumstances: Circumstances, reading: Reading
) -> tuple[MethodScore, ...]:
    """Return the verdicts on the body as a whole and on each arm.

    The rules of North American teaching stand beside the counted ones, under
    their own names; the angle and the rule always belong together.

    Parameters
    ----------
    posture : PostureTrack
    circumstances : Circumstances
        Of these the support of trunk and arms counts, as in ISO 11226 (ours).
    reading : mapping of str to str
        A choice for every option of READINGS.
    """
    posture = arms_as_read(posture, reading)
    back = reading["backward_beyond"]
    counted = {
        "neck_flexion": lean(posture, "neck_flexion_deg", NECK[back], reading),
        "trunk_forward_inclination": with_support(
            posture,
            "trunk_flexion_deg",
            (TRUNK[back], "dental_trunk_forward_supported"),
            circumstances.support["trunk"],
            reading,
        ),
    }
    parts: dict[str, dict[str, Judged]] = {name: {name: each} for name, each in counted.items()}
    parts["symmetry"] = {
        angle.removesuffix("_deg"): measured(posture, angle, "dental_symmetry", reading)
        for angle in SYMMETRY
    }
    shown = {
        "neck_flexion_north_america": ("neck_flexion_deg", "dental_within_20"),
        "trunk_flexion_north_america": ("trunk_flexion_deg", "dental_within_20"),
        "head_tilt_north_america": ("head_inclination_deg", "dental_head_tilt_15"),
    }
    beside = {
        name: band_table(table, reading["shared_edge"]).step(posture.angle(angle))
        for name, (angle, table) in shown.items()
    }
    whole = verdict_score("dental_sitting", "whole", reading, parts, beside, ())
    arms = (_arm(side, posture, circumstances, reading) for side in ("left", "right"))
    return (whole, *arms)


def _arm(
    side: ArmSide, posture: PostureTrack, circumstances: Circumstances, reading: Reading
) -> MethodScore:
    def upper_arm(angle: str, table: str) -> Judged:
        tables = (table, "dental_upper_arm_supported")
        support = circumstances.support[f"arm_{side}"]
        return with_support(posture, f"{angle}_deg_{side}", tables, support, reading)

    counted = {
        "upper_arm_sideways": upper_arm("shoulder_abduction", "dental_upper_arm_sideways"),
        "upper_arm_forward": upper_arm("shoulder_flexion", "dental_upper_arm_forward"),
        "forearm_raise": _forearm_raise(side, posture, reading),
    }
    parts = {name: {name: each} for name, each in counted.items()}
    return verdict_score("dental_sitting", side, reading, parts, {}, ())


def _forearm_raise(side: ArmSide, posture: PostureTrack, reading: Reading) -> Judged:
    """Return the verdict on how far the forearm rises above the horizontal.

    Upper arm against gravity (shoulder flexion less trunk flexion) plus elbow
    flexion less 90: exact for a forearm that moves in the plane of the trunk's
    lean, and within the upper arm's elevation of the truth for any other.
    """
    angles = (f"elbow_flexion_deg_{side}", f"shoulder_flexion_deg_{side}", "trunk_flexion_deg")
    elbow, shoulder, trunk = (posture.angle(name) for name in angles)
    sd = np.sqrt(sum(np.square(posture.angle_sd(name)) for name in angles))
    bands = band_table(FOREARM[reading["dental_forearm"]], reading["shared_edge"])
    return step_by(bands, elbow - 90.0 + shoulder - trunk, sd)
