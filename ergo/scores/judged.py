"""Steps with their chances: what a measured angle says, carried through the tables.

The chance of a step follows from a normal distribution round the measured value;
different inputs are taken as independent. All sums run over every combination of
steps, so the result is exact for these assumptions, not sampled.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from ergo.arrays import BoolArray, FloatArray, StepArray
from ergo.errors import InputError
from ergo.scores.method_score import NOT_SEEN, Level
from ergo.scores.table import BandTable, GridTable


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """One step per frame, and the chance of every step.

    Attributes
    ----------
    step : array (frame,)
        Step of the measured value; NOT_SEEN where it was not seen.
    chance : array (frame, step)
        Chance of step 1, 2, ...; rows sum to 1, or are NaN where not seen.
    """

    step: StepArray
    chance: FloatArray

    def __post_init__(self) -> None:
        if self.chance.ndim != 2 or len(self.chance) != len(self.step):
            raise InputError("chance must have one row per frame.")

    @property
    def last(self) -> int:
        """Return the highest step that can occur."""
        return int(self.chance.shape[1])


def judge(table: BandTable, value: FloatArray, sd: FloatArray) -> Judged:
    """Return the step of a measured quantity by a table of bands.

    Parameters
    ----------
    table : BandTable
    value, sd : array (frame,)
        Measured value and its standard deviation; unit of the table. NaN = not
        seen. A standard deviation of 0 makes the step certain.
    """
    step = table.step(value)
    with np.errstate(divide="ignore", invalid="ignore"):
        below = ndtr((np.array(table.up_to) - value[:, None]) / sd[:, None])
    chance = np.zeros((len(value), table.last))
    for band, (of_band, here) in enumerate(zip(table.steps, below.T, strict=True)):
        chance[:, of_band - 1] += here - (below[:, band - 1] if band else 0.0)
    exact = sd == 0
    chance[exact] = certain(step[exact], table.last).chance
    chance[(step == NOT_SEEN) | np.isnan(sd)] = np.nan
    return Judged(step, chance)


def certain(step: StepArray, last: int) -> Judged:
    """Return steps that are known without doubt, array (frame,), out of 1..``last``."""
    chance = (step[:, None] == np.arange(1, last + 1)).astype(np.float64)
    chance[step == NOT_SEEN] = np.nan
    return Judged(step, chance)


def chosen(first: Judged, where: BoolArray, second: Judged) -> Judged:
    """Return ``second`` in the frames ``where``, else ``first``."""
    last = max(first.last, second.last)
    return Judged(
        np.where(where, second.step, first.step),
        np.where(where[:, None], _padded(second.chance, last), _padded(first.chance, last)),
    )


def assumed_where_unseen(judged: Judged, step: int) -> tuple[Judged, BoolArray]:
    """Return the input with ``step`` where it was not seen, and those frames."""
    unseen = judged.step == NOT_SEEN
    stand_in = certain(np.full_like(judged.step, step), judged.last)
    return chosen(judged, unseen, stand_in), unseen


def _padded(chance: FloatArray, last: int) -> FloatArray:
    missing = last - chance.shape[1]
    return np.pad(chance, ((0, 0), (0, missing))) if missing else chance


def total(base: Judged, modifiers: Sequence[Judged], by: StepArray | int, last: int) -> Judged:
    """Return a step with its modifiers added, kept within 1..``last``.

    Parameters
    ----------
    base : Judged
    modifiers : sequence of Judged
        Each adds its step less 1: step 1 adds nothing, step 2 adds 1.
    by : array (frame,) or int
        What is added besides without doubt; may be negative.
    last : int
        Highest step of the result: the end of the printed table.
    """
    chance = base.chance
    for modifier in modifiers:
        chance = _chance_of_sum(chance, modifier.chance)
    shift = np.broadcast_to(np.asarray(by, dtype=np.int64), base.step.shape)
    return Judged(total_step(base, modifiers, by, last), _shifted(chance, shift, last))


def total_step(
    base: Judged, modifiers: Sequence[Judged], by: StepArray | int, last: int
) -> StepArray:
    """Return the step of :func:`total` alone, array (frame,), without the chances."""
    steps = [base.step, *(modifier.step for modifier in modifiers)]
    seen = np.all([step != NOT_SEEN for step in steps], axis=0)
    added = np.sum(steps, axis=0) - len(modifiers) + by
    return np.where(seen, np.clip(added, 1, last), NOT_SEEN)


def _chance_of_sum(first: FloatArray, second: FloatArray) -> FloatArray:
    """Return the chances of the sum of two steps less 1, array (frame, step)."""
    width = first.shape[1]
    both = np.zeros((len(first), width + second.shape[1] - 1))
    for more in range(second.shape[1]):
        both[:, more : more + width] += first * second[:, more, None]
    return both


def _shifted(chance: FloatArray, by: StepArray, last: int) -> FloatArray:
    """Return the chances with each frame's steps moved and kept within 1..``last``."""
    moved = np.zeros((len(chance), last))
    for shift in np.unique(by):
        rows = np.flatnonzero(by == shift)
        to = np.clip(np.arange(chance.shape[1]) + shift, 0, last - 1)
        moved[rows] = chance[rows] @ (to[:, None] == np.arange(last)).astype(np.float64)
    return moved


def either(first: Judged, second: Judged) -> Judged:
    """Return step 2 where at least one of two conditions is met, else 1."""
    return worst((first, second))


def worst(parts: Sequence[Judged]) -> Judged:
    """Return the highest of several steps; NOT_SEEN where any was not seen."""
    last = max(part.last for part in parts)
    seen = np.all([part.step != NOT_SEEN for part in parts], axis=0)
    step = np.max([part.step for part in parts], axis=0)
    at_most = np.ones((len(step), last))
    for part in parts:
        at_most *= np.cumsum(_padded(part.chance, last), axis=1)
    return Judged(np.where(seen, step, NOT_SEEN), np.diff(at_most, axis=1, prepend=0.0))


def look_up(table: GridTable, last: int, **inputs: Judged) -> Judged:
    """Return the score of a table, and the chance of every score 1..``last``."""
    step = table.look_up(**{axis: judged.step for axis, judged in inputs.items()})
    joint = np.ones((len(step), 1))
    for axis, size in zip(table.axes, table.cells.shape, strict=True):
        chance = _padded(inputs[axis].chance, size)
        if chance.shape[1] != size:
            raise InputError(f"has only {size} steps of {axis}.", where=table.name)
        joint = (joint[:, :, None] * chance[:, None, :]).reshape(len(step), -1)
    of_score = table.cells.reshape(-1, 1) == np.arange(1, last + 1)
    return Judged(step, joint @ of_score.astype(np.float64))


def level_of(score: Judged, levels: Sequence[Level]) -> Judged:
    """Return the 1-based position of each frame's score among the action levels."""
    scores = np.arange(1, score.last + 1)
    within = np.array(
        [(level.scores[0] <= scores) & (scores <= level.scores[1]) for level in levels]
    )
    position = np.concatenate(([NOT_SEEN], np.argmax(within, axis=0) + 1))
    return Judged(position[score.step], score.chance @ within.T.astype(np.float64))
