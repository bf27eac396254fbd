"""Steps of the body parts that RULA and REBA both ask for, and what of them was not measured."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ergo.arrays import BoolArray, StepArray
from ergo.posture.posture_track import PostureTrack
from ergo.scores.circumstances import Circumstances, Stated
from ergo.scores.method_score import NOT_SEEN
from ergo.scores.steps import (
    Judged,
    assumed_where_unseen,
    certain,
    chosen,
    judge_told,
    step_by,
    total,
    total_step,
    worst,
)
from ergo.scores.table import band_table

ArmSide = Literal["left", "right"]
Reading = Mapping[str, str]

ABDUCTED = {"20": "abducted", "45": "abducted_45"}
TURNS: Mapping[str, Mapping[str, str]] = {
    "neck": {"neck_rotation_deg": "twist", "neck_side_bend_deg": "side_bend"},
    "trunk": {"trunk_twist_deg": "twist", "trunk_side_bend_deg": "side_bend"},
}
"""Twist and side bend of a part: angle to the table that says whether it adds 1."""
STRAINED_STEP = 2
"""The step that adds 1, and the lower arm outside its favourable range."""


@dataclass(frozen=True, slots=True, eq=False)
class Taken:
    """Inputs that were taken without being measured.

    Attributes
    ----------
    frames : mapping of str to array (frame,)
        Input to the frames in which it was taken.
    by : array (frame,) or int
        How far the part's step would move if all of it were otherwise.
    """

    frames: Mapping[str, BoolArray]
    by: StepArray | int


NOTHING = Taken({}, 0)


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """One body part's step, and what of it was not measured.

    Attributes
    ----------
    judged : Judged
    assumed, strained : mapping of str to array (frame,)
        Input to the frames in which it was taken as neutral, or counted as
        strained because this view does not tell it.
    one_worse : array (frame,)
        The step if what was assumed were one step worse.
    eased : array (frame,)
        The step if what was counted as strained were not.
    """

    judged: Judged
    assumed: Mapping[str, BoolArray]
    strained: Mapping[str, BoolArray]
    one_worse: StepArray
    eased: StepArray


def part(
    base: Judged,
    modifiers: Sequence[Judged],
    by: StepArray | int,
    last: int,
    assumed: Taken = NOTHING,
    strained: Taken = NOTHING,
) -> Part:
    """Return a part whose step is that of :func:`ergo.scores.steps.total`."""
    return Part(
        total(base, modifiers, by, last),
        assumed.frames,
        strained.frames,
        total_step(base, modifiers, by + assumed.by, last),
        total_step(base, modifiers, by - strained.by, last),
    )


def measured(posture: PostureTrack, angle: str, table: str, reading: Reading) -> Judged:
    """Return the step of one measured angle by one table of bands."""
    bands = band_table(table, reading["shared_edge"])
    return step_by(bands, posture.angle(angle), posture.angle_sd(angle))


def lean(posture: PostureTrack, angle: str, table: str, reading: Reading) -> Judged:
    """Return the verdict on a lean by one table: backward only where it is told to be."""
    bands = band_table(table, reading["shared_edge"])
    return judge_told(bands, posture.angle(angle), posture.angle_sd(angle))


def with_support(
    posture: PostureTrack, angle: str, tables: tuple[str, str], support: Stated, reading: Reading
) -> Judged:
    """Return the verdict on one lean, where the part is fully supported by the second table."""
    plain, supported = (lean(posture, angle, table, reading) for table in tables)
    return chosen(plain, support.is_true, supported)


def strained_where_unseen(
    judged: Judged, is_rest_seen: BoolArray, choice: str
) -> tuple[Judged, BoolArray]:
    """Return the input with its strained step where this view does not tell it, and those frames.

    Parameters
    ----------
    judged : Judged
        An input of the steps 1 and 2.
    is_rest_seen : array (frame,)
        Where the part that the input belongs to was measured; elsewhere nothing
        is counted in its place.
    choice : str
        ``"strained"``, or ``"not-judged"``: then nothing is changed.
    """
    is_counted = is_rest_seen & (judged.step == NOT_SEEN) & (choice == "strained")
    stand_in = certain(np.full_like(judged.step, STRAINED_STEP), judged.last)
    return chosen(judged, is_counted, stand_in), is_counted


def upper_arm(
    table: str,
    side: ArmSide,
    posture: PostureTrack,
    circumstances: Circumstances,
    reading: Reading,
    *,
    may_be_rotated: bool = False,
) -> Part:
    """Return the upper arm, 1..6: bands of ``table``, abduction, raised shoulder and support.

    Where a method adds 1 for an arm that is abducted or rotated, and takes 1 off where
    gravity helps it, neither rotation nor gravity's help is measured: none is taken.

    Where the view does not tell abduction, the reading ``arm_not_measurable`` says
    what is counted: the difference is one step.
    """
    base = measured(posture, f"shoulder_flexion_deg_{side}", table, reading)
    outward = ABDUCTED[reading["abducted_beyond"]]
    abducted, is_counted = strained_where_unseen(
        measured(posture, f"shoulder_abduction_deg_{side}", outward, reading),
        base.step != NOT_SEEN,
        reading["arm_not_measurable"],
    )
    raised, unseen = assumed_where_unseen(
        measured(posture, f"shoulder_raise_mm_{side}", "raised", reading), 1
    )
    support = circumstances.support[f"arm_{side}"]
    assumed = {"raised_shoulder": unseen, "arm_support": ~support.is_stated}
    worse = unseen.astype(np.int64)
    if may_be_rotated:
        assumed |= {"arm_rotation": abducted.step == 1, "gravity_assistance": base.step != NOT_SEEN}
        worse += abducted.step == 1
    return part(
        base,
        (abducted, raised),
        -support.is_true.astype(np.int64),
        6,
        Taken(assumed, worse),
        Taken({"upper_arm_abduction": is_counted}, is_counted.astype(np.int64)),
    )


def lower_arm(
    table: str,
    side: ArmSide,
    posture: PostureTrack,
    reading: Reading,
    last: int,
    assumed: Taken = NOTHING,
) -> Part:
    """Return the lower arm by the bands of ``table``, kept at ``last``.

    Where the view tells the upper arm but not the elbow, the reading
    ``arm_not_measurable`` says what is counted: the difference is one step.
    """
    base, is_counted = strained_where_unseen(
        measured(posture, f"elbow_flexion_deg_{side}", table, reading),
        np.isfinite(posture.angle(f"shoulder_flexion_deg_{side}")),
        reading["arm_not_measurable"],
    )
    strained = Taken({"lower_arm": is_counted}, is_counted.astype(np.int64))
    return part(base, (), 0, last, assumed, strained)


@dataclass(frozen=True, slots=True, eq=False)
class Wrist:
    """Bend and sideways bend of one wrist, neutral where not seen."""

    bent: Judged
    deviated: Judged
    bend_unseen: BoolArray
    deviation_unseen: BoolArray


def wrist(table: str, side: ArmSide, posture: PostureTrack, reading: Reading) -> Wrist:
    """Return one wrist, its bend by the bands of ``table``."""
    bent, bend_unseen = assumed_where_unseen(
        measured(posture, f"wrist_flexion_deg_{side}", table, reading), 1
    )
    deviated, deviation_unseen = assumed_where_unseen(
        measured(posture, f"wrist_deviation_deg_{side}", "wrist_deviated", reading), 1
    )
    return Wrist(bent, deviated, bend_unseen, deviation_unseen)


def turned(
    name: str, base: Judged, posture: PostureTrack, reading: Reading, last: int, is_together: bool
) -> Part:
    """Return neck or trunk with what twist and side bend add.

    Parameters
    ----------
    name : str
        ``"neck"`` or ``"trunk"``.
    base : Judged
        Step by forward and backward bend.
    last : int
        Highest step.
    is_together : bool
        True where twist and side bend add 1 together, not 1 each.
    """
    is_seen, choice = base.step != NOT_SEEN, reading["turn_not_measurable"]
    turns = {
        angle.removesuffix("_deg"): strained_where_unseen(
            measured(posture, angle, table, reading), is_seen, choice
        )
        for angle, table in TURNS[name].items()
    }
    each = [judged for judged, _ in turns.values()]
    eased = [np.where(counted, 1, judged.step) for judged, counted in turns.values()]
    combine = np.max if is_together else np.sum
    less = combine([judged.step for judged in each], axis=0) - combine(eased, axis=0)
    strained = Taken({angle: counted for angle, (_, counted) in turns.items()}, less)
    return part(base, (worst(each),) if is_together else each, 0, last, strained=strained)


def legs(circumstances: Circumstances) -> Part:
    """Return the legs step: 1 seated with feet supported, 2 where the notes say they are not."""
    feet = circumstances.support["feet"]
    step = np.where(feet.is_stated & ~feet.is_true, 2, 1).astype(np.int64)
    unstated = ~feet.is_stated
    taken = Taken({"feet_support": unstated}, unstated.astype(np.int64))
    return part(certain(step, 2), (), 0, 2, taken)
