"""The shape that the sheets of RULA and REBA share: parts, two groups, one final score."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ergo.arrays import BoolArray, StepArray
from ergo.scores.body_regions import ArmSide, Part, Reading
from ergo.scores.interpretations import readings_of
from ergo.scores.method_score import NOT_SEEN, MethodScore
from ergo.scores.steps import Judged, chance_within_one, level_of, look_up, middle, total
from ergo.scores.table import GridTable, grid_table, levels_of

SIDES: tuple[ArmSide, ...] = ("left", "right")

WHAT_IF = {
    "score_of_measured_angles": "as_measured",
    "score_if_assumed_worse": "one_worse",
    "score_if_not_strained": "eased",
}
"""Final score by the printed tables alone, and the steps of the parts that it follows from."""


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """Parts, score of the printed table and score with additions of group A or B.

    Attributes
    ----------
    parts : mapping of str to Part
    table_score, with_additions : Judged
    what_if : mapping of str to array (frame,)
        Score with additions for every value of ``WHAT_IF``.
    """

    parts: Mapping[str, Part]
    table_score: Judged
    with_additions: Judged
    what_if: Mapping[str, StepArray]


@dataclass(frozen=True, slots=True)
class Sheet:
    """What one method prints: its name, its last table and how far its scores go.

    Attributes
    ----------
    method : str
    table : str
        Joins the two groups.
    last : int
        Highest final score.
    names : tuple of (str, str)
        Of each group's table score and score with additions.
    final_name : str or None
        Of what ``table`` gives before anything is added to it.
    """

    method: str
    table: str
    last: int
    names: tuple[tuple[str, str], tuple[str, str]]
    final_name: str | None = None

    @property
    def axes(self) -> tuple[str, str]:
        """Return the names of the axes of ``table``, one per group."""
        (_, first), (_, second) = self.names
        return first.lower(), second.lower()


@dataclass(frozen=True, slots=True, eq=False)
class Besides:
    """What plays a part in the final score besides the groups.

    Attributes
    ----------
    added : array (frame,) or int
        Added to the final score.
    additions : mapping of str to array (frame,)
        Every addition by its printed name.
    assumed : mapping of str to array (frame,)
        Input to the frames in which it was taken to add nothing.
    """

    added: StepArray | int
    additions: Mapping[str, StepArray]
    assumed: Mapping[str, BoolArray]


def group(table: str, parts: Mapping[str, Part], added: StepArray | int, last: int) -> Group:
    """Return one group's scores; with additions they are kept at ``last``."""
    grid = grid_table(table)
    score = look_up(grid, **{name: each.judged for name, each in parts.items()})
    return Group(
        parts,
        score,
        total(score, (), added, last),
        {
            "as_measured": _plus(score.step, added, last),
            "one_worse": _plus(_cell(grid, parts, "one_worse"), added, last),
            "eased": _plus(_cell(grid, parts, "eased"), added, last),
        },
    )


def _cell(grid: GridTable, parts: Mapping[str, Part], which: str) -> StepArray:
    return grid.look_up(**{name: getattr(each, which) for name, each in parts.items()})


def _plus(score: StepArray, added: StepArray | int, last: int) -> StepArray:
    return np.where(score == NOT_SEEN, NOT_SEEN, np.minimum(score + added, last))


def side_score(
    sheet: Sheet, side: ArmSide, reading: Reading, groups: tuple[Group, Group], besides: Besides
) -> MethodScore:
    """Return the score of one side; which score is shown is the reading ``score_shown``."""
    scores = zip(sheet.axes, (g.with_additions for g in groups), strict=True)
    joined = look_up(grid_table(sheet.table), **dict(scores))
    final = total(joined, (), besides.added, sheet.last)
    shown = middle(final) if reading["score_shown"] == "middle" else final
    level = level_of(shown, levels := levels_of(f"{sheet.method}_levels"))
    parts = [each for of_group in groups for each in of_group.parts.values()]
    return MethodScore(
        method=sheet.method,
        side=side,
        reading=readings_of(sheet.method, reading),
        steps={
            **_steps(sheet, groups),
            **({sheet.final_name: joined.step} if sheet.final_name else {}),
            **_what_if(sheet, groups, besides.added),
        },
        score=shown.step,
        level=level.step,
        level_probability=level.chance.T,
        levels=levels,
        assumed=_assumed(parts, besides, shown.step),
        strained=_strained(parts, shown.step),
        within_one=chance_within_one(shown),
        additions=besides.additions,
    )


def _what_if(
    sheet: Sheet, groups: tuple[Group, Group], added: StepArray | int
) -> dict[str, StepArray]:
    grid = grid_table(sheet.table)
    found = {}
    for name, which in WHAT_IF.items():
        scores = zip(sheet.axes, (g.what_if[which] for g in groups), strict=True)
        found[name] = _plus(grid.look_up(**dict(scores)), added, sheet.last)
    return found


def _steps(sheet: Sheet, groups: tuple[Group, Group]) -> dict[str, StepArray]:
    steps: dict[str, StepArray] = {}
    for of_group, (table_name, name) in zip(groups, sheet.names, strict=True):
        steps |= {part: each.judged.step for part, each in of_group.parts.items()}
        steps |= {table_name: of_group.table_score.step, name: of_group.with_additions.step}
    return steps


def _assumed(parts: Sequence[Part], besides: Besides, score: StepArray) -> tuple[str, ...]:
    """Return the inputs that were assumed in at least one frame that got a score."""
    inputs = dict(besides.assumed)
    for each in parts:
        inputs |= each.assumed
    judged = score != NOT_SEEN
    return tuple(name for name, frames in inputs.items() if np.any(frames & judged))


def _strained(parts: Sequence[Part], score: StepArray) -> dict[str, BoolArray]:
    """Return the inputs that were counted as strained, with the frames that got a score by it."""
    judged = score != NOT_SEEN
    counted = {name: f & judged for each in parts for name, f in each.strained.items()}
    return {name: frames for name, frames in counted.items() if np.any(frames)}
