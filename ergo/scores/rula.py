"""RULA: group A (arm and wrist), group B (neck, trunk, legs) and the grand score.

References
----------
McAtamney L, Corlett EN (1993). RULA: a survey method for the investigation of
work-related upper limb disorders. Applied Ergonomics 24(2):91-99.
"""

from dataclasses import replace

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
from ergo.scores.circumstances import Circumstances, MuscleUse
from ergo.scores.method_score import MethodScore
from ergo.scores.scoring_sheet import SIDES, Besides, Sheet, group, side_score
from ergo.scores.steps import certain, chosen
from ergo.scores.table import band_table, grid_table

TABLE_A = {"version-1": "rula_table_a", "older-worksheet": "rula_table_a_older_worksheet"}
TABLE_C = "rula_table_c"
FORCE = {"2": "rula_force", "3": "rula_force_over_10_kg_is_3"}
UPPER_ARM = {"20": "rula_upper_arm", "15": "rula_upper_arm_15"}
LOWER_ARM = {
    "60-100": "rula_lower_arm",
    "0-90": "rula_lower_arm_0_90",
    "40-90": "rula_lower_arm_40_90",
}
TRUNK = {"supported": "rula_trunk", "upright": "rula_trunk_upright"}
WRIST = {"deviation": "rula_wrist", "near-maximum": "rula_wrist_near_maximum"}
NECK = {"0": "rula_neck", "5": "rula_neck_back_5"}
SHEET = Sheet("rula", TABLE_C, 7, (("posture_score_A", "score_C"), ("posture_score_B", "score_D")))


def rula(
    posture: PostureTrack, circumstances: Circumstances, reading: Reading
) -> tuple[MethodScore, ...]:
    """Return the RULA scores of the left and of the right side.

    Parameters
    ----------
    posture : PostureTrack
    circumstances : Circumstances
    reading : mapping of str to str
        A choice for every option of READINGS.
    """
    posture = arms_as_read(posture, reading)
    force = force_score(circumstances, reading)
    last_a, last_b = grid_table(TABLE_C).cells.shape
    muscle_b = muscle_score(circumstances.muscle_use["rula", "body"], reading)
    parts_b = _group_b(posture, circumstances, reading)
    group_b = group("rula_table_b", parts_b, muscle_b + force, last_b)

    def of_side(side: ArmSide) -> MethodScore:
        muscle_a = muscle_score(circumstances.muscle_use["rula", side], reading)
        parts_a = _group_a(side, posture, circumstances, reading)
        group_a = group(TABLE_A[reading["rula_table_a"]], parts_a, muscle_a + force, last_a)
        additions = {"muscle_use_A": muscle_a, "muscle_use_B": muscle_b, "force": force}
        besides = Besides(0, additions, {"muscle_use": ~circumstances.is_timed})
        return side_score(SHEET, side, reading, (group_a, group_b), besides)

    return tuple(of_side(side) for side in SIDES)


def force_score(circumstances: Circumstances, reading: Reading) -> StepArray:
    """Return the force score of each frame, array (frame,), 0..3."""
    load = band_table("rula_load").step(circumstances.load_kg)
    table = grid_table(FORCE[reading["rula_load_over_10_kg"]])
    return table.look_up(load=load, manner=circumstances.manner)


def muscle_score(use: MuscleUse, reading: Reading) -> StepArray:
    """Return what muscle use adds, array (frame,): 0, 1, or by one reading 2."""
    each = use.is_static.astype(np.int64) + use.is_repeated
    return each if reading["rula_muscle_use"] == "each" else np.minimum(each, 1)


def _lower_arm(side: ArmSide, posture: PostureTrack, reading: Reading) -> Part:
    table = LOWER_ARM[reading["rula_lower_arm_band_1"]]
    everywhere = np.ones(len(posture), dtype=np.bool_)
    at_worst = 2 if reading["rula_lower_arm_sides"] == "separate" else 1
    assumed = Taken({"lower_arm_across_or_out": everywhere}, at_worst)
    return lower_arm(table, side, posture, reading, 3, assumed)


def _wrist(side: ArmSide, posture: PostureTrack, reading: Reading) -> Part:
    seen = wrist(WRIST[reading["rula_wrist_plus_1"]], side, posture, reading)
    frames = {"wrist_flexion": seen.bend_unseen, "wrist_deviation": seen.deviation_unseen}
    at_worst = seen.bend_unseen.astype(np.int64) + seen.deviation_unseen
    return part(seen.bent, (seen.deviated,), 0, 4, Taken(frames, at_worst))


def _group_a(
    side: ArmSide, posture: PostureTrack, circumstances: Circumstances, reading: Reading
) -> dict[str, Part]:
    arm = UPPER_ARM[reading["rula_upper_arm_band_1"]]
    middle = certain(np.ones(len(posture), dtype=np.int64), 2)
    everywhere = np.ones(len(posture), dtype=np.bool_)
    return {
        "upper_arm": upper_arm(arm, side, posture, circumstances, reading),
        "lower_arm": _lower_arm(side, posture, reading),
        "wrist": _wrist(side, posture, reading),
        "wrist_twist": part(middle, (), 0, 2, Taken({"wrist_twist": everywhere}, 1)),
    }


def _group_b(
    posture: PostureTrack, circumstances: Circumstances, reading: Reading
) -> dict[str, Part]:
    neck = measured(posture, "neck_flexion_deg", NECK[reading["backward_beyond"]], reading)
    support = circumstances.support["trunk"]
    trunk = chosen(
        measured(posture, "trunk_flexion_deg", TRUNK[reading["rula_trunk_1"]], reading),
        support.is_true,
        measured(posture, "trunk_flexion_deg", "rula_trunk_supported", reading),
    )
    return {
        "neck": turned("neck", neck, posture, reading, 6, is_together=False),
        "trunk": replace(
            turned("trunk", trunk, posture, reading, 6, is_together=False),
            assumed={"trunk_support": ~support.is_stated},
        ),
        "legs": legs(circumstances),
    }
