"""Every cell and every edge against a second typing of the printed tables."""

import csv
import itertools
import re
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from ergo.scores.iso11226 import max_holding_time_s
from ergo.scores.table import band_table, grid_table, origin_of

PUBLISHED = Path(__file__).parents[1] / "published"
GRIDS = {
    "rula_table_a": (144, ("upper_arm", "lower_arm", "wrist", "wrist_twist")),
    "rula_table_b": (72, ("neck", "trunk", "legs")),
    "rula_table_c": (56, ("score_c", "score_d")),
    "reba_table_a": (60, ("trunk", "neck", "legs")),
    "reba_table_b": (36, ("upper_arm", "lower_arm", "wrist")),
    "reba_table_c": (144, ("score_a", "score_b")),
}


def rows(name):
    lines = (PUBLISHED / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def printed_cells(name):
    """Yield the steps, in the order of the axes, and the score of every printed cell."""
    for row in rows(name):
        own = [int(step) for column, step in row.items() if not re.search(r"\d", column)]
        for column, score in row.items():
            if steps := re.findall(r"\d+", column):
                yield (*own, *(int(step) for step in steps)), int(score)


def bands():
    by_table = itertools.groupby(rows("bands"), key=lambda row: row["table"])
    return {
        name: [(float(row["from"]), float(row["to"]), int(row["step"])) for row in of_table]
        for name, of_table in by_table
    }


def edges():
    for name, of_table in bands().items():
        for (_, edge, below), (_, _, above) in itertools.pairwise(of_table):
            yield pytest.param(name, edge, below, above, id=f"{name} at {edge:g}")


@pytest.mark.parametrize("name", GRIDS)
def test_every_cell_holds_the_printed_score(name):
    cells, axes = GRIDS[name]
    printed = dict(printed_cells(name))
    assert len(printed) == cells
    steps = np.array(list(printed)).T
    table = grid_table(name)
    found = table.look_up(**{axis: step for axis, step in zip(axes, steps, strict=True)})
    assert found.tolist() == list(printed.values())


def test_the_older_worksheet_differs_in_the_31_listed_cells_and_no_other():
    listed = {
        tuple(int(row[axis]) for axis in GRIDS["rula_table_a"][1]): (
            int(row["version_1"]),
            int(row["older_worksheet"]),
        )
        for row in rows("rula_table_a_older_worksheet_differences")
    }
    first, older = (
        grid_table("rula_table_a").cells,
        grid_table("rula_table_a_older_worksheet").cells,
    )
    differ = {
        tuple(int(step) for step in at + 1): (int(first[tuple(at)]), int(older[tuple(at)]))
        for at in np.argwhere(first != older)
    }
    assert len(listed) == 31
    assert differ == listed


def test_one_thesis_misprints_three_cells_of_reba_table_b():
    most, one = grid_table("reba_table_b").cells, grid_table("reba_table_b_one_thesis").cells
    differ = {tuple(int(s) for s in at + 1): int(one[tuple(at)]) for at in np.argwhere(most != one)}
    assert differ == {(1, 1, 3): 3, (2, 2, 1): 1, (2, 2, 2): 2}


@pytest.mark.parametrize("name", [*GRIDS, "rula_table_a_older_worksheet"])
def test_scores_never_fall_when_a_step_rises(name):
    cells = grid_table(name).cells
    for axis in range(cells.ndim):
        assert np.all(np.diff(cells, axis=axis) >= 0)


@pytest.mark.parametrize(("name", "edge", "below", "above"), list(edges()))
def test_both_sides_of_every_edge_have_the_printed_step(name, edge, below, above):
    table = band_table(name)
    assert table.step(np.array([edge - 1e-6, edge + 1e-6])).tolist() == [below, above]


@pytest.mark.parametrize(("name", "edge", "below", "above"), list(edges()))
def test_a_value_on_a_shared_edge_gets_the_lower_step_or_by_the_other_reading_the_higher(
    name, edge, below, above
):
    at = np.array([edge])
    assert band_table(name).step(at).tolist() == [min(below, above)]
    assert band_table(name, "higher").step(at).tolist() == [max(below, above)]


@pytest.mark.parametrize("name", bands())
def test_the_bands_leave_no_gap_and_no_other_band_exists(name):
    of_table, table = bands()[name], band_table(name)
    assert table.up_to == tuple(to for _, to, _ in of_table)
    assert all(here[1] == after[0] for here, after in itertools.pairwise(of_table))
    assert table.step(np.array([-1e9, 1e9])).tolist() == [of_table[0][2], of_table[-1][2]]


@pytest.mark.parametrize(
    ("name", "load_kg", "step"),
    [
        ("rula_load", 1.999, 1),
        ("rula_load", 2.0, 2),
        ("rula_load", 10.0, 2),
        ("rula_load", 10.001, 3),
        ("reba_load", 4.999, 1),
        ("reba_load", 5.0, 2),
        ("reba_load", 10.0, 2),
        ("reba_load", 10.001, 3),
    ],
)
def test_load_bands_are_less_than_up_to_and_more_than_as_printed(name, load_kg, step):
    assert band_table(name).step(np.array([load_kg])).tolist() == [step]


@pytest.mark.parametrize(
    "row", rows("holding_times"), ids=lambda r: f"{r['joint']} {r['angle_deg']}"
)
def test_the_holding_time_line_passes_every_printed_point(row):
    minutes, seconds = row["printed"].split(":")
    time_s = max_holding_time_s(row["joint"], np.array([float(row["angle_deg"])]))
    assert time_s == pytest.approx([int(minutes) * 60 + int(seconds)], abs=0.5)


def all_tables():
    folder = files("ergo.scores").joinpath("tables")
    return sorted(entry.name.removesuffix(".csv") for entry in folder.iterdir())


@pytest.mark.parametrize("name", all_tables())
def test_every_table_names_its_source_its_status_and_its_reading(name):
    origin = origin_of(name)
    assert origin.source
    assert origin.reading
    assert any(word in origin.status for word in ("verified", "memory", "ours"))


def test_every_band_table_of_the_package_has_a_second_typing():
    grids = {*GRIDS, "rula_table_a_older_worksheet", "reba_table_b_one_thesis"}
    others = {"rula_force", "rula_force_over_10_kg_is_3", "rula_load", "reba_load"}
    lists = {name for name in all_tables() if "levels" in name or "activity" in name}
    lines = {name for name in all_tables() if "holding" in name}
    assert set(all_tables()) == set(bands()) | grids | others | lists | lines


def test_values_from_memory_say_so():
    assert origin_of("iso11226_holding_upper_arm").is_from_memory
    assert origin_of("dental_upper_arm_forward").is_from_memory
    assert not origin_of("iso11226_holding_trunk").is_from_memory
