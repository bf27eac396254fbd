"""The worked example and the cells below are typed in from the printed tables, not computed."""

import numpy as np
import pytest

from ergo.errors import InputError
from ergo.scores.method_score import MethodScore
from ergo.scores.rula_by_hand import REGIONS, highest_steps, score_by_hand
from ergo.scores.table import levels_of

LOWEST = dict.fromkeys(REGIONS, 1)


def measured(muscle=0, force=0):
    levels = levels_of("rula_levels")
    return MethodScore(
        method="rula",
        side="left",
        reading={"rula_table_a": "version-1"},
        steps={},
        score=np.array([1]),
        level=np.array([1]),
        level_probability=np.ones((1, len(levels))) / len(levels),
        levels=levels,
        assumed=(),
        additions={
            "muscle_use_A": np.array([muscle]),
            "muscle_use_B": np.array([muscle]),
            "force": np.array([force]),
        },
    )


def test_the_least_strained_posture_has_the_least_scores():
    found = score_by_hand(LOWEST, measured(), 0)
    assert (found.posture_score_a, found.posture_score_b, found.grand) == (1, 1, 1)


def test_the_most_strained_posture_has_the_highest_scores():
    found = score_by_hand(highest_steps(), measured(), 0)
    assert (found.posture_score_a, found.posture_score_b, found.grand) == (9, 9, 7)


def test_muscle_use_and_force_add_to_both_groups_and_stay_within_table_c():
    found = score_by_hand(LOWEST, measured(muscle=1, force=2), 0)
    assert (found.score_c, found.score_d) == (4, 4)
    most = score_by_hand(highest_steps(), measured(muscle=1, force=3), 0)
    assert (most.score_c, most.score_d) == (8, 7)


@pytest.mark.parametrize(
    "steps", [{}, {**LOWEST, "neck": 7}, {**LOWEST, "legs": 0}, {**LOWEST, "tail": 1}]
)
def test_steps_that_are_not_printed_are_refused(steps):
    with pytest.raises(InputError, match="one printed step"):
        score_by_hand(steps, measured(), 0)
