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

NO_DOUBT = 1e-9
"""A smaller standard deviation is none; keeps the division within the numbers."""


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """One step per frame, and the chance of every step.

    Attributes
    ----------
    step : array (frame,)
        Step of the measured value; NOT_SEEN where it was not seen.
    chance : array (step, frame)
        Chance of step 1, 2, ...; sums to 1 over the steps, NaN where not seen.
    """

    step: StepArray
    chance: FloatArray

    def __post_init__(self) -> None:
        if self.chance.ndim != 2 or self.chance.shape[1] != len(self.step):
            raise InputError("chance must have one column per frame.")

    @property
    def last(self) -> int:
        """Return the highest step that can occur."""
        return len(self.chance)


def step_by(table: BandTable, value: FloatArray, sd: FloatArray) -> Judged:
    """Return the step of a measured quantity by a table of bands.

    Parameters
    ----------
    table : BandTable
    value, sd : array (frame,)
        Measured value and its standard deviation; unit of the table. NaN = not
        seen. A standard deviation of 0 makes the step certain.
    """
    step = table.step(value)
    chance = np.zeros((table.last, len(value)))
    no_doubt = sd < NO_DOUBT
    per_sd = 1.0 / np.where(no_doubt, 1.0, sd)
    below = np.zeros(len(value))
    for of_band, edge in zip(table.steps, table.up_to, strict=True):
        up_to_here = ndtr((edge - value) * per_sd) if np.isfinite(edge) else np.ones(len(value))
        chance[of_band - 1] += up_to_here - below
        below = up_to_here
    sharp = Judged(step, _with_nan(chance, (step == NOT_SEEN) | np.isnan(sd)))
    return chosen(sharp, no_doubt, certain(step, table.last)) if np.any(no_doubt) else sharp


TOLD_SD = 1.0
"""A lean counts as backward from so many standard deviations behind the edge on (ours):
one that cannot be told from upright is upright."""


def told_back(value: FloatArray, sd: FloatArray, beyond: float = 0.0) -> FloatArray:
    """Return signed angles, those that cannot be told to be backward taken as 0.

    Parameters
    ----------
    value, sd : array (any)
        Negative = backward, and one standard deviation.
    beyond : float
        How far behind 0 backward begins; unit of the angle.
    """
    return np.where(value < 0, np.minimum(value + TOLD_SD * sd + beyond, 0.0), value)


def judge_told(table: BandTable, value: FloatArray, sd: FloatArray) -> Judged:
    """Return the step of a quantity by a table whose first band is that of backward leans.

    As :func:`step_by`, but the step is that of the first band only where the lean is told
    apart from its edge by :data:`TOLD_SD`. Of tables that begin otherwise nothing changes.
    """
    judged = step_by(table, value, sd)
    if len(table.steps) < 2 or table.steps[0] <= table.steps[1]:
        return judged
    is_estimated = table.first_edge().step(value + TOLD_SD * sd) == 1
    upright = table.from_second_band().step(value)
    return Judged(np.where(is_estimated, judged.step, upright), judged.chance)


def judge_lean(
    table: BandTable, size: FloatArray, size_sd: FloatArray, ahead: FloatArray, ahead_sd: FloatArray
) -> Judged:
    """Return the step of a line whose first band is that of backward leans.

    Whether it leans backward is judged by one angle with its own spread, how far it
    leans by another.

    Parameters
    ----------
    table : BandTable
        Its first band is the one of backward leans.
    size, size_sd : array (frame,)
        Unsigned angle from upright and its standard deviation; NaN = not seen. [deg]
    ahead, ahead_sd : array (frame,)
        Forward (negative: backward) lean and its standard deviation. [deg]

    Returns
    -------
    Judged
        The step is that of the first band only where the lean is told apart from its
        edge by :data:`TOLD_SD`; the chances are those of the angles.
    """
    by_size = step_by(table.from_second_band(), size, size_sd)
    behind = step_by(table.first_edge(), ahead, ahead_sd)
    is_estimated = table.first_edge().step(ahead + TOLD_SD * ahead_sd) == 1
    back = certain(np.full(len(size), table.steps[0]), table.last)
    chance = behind.chance[0] * _padded(back.chance, table.last)
    chance += behind.chance[1] * _padded(by_size.chance, table.last)
    unseen = (by_size.step == NOT_SEEN) | (behind.step == NOT_SEEN)
    step = np.where(is_estimated, table.steps[0], by_size.step)
    return Judged(np.where(unseen, NOT_SEEN, step), _with_nan(chance, unseen))


def _with_nan(chance: FloatArray, unseen: BoolArray) -> FloatArray:
    chance[:, unseen] = np.nan
    return chance


def certain(step: StepArray, last: int) -> Judged:
    """Return steps that are known without doubt, array (frame,), out of 1..``last``."""
    chance = (step == np.arange(1, last + 1)[:, None]).astype(np.float64)
    return Judged(step, _with_nan(chance, step == NOT_SEEN))


def chosen(first: Judged, where: BoolArray, second: Judged) -> Judged:
    """Return ``second`` in the frames ``where``, else ``first``."""
    last = max(first.last, second.last)
    return Judged(
        np.where(where, second.step, first.step),
        np.where(where, _padded(second.chance, last), _padded(first.chance, last)),
    )


def assumed_where_unseen(judged: Judged, step: int) -> tuple[Judged, BoolArray]:
    """Return the input with ``step`` where it was not seen, and those frames."""
    unseen = judged.step == NOT_SEEN
    stand_in = certain(np.full_like(judged.step, step), judged.last)
    return chosen(judged, unseen, stand_in), unseen


def _padded(chance: FloatArray, last: int) -> FloatArray:
    missing = last - len(chance)
    return np.pad(chance, ((0, missing), (0, 0))) if missing else chance


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
    """Return the chances of the sum of two steps less 1, array (step, frame)."""
    both = np.zeros((len(first) + len(second) - 1, first.shape[1]))
    for more, chance in enumerate(second):
        both[more : more + len(first)] += first * chance
    return both


def _shifted(chance: FloatArray, by: StepArray, last: int) -> FloatArray:
    """Return the chances with each frame's steps moved and kept within 1..``last``."""
    moved = np.zeros((last, chance.shape[1]))
    lowest = int(by.min(initial=0))
    for shift in (lowest + np.flatnonzero(np.bincount(by - lowest))).tolist():
        here = by == shift
        for row, of_row in enumerate(chance):
            moved[min(max(row + shift, 0), last - 1)] += np.where(here, of_row, 0.0)
    return _with_nan(moved, np.isnan(chance[0]))


def worst(parts: Sequence[Judged]) -> Judged:
    """Return the highest of several steps; NOT_SEEN where any was not seen."""
    last = max(part.last for part in parts)
    seen = np.all([part.step != NOT_SEEN for part in parts], axis=0)
    step = np.max([part.step for part in parts], axis=0)
    at_most = np.ones((last, len(step)))
    for part in parts:
        at_most *= np.cumsum(_padded(part.chance, last), axis=0)
    return Judged(np.where(seen, step, NOT_SEEN), np.diff(at_most, axis=0, prepend=0.0))


def middle(judged: Judged) -> Judged:
    """Return the same chances with the middle one of them as the step.

    Half of the chance lies at or below it: no other step is expected to lie
    nearer to the true one.
    """
    at_most = np.cumsum(judged.chance, axis=0)
    step = np.argmax(at_most >= 0.5 - NO_DOUBT, axis=0) + 1
    return Judged(np.where(judged.step == NOT_SEEN, NOT_SEEN, step), judged.chance)


def chance_within_one(judged: Judged) -> FloatArray:
    """Return the chance that the true step lies at most 1 from the step, array (frame,)."""
    steps = np.arange(1, judged.last + 1)[:, None]
    near = np.abs(steps - judged.step) <= 1
    chance: FloatArray = np.sum(judged.chance * near, axis=0)  # NaN stays NaN
    return chance


def look_up(table: GridTable, **inputs: Judged) -> Judged:
    """Return the score of a table, and the chance of every score it prints."""
    step = table.look_up(**{axis: judged.step for axis, judged in inputs.items()})
    chances = [inputs[axis].chance for axis in table.axes]
    if any(len(chance) > size for chance, size in zip(chances, table.cells.shape, strict=True)):
        raise InputError("ends before the steps it is looked up by.", where=table.name)
    sums = np.zeros((table.highest, len(step)))
    _add_cells(table.cells, chances, np.ones(len(step)), sums)
    return Judged(step, _with_nan(sums, step == NOT_SEEN))


def _add_cells(
    cells: StepArray, chances: Sequence[FloatArray], weight: FloatArray, sums: FloatArray
) -> None:
    """Add the chance of every cell to the sum of its score; axis by axis."""
    for of_step, chance in zip(cells, chances[0], strict=False):
        if not np.any(chance):
            continue
        here = weight * chance
        if len(chances) == 1:
            sums[of_step - 1] += here
        else:
            _add_cells(of_step, chances[1:], here, sums)


def level_of(score: Judged, levels: Sequence[Level]) -> Judged:
    """Return the 1-based position of each frame's score among the action levels."""
    scores = np.arange(1, score.last + 1)
    within = np.array(
        [(level.scores[0] <= scores) & (scores <= level.scores[1]) for level in levels]
    )
    position = np.concatenate(([NOT_SEEN], np.argmax(within, axis=0) + 1))
    chance = np.stack([score.chance[of_level].sum(axis=0) for of_level in within])
    return Judged(position[score.step], chance)
