"""ISO 11226: step 1 verdicts on trunk, head, neck and upper arms, and the holding-time lines.

Not judged, because no camera tells: a kyphotic lumbar spine, retroflexion,
adduction and external rotation of the upper arm, support of the head, joint range
ends of forearm, hand and leg.

References
----------
ISO 11226:2000 Ergonomics - Evaluation of static working postures (with Cor. 1:2006).
"""

from typing import Literal

import numpy as np

from ergo.arrays import BoolArray, FloatArray
from ergo.posture.posture_track import PostureTrack
from ergo.posture.projections import trunk_inclination
from ergo.scores.body_regions import ArmSide, Reading, lean, measured, with_support
from ergo.scores.circumstances import Circumstances
from ergo.scores.method_score import NOT_SEEN, MethodScore
from ergo.scores.steps import Judged, assumed_where_unseen, chosen, judge_lean, worst
from ergo.scores.table import Origin, band_table, line_of
from ergo.scores.verdicts import verdict_score

Joint = Literal["trunk", "head", "upper_arm"]

TRUNK = {"0": "iso11226_trunk", "5": "iso11226_trunk_back_5"}
HEAD = {
    "0": ("iso11226_head", "iso11226_head_supported"),
    "5": ("iso11226_head_back_5", "iso11226_head_supported_back_5"),
}
"""Without and with a fully supported trunk."""
UPPER_ARM = ("iso11226_upper_arm", "iso11226_upper_arm_supported")
NECK = {"0": "iso11226_neck", "5": "iso11226_neck_back_5"}
NOT_RECOMMENDED = 3


def iso11226(
    posture: PostureTrack, circumstances: Circumstances, reading: Reading
) -> tuple[MethodScore, ...]:
    """Return the step 1 verdicts: trunk, head and neck as a whole, and each upper arm.

    Parameters
    ----------
    posture : PostureTrack
    circumstances : Circumstances
    reading : mapping of str to str
        A choice for every option of READINGS.
    """
    parts = {
        "trunk": {
            "trunk_inclination": _trunk_inclination(posture, circumstances, reading),
            "trunk_twist": _symmetric(posture, "trunk_twist_deg", "twist", reading),
            "trunk_side_bend": _symmetric(posture, "trunk_side_bend_deg", "side_bend", reading),
        },
        "head": {
            "head_inclination": with_support(
                posture,
                "head_inclination_deg",
                HEAD[reading["backward_beyond"]],
                circumstances.support["trunk"],
                reading,
            )
        },
        "neck": {
            "neck_flexion": lean(
                posture, "neck_flexion_deg", NECK[reading["backward_beyond"]], reading
            ),
            "neck_rotation": _symmetric(posture, "neck_rotation_deg", "twist", reading),
            "neck_side_bend": _symmetric(posture, "neck_side_bend_deg", "side_bend", reading),
        },
    }
    unstated = ~circumstances.support["trunk"].is_stated
    every = [each for inputs in parts.values() for each in inputs.values()]
    assumed = _named("trunk_support", unstated, worst(every))
    whole = verdict_score("iso11226", "whole", reading, parts, {}, assumed)
    arms = (_arm(side, posture, circumstances, reading) for side in ("left", "right"))
    return (whole, *arms)


def max_holding_time_s(
    joint: Joint, angle_deg: FloatArray, is_supported: BoolArray | bool = False
) -> FloatArray:
    """Return how long a posture may be held by step 2.

    Parameters
    ----------
    joint : str
        ``"trunk"`` or ``"head"`` by inclination, negative = backward; ``"upper_arm"``
        by elevation.
    angle_deg : array (any shape)
    is_supported : array (any shape) or bool
        Where trunk (for trunk and head) or arm is fully supported.

    Returns
    -------
    array (same shape)
        Infinite up to the angle where the line begins, and up to its end with full
        support; 0 beyond its end, and for head and unsupported trunk leaning backward;
        NaN where the angle is NaN. [s]
    """
    _, angles, times = line_of(f"iso11226_holding_{joint}")
    on_line = np.interp(angle_deg, angles, times)
    on_line = np.where((angle_deg < angles[0]) | is_supported, np.inf, on_line)
    forward = np.where(angle_deg > angles[-1], 0.0, on_line)
    may_lean_back = is_supported if joint == "trunk" else joint == "upper_arm"
    backward = np.where(may_lean_back, np.inf, 0.0)
    time_s = np.where(angle_deg < 0, backward, forward)
    return np.where(np.isnan(angle_deg), np.nan, time_s)


def holding_line_origin(joint: Joint) -> Origin:
    """Return where a holding-time line comes from; its status may say "memory"."""
    return line_of(f"iso11226_holding_{joint}")[0]


def _not_recommended_if(condition: Judged) -> Judged:
    """Return verdict 3 where a condition, step 2, is met, else verdict 1."""
    chance = np.stack((condition.chance[0], np.zeros(len(condition.step)), condition.chance[1]))
    verdict = np.where(condition.step == 2, NOT_RECOMMENDED, condition.step)
    return Judged(verdict, chance)


def _symmetric(posture: PostureTrack, angle: str, table: str, reading: Reading) -> Judged:
    """Return verdict 3 where a part is twisted or bent sideways."""
    return _not_recommended_if(measured(posture, angle, table, reading))


def _trunk_inclination(
    posture: PostureTrack, circumstances: Circumstances, reading: Reading
) -> Judged:
    """Return the verdict on the trunk line against its reference line.

    Backward is judged by flexion with its own spread, 20 and 60 degrees by the inclination.
    """
    name, edge = "trunk_flexion_deg", reading["shared_edge"]
    line = (*trunk_inclination(posture), posture.angle(name), posture.angle_sd(name))
    inclined = judge_lean(band_table(TRUNK[reading["backward_beyond"]], edge), *line)
    supported = circumstances.support["trunk"].is_true
    if np.any(supported):
        with_support = judge_lean(band_table("iso11226_trunk_supported", edge), *line)
        inclined = chosen(inclined, supported, with_support)
    return inclined


def _arm(
    side: ArmSide, posture: PostureTrack, circumstances: Circumstances, reading: Reading
) -> MethodScore:
    angle = f"upper_arm_elevation_deg_{side}"
    support = circumstances.support[f"arm_{side}"]
    raised = with_support(posture, angle, UPPER_ARM, support, reading)
    shrugged, unseen = assumed_where_unseen(
        measured(posture, f"shoulder_raise_mm_{side}", "raised", reading), 1
    )
    inputs = {"upper_arm_elevation": raised, "raised_shoulder": _not_recommended_if(shrugged)}
    arm = worst(tuple(inputs.values()))
    assumed = (
        *_named("raised_shoulder", unseen, arm),
        *_named("arm_support", ~support.is_stated, arm),
    )
    return verdict_score("iso11226", side, reading, {"upper_arm": inputs}, {}, assumed)


def _named(name: str, frames: BoolArray, judged: Judged) -> tuple[str, ...]:
    """Return the name if it was assumed in a frame that got a verdict."""
    return (name,) if np.any(frames & (judged.step != NOT_SEEN)) else ()
