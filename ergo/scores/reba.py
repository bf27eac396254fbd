"""REBA: group A (trunk, neck, legs, load), group B (arm, wrist, coupling) and activity.

References
----------
Hignett S, McAtamney L (2000). Rapid Entire Body Assessment (REBA). Applied
Ergonomics 31(2):201-205.
"""

import numpy as np

from ergo.arrays import StepArray
from ergo.posture.posture_track import PostureTrack
from ergo.scores.arms import arms_as_read
from ergo.scores.body_regions import (
    ArmSide,
    Part,
    Reading,
    Taken,
    legs,
    lower_arm,
    measured,
    part,
    turned,
    upper_arm,
    wrist,
)
from ergo.scores.circumstances import Circumstances
from ergo.scores.method_score import MethodScore
from ergo.scores.scoring_sheet import SIDES, Besides, Sheet, group, side_score
from ergo.scores.table import band_table

NECK = {"0": "reba_neck", "5": "reba_neck_back_5"}
TABLE_B = {"majority": "reba_table_b", "one-thesis": "reba_table_b_one_thesis"}
SHEET = Sheet(
    "reba", "reba_table_c", 15, (("table_A", "score_A"), ("table_B", "score_B")), "score_C"
)
LAST_OF_GROUP = 12
SHOCK = 3  # step of the manner of a load that adds 1


def reba(
    posture: PostureTrack, circumstances: Circumstances, reading: Reading
) -> tuple[MethodScore, ...]:
    """Return the REBA scores of the left and of the right side.

    Coupling is taken as good, and neither a rapid change of posture nor a rotated or
    gravity-assisted arm is taken; none is measured. Legs are those of a seated person.

    Parameters
    ----------
    posture : PostureTrack
    circumstances : Circumstances
    reading : mapping of str to str
        A choice for every option of READINGS.
    """
    posture = arms_as_read(posture, reading)
    load = load_score(circumstances)
    parts_a = _group_a(posture, circumstances, reading)
    group_a = group("reba_table_a", parts_a, load, LAST_OF_GROUP)
    everywhere = np.ones(len(posture), dtype=np.bool_)
    assumed = {
        "muscle_use": ~circumstances.is_timed,
        "coupling": everywhere,
        "rapid_change": everywhere,
    }

    def of_side(side: ArmSide) -> MethodScore:
        parts_b = _group_b(side, posture, circumstances, reading)
        group_b = group(TABLE_B[reading["reba_table_b"]], parts_b, 0, LAST_OF_GROUP)
        activity = activity_score(circumstances, side)
        besides = Besides(activity, {"load_force": load, "activity": activity}, assumed)
        return side_score(SHEET, side, reading, (group_a, group_b), besides)

    return tuple(of_side(side) for side in SIDES)


def load_score(circumstances: Circumstances) -> StepArray:
    """Return the load score of each frame, array (frame,), 0..3."""
    by_weight: StepArray = band_table("reba_load").step(circumstances.load_kg) - 1
    is_shock: StepArray = (circumstances.manner == SHOCK).astype(np.int64)
    return by_weight + is_shock


def activity_score(circumstances: Circumstances, side: ArmSide) -> StepArray:
    """Return what static and repeated work add, array (frame,), 0..2."""
    body, arm = circumstances.muscle_use["reba", "body"], circumstances.muscle_use["reba", side]
    static = (body.is_static | arm.is_static).astype(np.int64)
    return static + (body.is_repeated | arm.is_repeated)


def _group_a(
    posture: PostureTrack, circumstances: Circumstances, reading: Reading
) -> dict[str, Part]:
    together = reading["reba_twist_and_bend"] == "combined"
    trunk = measured(posture, "trunk_flexion_deg", "reba_trunk", reading)
    neck = measured(posture, "neck_flexion_deg", NECK[reading["backward_beyond"]], reading)
    return {
        "trunk": turned("trunk", trunk, posture, reading, 5, together),
        "neck": turned("neck", neck, posture, reading, 3, together),
        "legs": legs(circumstances),
    }


def _wrist(side: ArmSide, posture: PostureTrack, reading: Reading) -> Part:
    seen = wrist("reba_wrist", side, posture, reading)
    everywhere = np.ones(len(posture), dtype=np.bool_)
    frames = {"wrist_flexion": seen.bend_unseen, "wrist_deviation_or_twist": everywhere}
    at_worst = seen.bend_unseen.astype(np.int64) + (seen.deviated.step == 1)
    return part(seen.bent, (seen.deviated,), 0, 3, Taken(frames, at_worst))


def _group_b(
    side: ArmSide, posture: PostureTrack, circumstances: Circumstances, reading: Reading
) -> dict[str, Part]:
    return {
        "upper_arm": upper_arm(
            "reba_upper_arm", side, posture, circumstances, reading, may_be_rotated=True
        ),
        "lower_arm": lower_arm("reba_lower_arm", side, posture, reading, 2),
        "wrist": _wrist(side, posture, reading),
    }
