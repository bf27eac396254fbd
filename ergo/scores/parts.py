"""Steps of body parts that more than one method asks for, and what of them was assumed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ergo.arrays import BoolArray, StepArray
from ergo.posture.posture_track import PostureTrack
from ergo.scores.circumstances import Circumstances
from ergo.scores.judged import (
    Judged,
    assumed_where_unseen,
    certain,
    judge,
    total,
    total_step,
)
from ergo.scores.method_score import NOT_SEEN
from ergo.scores.table import band_table

ArmSide = Literal["left", "right"]
Reading = Mapping[str, str]

ABDUCTED = {"20": "abducted", "45": "abducted_45"}


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """One body part's step, and what of it was assumed.

    Attributes
    ----------
    judged : Judged
    assumed : mapping of str to array (frame,)
        Input to the frames in which it was taken as neutral.
    one_worse : array (frame,)
        The step if what was assumed were one step worse.
    """

    judged: Judged
    assumed: Mapping[str, BoolArray]
    one_worse: StepArray


def measured(posture: PostureTrack, angle: str, table: str, reading: Reading) -> Judged:
    """Return the step of one measured angle by one table of bands."""
    bands = band_table(table, reading["shared_edge"])
    return judge(bands, posture.angle(angle), posture.angle_sd(angle))


def arm_with_modifiers(
    base: Judged,
    side: ArmSide,
    posture: PostureTrack,
    circumstances: Circumstances,
    reading: Reading,
) -> Part:
    """Return the upper arm step with abduction, raised shoulder and support."""
    table = ABDUCTED[reading["abducted_beyond"]]
    abducted = measured(posture, f"shoulder_abduction_deg_{side}", table, reading)
    raised, unseen = assumed_where_unseen(
        measured(posture, f"shoulder_raise_mm_{side}", "raised", reading), 1
    )
    support = circumstances.support[f"arm_{side}"]
    by = -support.is_true.astype(np.int64)
    return Part(
        total(base, (abducted, raised), by, 6),
        {"raised_shoulder": unseen, "arm_support": ~support.is_stated},
        total_step(base, (abducted, raised), by + unseen, 6),
    )


def legs(circumstances: Circumstances) -> Part:
    """Return the legs step: 1 seated with feet supported, 2 where the notes say they are not."""
    feet = circumstances.support["feet"]
    step = np.where(feet.is_stated & ~feet.is_true, 2, 1).astype(np.int64)
    one_worse = np.where(feet.is_stated, step, 2).astype(np.int64)
    return Part(certain(step, 2), {"feet_support": ~feet.is_stated}, one_worse)


def assumed_inputs(
    parts: Sequence[Part], circumstances: Circumstances, score: StepArray
) -> tuple[str, ...]:
    """Return the inputs that were assumed in at least one frame that got a score."""
    inputs: dict[str, BoolArray] = {"muscle_use": ~circumstances.is_timed}
    for part in parts:
        inputs.update(part.assumed)
    judged = score != NOT_SEEN
    return tuple(name for name, frames in inputs.items() if np.any(frames & judged))
