"""RULA: group A (arm and wrist), group B (neck, trunk, legs) and the grand score.

References
----------
McAtamney L, Corlett EN (1993). RULA: a survey method for the investigation of
work-related upper limb disorders. Applied Ergonomics 24(2):91-99.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ergo.arrays import StepArray
from ergo.posture.posture_track import PostureTrack
from ergo.scores.circumstances import Circumstances, MuscleUse
from ergo.scores.judged import (
    Judged,
    assumed_where_unseen,
    certain,
    chosen,
    level_of,
    look_up,
    total,
    total_step,
)
from ergo.scores.method_score import NOT_SEEN, MethodScore
from ergo.scores.parts import (
    ArmSide,
    Part,
    Reading,
    arm_with_modifiers,
    assumed_inputs,
    legs,
    measured,
)
from ergo.scores.readings import readings_of
from ergo.scores.table import band_table, grid_table, levels_of

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
    force = force_score(circumstances, reading)
    group_b = _group_b(posture, circumstances, reading, force)
    left = _side("left", posture, circumstances, reading, force, group_b)
    right = _side("right", posture, circumstances, reading, force, group_b)
    return left, right


def force_score(circumstances: Circumstances, reading: Reading) -> StepArray:
    """Return the force score of each frame, array (frame,), 0..3."""
    load = band_table("rula_load").step(circumstances.load_kg)
    table = grid_table(FORCE[reading["rula_load_over_10_kg"]])
    return table.look_up(load=load, manner=circumstances.manner)


def muscle_score(use: MuscleUse, reading: Reading) -> StepArray:
    """Return what muscle use adds, array (frame,): 0, 1, or by one reading 2."""
    each = use.is_static.astype(np.int64) + use.is_repeated
    return each if reading["rula_muscle_use"] == "each" else np.minimum(each, 1)


def upper_arm(
    side: ArmSide, posture: PostureTrack, circumstances: Circumstances, reading: Reading
) -> Part:
    """Return the upper arm step, 1..6, of one side."""
    band = UPPER_ARM[reading["rula_upper_arm_band_1"]]
    base = measured(posture, f"shoulder_flexion_deg_{side}", band, reading)
    return arm_with_modifiers(base, side, posture, circumstances, reading)


def _lower_arm(side: ArmSide, posture: PostureTrack, reading: Reading) -> Part:
    table = LOWER_ARM[reading["rula_lower_arm_band_1"]]
    base = measured(posture, f"elbow_flexion_deg_{side}", table, reading)
    at_worst = 2 if reading["rula_lower_arm_sides"] == "separate" else 1
    everywhere = np.ones(len(posture), dtype=np.bool_)
    return Part(
        total(base, (), 0, 3),
        {"lower_arm_across_or_out": everywhere},
        total_step(base, (), at_worst, 3),
    )


def _wrist(side: ArmSide, posture: PostureTrack, reading: Reading) -> Part:
    table = WRIST[reading["rula_wrist_plus_1"]]
    bent, bend_unseen = assumed_where_unseen(
        measured(posture, f"wrist_flexion_deg_{side}", table, reading), 1
    )
    deviated, deviation_unseen = assumed_where_unseen(
        measured(posture, f"wrist_deviation_deg_{side}", "wrist_deviated", reading), 1
    )
    at_worst = bend_unseen.astype(np.int64) + deviation_unseen
    return Part(
        total(bent, (deviated,), 0, 4),
        {"wrist_flexion": bend_unseen, "wrist_deviation": deviation_unseen},
        total_step(bent, (deviated,), at_worst, 4),
    )


def _group_a(
    side: ArmSide, posture: PostureTrack, circumstances: Circumstances, reading: Reading
) -> dict[str, Part]:
    everywhere = np.ones(len(posture), dtype=np.bool_)
    middle = certain(np.ones(len(posture), dtype=np.int64), 2)
    return {
        "upper_arm": upper_arm(side, posture, circumstances, reading),
        "lower_arm": _lower_arm(side, posture, reading),
        "wrist": _wrist(side, posture, reading),
        "wrist_twist": Part(middle, {"wrist_twist": everywhere}, middle.step + 1),
    }


def _neck(posture: PostureTrack, reading: Reading) -> Part:
    base = measured(posture, "neck_flexion_deg", NECK[reading["backward_beyond"]], reading)
    twist = measured(posture, "neck_rotation_deg", "twist", reading)
    bend = measured(posture, "neck_side_bend_deg", "side_bend", reading)
    neck = total(base, (twist, bend), 0, 6)
    return Part(neck, {}, neck.step)


def _trunk(posture: PostureTrack, circumstances: Circumstances, reading: Reading) -> Part:
    support = circumstances.support["trunk"]
    base = chosen(
        measured(posture, "trunk_flexion_deg", TRUNK[reading["rula_trunk_1"]], reading),
        support.is_true,
        measured(posture, "trunk_flexion_deg", "rula_trunk_supported", reading),
    )
    twist = measured(posture, "trunk_twist_deg", "twist", reading)
    bend = measured(posture, "trunk_side_bend_deg", "side_bend", reading)
    trunk = total(base, (twist, bend), 0, 6)
    return Part(trunk, {"trunk_support": ~support.is_stated}, trunk.step)


@dataclass(frozen=True, slots=True, eq=False)
class _Group:
    """Parts, posture score and score with additions of group A or B."""

    parts: Mapping[str, Part]
    posture_score: Judged
    muscle: StepArray
    with_additions: Judged
    one_worse: StepArray


def _group(
    table: str, parts: Mapping[str, Part], muscle: StepArray, force: StepArray, last: int
) -> _Group:
    """Return one group's scores; with additions they are kept at ``last``."""
    grid = grid_table(table)
    score = look_up(grid, **{name: part.judged for name, part in parts.items()})
    worse = grid.look_up(**{name: part.one_worse for name, part in parts.items()})
    plus = muscle + force
    return _Group(
        parts,
        score,
        muscle,
        total(score, (), plus, last),
        np.where(worse == NOT_SEEN, NOT_SEEN, np.minimum(worse + plus, last)),
    )


def _group_b(
    posture: PostureTrack, circumstances: Circumstances, reading: Reading, force: StepArray
) -> _Group:
    parts = {
        "neck": _neck(posture, reading),
        "trunk": _trunk(posture, circumstances, reading),
        "legs": legs(circumstances),
    }
    muscle = muscle_score(circumstances.muscle_use["rula", "body"], reading)
    return _group("rula_table_b", parts, muscle, force, last=grid_table(TABLE_C).cells.shape[1])


def _side(
    side: ArmSide,
    posture: PostureTrack,
    circumstances: Circumstances,
    reading: Reading,
    force: StepArray,
    group_b: _Group,
) -> MethodScore:
    parts = _group_a(side, posture, circumstances, reading)
    muscle = muscle_score(circumstances.muscle_use["rula", side], reading)
    table = TABLE_A[reading["rula_table_a"]]
    table_c = grid_table(TABLE_C)
    group_a = _group(table, parts, muscle, force, last=table_c.cells.shape[0])
    grand = look_up(table_c, score_c=group_a.with_additions, score_d=group_b.with_additions)
    level = level_of(grand, levels_of("rula_levels"))
    return MethodScore(
        method="rula",
        side=side,
        reading=readings_of("rula", reading),
        steps={
            **_steps(group_a, "A", "C"),
            **_steps(group_b, "B", "D"),
            "score_if_assumed_worse": table_c.look_up(
                score_c=group_a.one_worse, score_d=group_b.one_worse
            ),
        },
        score=grand.step,
        level=level.step,
        level_probability=level.chance.T,
        levels=levels_of("rula_levels"),
        assumed=assumed_inputs(
            (*group_a.parts.values(), *group_b.parts.values()), circumstances, grand.step
        ),
        additions={
            "muscle_use_A": group_a.muscle,
            "muscle_use_B": group_b.muscle,
            "force": force,
        },
    )


def _steps(group: _Group, letter: str, sum_letter: str) -> dict[str, StepArray]:
    return {
        **{name: part.judged.step for name, part in group.parts.items()},
        f"posture_score_{letter}": group.posture_score.step,
        f"score_{sum_letter}": group.with_additions.step,
    }
