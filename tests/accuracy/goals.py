"""The goals set for the project, and whether they were met."""

import csv
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

_FILE = Path(__file__).with_name("targets.csv")

LEAST_IN_VIEW = 10
"""A view with fewer stills says too little to be judged."""

COVERAGE = (0.85, 0.95)
"""What share of 90 % intervals may hold the truth."""

FOUND, RIGHT = 0.97, 0.98
KAPPA = {"neck": 0.65, "trunk": 0.75, "upper arm": 0.65}
WITHIN_ONE = 0.95
HARM_DEG = {"broad": 0.5, "real": 1.0}
LEAST_COVERAGE_OUTSIDE = 0.85


def goal(angle: str, column: str) -> float:
    """Return one goal of targets.csv; NaN where none was set."""
    with _FILE.open(encoding="utf-8") as file:
        rows = csv.DictReader(line for line in file if not line.startswith("#"))
        for row in rows:
            if row["angle"] == angle and row[column]:
                return float(row[column])
    return np.nan


@dataclass(frozen=True, slots=True)
class Verdict:
    """One goal and what was reached.

    Attributes
    ----------
    what : str
        What was to be reached, in words.
    reached, wanted : float
    is_met : bool
    """

    what: str
    reached: float
    wanted: float
    is_met: bool


def at_most(what: str, reached: float, wanted: float) -> Verdict:
    """Return whether a value is small enough; an unknown value is a miss."""
    return Verdict(what, reached, wanted, bool(reached <= wanted))


def at_least(what: str, reached: float, wanted: float) -> Verdict:
    """Return whether a value is large enough; an unknown value is a miss."""
    return Verdict(what, reached, wanted, bool(reached >= wanted))


def missed(verdicts: Iterable[Verdict]) -> list[Verdict]:
    """Return the goals that were missed."""
    return [each for each in verdicts if not each.is_met]
