"""REBA: group A (trunk, neck, legs, load), group B (arm, wrist, coupling) and activity.

References
----------
Hignett S, McAtamney L (2000). Rapid Entire Body Assessment (REBA). Applied
Ergonomics 31(2):201-205.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ergo.arrays import StepArray
from ergo.posture.posture_track import PostureTrack
from ergo.scores.circumstances import Circumstances
from ergo.scores.judged import (
    Judged,
    assumed_where_unseen,
    level_of,
    look_up,
    total,
    total_step,
    worst,
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

NECK = {"0": "reba_neck", "5": "reba_neck_back_5"}
TABLE_B = {"majority": "reba_table_b", "one-thesis": "reba_table_b_one_thesis"}
SHOCK = 3  # step of the manner of a load that adds 1


@dataclass(frozen=True, slots=True, eq=False)
class _Group:
    """Parts, table score and score with additions of group A or B."""

    parts: Mapping[str, Part]
    table_score: Judged
    with_additions: Judged
    one_worse: StepArray


def reba(
    posture: PostureTrack, circumstances: Circumstances, reading: Reading
) -> tuple[MethodScore, ...]:
    """Return the REBA scores of the left and of the right side.

    Coupling is taken as good and no rapid change of posture is taken; neither is
    measured. Legs are those of a seated person.

    Parameters
    ----------
    posture : PostureTrack
    circumstances : Circumstances
    reading : mapping of str to str
        A choice for every option of READINGS.
    """
    load = load_score(circumstances)
    group_a = _group("reba_table_a", _group_a(posture, circumstances, reading), load)
    left = _side("left", posture, circumstances, reading, load, group_a)
    right = _side("right", posture, circumstances, reading, load, group_a)
    return left, right


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


def _turned(base: Judged, twist: Judged, bend: Judged, last: int, reading: Reading) -> Part:
    """Return a step with twist and side bend, as one addition or as two."""
    separate = reading["reba_twist_and_bend"] == "separate"
    modifiers = (twist, bend) if separate else (worst((twist, bend)),)
    turned = total(base, modifiers, 0, last)
    return Part(turned, {}, turned.step)


def _group_a(
    posture: PostureTrack, circumstances: Circumstances, reading: Reading
) -> dict[str, Part]:
    return {
        "trunk": _turned(
            measured(posture, "trunk_flexion_deg", "reba_trunk", reading),
            measured(posture, "trunk_twist_deg", "twist", reading),
            measured(posture, "trunk_side_bend_deg", "side_bend", reading),
            5,
            reading,
        ),
        "neck": _turned(
            measured(posture, "neck_flexion_deg", NECK[reading["backward_beyond"]], reading),
            measured(posture, "neck_rotation_deg", "twist", reading),
            measured(posture, "neck_side_bend_deg", "side_bend", reading),
            3,
            reading,
        ),
        "legs": legs(circumstances),
    }


def _wrist(side: ArmSide, posture: PostureTrack, reading: Reading) -> Part:
    bent, bend_unseen = assumed_where_unseen(
        measured(posture, f"wrist_flexion_deg_{side}", "reba_wrist", reading), 1
    )
    deviated, _ = assumed_where_unseen(
        measured(posture, f"wrist_deviation_deg_{side}", "wrist_deviated", reading), 1
    )
    everywhere = np.ones(len(posture), dtype=np.bool_)
    at_worst = bend_unseen.astype(np.int64) + (deviated.step == 1)
    return Part(
        total(bent, (deviated,), 0, 3),
        {"wrist_flexion": bend_unseen, "wrist_deviation_or_twist": everywhere},
        total_step(bent, (deviated,), at_worst, 3),
    )


def _group_b(
    side: ArmSide, posture: PostureTrack, circumstances: Circumstances, reading: Reading
) -> dict[str, Part]:
    hanging = measured(posture, f"shoulder_flexion_deg_{side}", "reba_upper_arm", reading)
    lower_arm = measured(posture, f"elbow_flexion_deg_{side}", "reba_lower_arm", reading)
    return {
        "upper_arm": arm_with_modifiers(hanging, side, posture, circumstances, reading),
        "lower_arm": Part(lower_arm, {}, lower_arm.step),
        "wrist": _wrist(side, posture, reading),
    }


def _group(table: str, parts: Mapping[str, Part], added: StepArray | int) -> _Group:
    grid = grid_table(table)
    score = look_up(grid, **{name: part.judged for name, part in parts.items()})
    worse = grid.look_up(**{name: part.one_worse for name, part in parts.items()})
    return _Group(
        parts,
        score,
        total(score, (), added, 12),
        np.where(worse == NOT_SEEN, NOT_SEEN, worse + added),
    )


def _side(
    side: ArmSide,
    posture: PostureTrack,
    circumstances: Circumstances,
    reading: Reading,
    load: StepArray,
    group_a: _Group,
) -> MethodScore:
    table_b = TABLE_B[reading["reba_table_b"]]
    group_b = _group(table_b, _group_b(side, posture, circumstances, reading), 0)
    score_c = look_up(
        grid_table("reba_table_c"), score_a=group_a.with_additions, score_b=group_b.with_additions
    )
    activity = activity_score(circumstances, side)
    final = total(score_c, (), activity, 15)
    level = level_of(final, levels_of("reba_levels"))
    parts = {**group_a.parts, **group_b.parts}
    never_measured = ("coupling", "rapid_change") if np.any(final.step) else ()
    return MethodScore(
        method="reba",
        side=side,
        reading=readings_of("reba", reading),
        steps={
            **{name: part.judged.step for name, part in parts.items()},
            "table_A": group_a.table_score.step,
            "score_A": group_a.with_additions.step,
            "table_B": group_b.table_score.step,
            "score_B": group_b.with_additions.step,
            "score_C": score_c.step,
            "score_if_assumed_worse": _if_assumed_worse(group_a, group_b, activity),
        },
        score=final.step,
        level=level.step,
        level_probability=level.chance.T,
        levels=levels_of("reba_levels"),
        assumed=assumed_inputs(tuple(parts.values()), circumstances, final.step) + never_measured,
        additions={"load_force": load, "activity": activity},
    )


def _if_assumed_worse(group_a: _Group, group_b: _Group, activity: StepArray) -> StepArray:
    table_c = grid_table("reba_table_c")
    worse = table_c.look_up(score_a=group_a.one_worse, score_b=group_b.one_worse)
    return np.where(worse == NOT_SEEN, NOT_SEEN, worse + activity)
