"""RULA from steps that people gave, for comparing with the measured ones."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ergo.errors import InputError
from ergo.scores.method_score import MethodScore
from ergo.scores.rula import TABLE_A, TABLE_C
from ergo.scores.table import GridTable, grid_table

TABLE_B = "rula_table_b"
REGIONS: tuple[str, ...] = (
    "upper_arm",
    "lower_arm",
    "wrist",
    "wrist_twist",
    "neck",
    "trunk",
    "legs",
)
"""Regions in the order of the printed sheet."""


@dataclass(frozen=True, slots=True)
class HandScore:
    """The scores that follow from steps given by hand, as RULA names them."""

    posture_score_a: int
    posture_score_b: int
    score_c: int
    score_d: int
    grand: int


def highest_steps() -> dict[str, int]:
    """Return the highest step of each region, as far as the printed tables go."""
    tables = (grid_table(TABLE_A["version-1"]), grid_table(TABLE_B))
    return {
        axis: size
        for table in tables
        for axis, size in zip(table.axes, table.cells.shape, strict=True)
    }


def score_by_hand(steps: Mapping[str, int], measured: MethodScore, frame: int) -> HandScore:
    """Return the scores that the printed tables give for these steps.

    Muscle use and force are taken as in the measured score, so that only the
    regions differ.

    Parameters
    ----------
    steps : mapping of str to int
        Every region of REGIONS, from 1.
    measured : MethodScore
        RULA of the same side.
    frame : int

    Raises
    ------
    InputError
        If a region is missing or a step is not printed.
    """
    highest = highest_steps()
    if set(steps) != set(highest) or not all(1 <= steps[r] <= highest[r] for r in highest):
        raise InputError(
            "needs one printed step for each of " + ", ".join(REGIONS) + ".", where="RULA:"
        )
    additions = {name: int(each[frame]) for name, each in measured.additions.items()}
    table_c = grid_table(TABLE_C)
    a = _cell(grid_table(TABLE_A[measured.reading["rula_table_a"]]), steps)
    b = _cell(grid_table(TABLE_B), steps)
    c = a + additions["muscle_use_A"] + additions["force"]
    d = b + additions["muscle_use_B"] + additions["force"]
    last_c, last_d = table_c.cells.shape
    c, d = min(c, last_c), min(d, last_d)
    return HandScore(a, b, c, d, _cell(table_c, {"score_c": c, "score_d": d}))


def _cell(table: GridTable, steps: Mapping[str, int]) -> int:
    return int(table.look_up(**{axis: np.array([steps[axis]]) for axis in table.axes})[0])
