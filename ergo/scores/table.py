"""Printed tables as data: bands of one quantity, and grids of several steps."""

import csv
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np

from ergo.arrays import BoolArray, FloatArray, StepArray
from ergo.errors import InputError
from ergo.scores.method_score import NOT_SEEN, Level

Rows = list[dict[str, str]]


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a table comes from.

    Attributes
    ----------
    source : str
        The publication that prints it, or "ours".
    status : str
        How far it was verified; holds the word "memory" where a value was not
        read in a text, "ours" where we chose it.
    reading : str
        The reading of the source for which this file holds.
    """

    source: str
    status: str
    reading: str

    @property
    def is_from_memory(self) -> bool:
        """Return whether a value of the table was not read in any text."""
        return "memory" in self.status


@dataclass(frozen=True, slots=True)
class BandTable:
    """Steps of one body part by angle, load or distance.

    Attributes
    ----------
    name : str
        Name of the file.
    origin : Origin
    up_to : tuple of float
        Upper edge of each band, rising; the last is infinite. [unit of the quantity]
    steps : tuple of int
        Step of each band, from 1.
    edge_is_below : tuple of bool
        True where a value exactly on the edge belongs to the band below it.
    """

    name: str
    origin: Origin
    up_to: tuple[float, ...]
    steps: tuple[int, ...]
    edge_is_below: tuple[bool, ...]

    def __post_init__(self) -> None:
        if not len(self.up_to) == len(self.steps) == len(self.edge_is_below):
            raise InputError("must have one step and one edge rule per band.", where=self.name)
        if any(low >= high for low, high in zip(self.up_to, self.up_to[1:], strict=False)):
            raise InputError("has edges that do not rise.", where=self.name)

    @property
    def last(self) -> int:
        """Return the highest step."""
        return max(self.steps)

    def from_second_band(self) -> "BandTable":
        """Return the table without its first band: the second goes on downwards."""
        return BandTable(
            self.name, self.origin, self.up_to[1:], self.steps[1:], self.edge_is_below[1:]
        )

    def first_edge(self) -> "BandTable":
        """Return a table of two bands: step 1 within the first band, step 2 beyond it."""
        return BandTable(
            self.name, self.origin, (self.up_to[0], np.inf), (1, 2), (self.edge_is_below[0], True)
        )

    def step(self, value: FloatArray) -> StepArray:
        """Return the printed step of each value; NOT_SEEN for NaN.

        Parameters
        ----------
        value : array (frame,)
            Unit of the table.

        Returns
        -------
        array (frame,)
        """
        edges = np.where(self.edge_is_below, self.up_to, np.nextafter(self.up_to, -np.inf))
        steps = np.array((*self.steps, NOT_SEEN), dtype=np.int64)
        return steps[np.searchsorted(edges, value)]


@dataclass(frozen=True, slots=True, eq=False)
class GridTable:
    """A table with several named axes, each counted from step 1.

    Attributes
    ----------
    name : str
        Name of the file.
    origin : Origin
    axes : tuple of str
        Name of each axis of ``cells``.
    cells : array (axes...)
        Printed score of each cell.
    """

    name: str
    origin: Origin
    axes: tuple[str, ...]
    cells: StepArray

    def __post_init__(self) -> None:
        if self.cells.ndim != len(self.axes):
            raise InputError("must have one name per axis.", where=self.name)

    @property
    def highest(self) -> int:
        """Return the highest printed score."""
        return int(self.cells.max())

    def look_up(self, **steps: StepArray) -> StepArray:
        """Return the score of each frame; NOT_SEEN where any step is NOT_SEEN.

        Parameters
        ----------
        **steps : array (frame,)
            One per axis, by name, from 1.

        Returns
        -------
        array (frame,)
        """
        self.refuse_other_axes(steps)
        in_order = [np.asarray(steps[axis]) for axis in self.axes]
        seen: BoolArray = np.all([step != NOT_SEEN for step in in_order], axis=0)
        score = self.cells[tuple(np.maximum(step, 1) - 1 for step in in_order)]
        return np.where(seen, score, NOT_SEEN)

    def refuse_other_axes(self, given: Iterable[str]) -> None:
        """Raise InputError unless ``given`` names exactly the axes of this table."""
        if set(given) != set(self.axes):
            raise InputError(f"is looked up by {', '.join(self.axes)}.", where=self.name)


def _read(name: str) -> tuple[Origin, Rows]:
    text = files("ergo.scores").joinpath("tables", f"{name}.csv").read_text("utf-8")
    lines = text.splitlines()
    heads = [line[2:].split(": ", 1) for line in lines if line.startswith("# ")]
    head = {key: value for key, value in heads}
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    return Origin(head["source"], head["status"], head["reading"]), rows


def _edge_is_below(steps: list[int], edges: list[str], shared_edge: str) -> tuple[bool, ...]:
    """Return the side of each edge: as printed, or by the reading where it is shared."""
    sides = []
    for here, above, edge in zip(steps, [*steps[1:], steps[-1]], edges, strict=True):
        lower_is_below = here <= above
        shared = lower_is_below if shared_edge == "lower" else not lower_is_below
        sides.append({"below": True, "above": False, "none": True, "shared": shared}[edge])
    return tuple(sides)


@cache
def band_table(name: str, shared_edge: str = "lower") -> BandTable:
    """Return the bands of ``tables/NAME.csv``.

    Parameters
    ----------
    name : str
        File name without its ending.
    shared_edge : str
        Which step takes a value on an edge that the source prints for both
        bands: ``"lower"`` or ``"higher"``.
    """
    origin, rows = _read(name)
    edge_column = next(iter(rows[0]))
    steps = [int(row["step"]) for row in rows]
    return BandTable(
        name,
        origin,
        tuple(float(row[edge_column]) for row in rows),
        tuple(steps),
        _edge_is_below(steps, [row["edge"] for row in rows], shared_edge),
    )


@cache
def grid_table(name: str) -> GridTable:
    """Return the grid of ``tables/NAME.csv``: one row per cell, the score last."""
    origin, rows = _read(name)
    *axes, score = rows[0]
    at = np.array([[int(row[axis]) for axis in axes] for row in rows])
    cells = np.full(at.max(axis=0), -1, dtype=np.int64)
    cells[tuple(at.T - 1)] = [int(row[score]) for row in rows]
    if len(rows) != cells.size or np.any(cells < 0):
        raise InputError("must print every cell once.", where=f"{name}.csv")
    return GridTable(name, origin, tuple(axes), cells)


@cache
def levels_of(name: str) -> tuple[Level, ...]:
    """Return the action levels of ``tables/NAME.csv``, from least to most strained."""
    _, rows = _read(name)
    return tuple(
        Level(row["printed"], (int(row["first"]), int(row["last"])), row["meaning"]) for row in rows
    )


@cache
def limit(name: str, row_name: str) -> float:
    """Return one named number of ``tables/NAME.csv``; its unit is in its name."""
    _, rows = _read(name)
    return next(float(row["limit"]) for row in rows if row["name"] == row_name)


@cache
def line_of(name: str) -> tuple[Origin, tuple[float, ...], tuple[float, ...]]:
    """Return the origin, the angles [deg] and the times [s] of a holding-time line."""
    origin, rows = _read(name)
    angles = tuple(float(row["angle_deg"]) for row in rows)
    return origin, angles, tuple(float(row["holding_time_s"]) for row in rows)


@cache
def origin_of(name: str) -> Origin:
    """Return where ``tables/NAME.csv`` comes from."""
    return _read(name)[0]
