import numpy as np
import pytest

from ergo.errors import InputError
from ergo.scores.table import BandTable, GridTable, Origin, band_table, grid_table

ORIGIN = Origin("invented", "ours", "only one")


def test_a_value_that_was_not_seen_has_no_step():
    assert band_table("rula_neck").step(np.array([np.nan, 5.0])).tolist() == [0, 1]


def test_edges_that_do_not_rise_are_refused():
    with pytest.raises(InputError, match="do not rise"):
        BandTable("invented", ORIGIN, (20.0, 20.0), (1, 2), (True, True))


def test_a_band_without_a_step_is_refused():
    with pytest.raises(InputError, match="one step and one edge rule per band"):
        BandTable("invented", ORIGIN, (20.0, np.inf), (1,), (True, True))


def test_a_grid_is_looked_up_by_the_names_of_its_axes_only():
    table = grid_table("rula_table_b")
    with pytest.raises(InputError, match="neck, trunk, legs"):
        table.look_up(neck=np.array([1]), trunk=np.array([1]), leg=np.array([1]))


def test_a_grid_with_a_nameless_axis_is_refused():
    with pytest.raises(InputError, match="one name per axis"):
        GridTable("invented", ORIGIN, ("neck",), np.ones((2, 2), dtype=np.int64))


def test_a_score_is_not_judged_where_any_step_is_not():
    score = grid_table("rula_table_c").look_up(
        score_c=np.array([0, 1, 1]), score_d=np.array([1, 0, 1])
    )
    assert score.tolist() == [0, 0, 1]
