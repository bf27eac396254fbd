import numpy as np
import pytest

from ergo.exposure.published_norms import beside_norms, norms
from tests.exposure.conftest import posture_of


def own(rows, key):
    return [row.own.value for row in rows if row.norm.key == key]


def test_the_published_figures_are_those_of_the_abstracts():
    # typed a second time from [marklin-2005] and [ettinger-2013]; the others from memory
    printed = {
        ("neck_flexion_deg", 30.0, 0.85),
        ("trunk_flexion_deg", 30.0, 0.5),
        ("shoulder_abduction_deg", 30.0, 0.5),
        ("upper_arm_elevation_deg", 60.0, 0.07),
        ("neck_flexion_deg", 30.0, 0.82),
    }
    shares = [norm for norm in norms() if norm.measure == "share_over"]
    assert {(norm.stem, norm.threshold, norm.value) for norm in shares} == printed
    medians = {norm.measure: norm.value for norm in norms() if norm.stem.startswith("head")}
    assert medians == {"p50": 39, "p90": 49}


def test_figures_written_from_memory_say_so():
    from_memory = {norm.key for norm in norms() if "memory" in norm.status}
    assert from_memory == {
        "neck_over_30_dentists_denmark",
        "head_p50_dentists_sweden",
        "head_p90_dentists_sweden",
    }


def test_the_own_share_is_of_the_judged_time():
    posture = posture_of(5, 0.001, neck_flexion_deg=[35, 35, 10, np.nan, np.nan])
    rows = beside_norms(posture, np.array([1.0, 2.0, 1.0, 5.0, 5.0]))
    assert own(rows, "neck_over_30_dentists_usa") == [pytest.approx(0.75)]


def test_left_and_right_stand_beside_the_figure_apart():
    posture = posture_of(2, 0.001, upper_arm_elevation_deg_left=70)
    rows = beside_norms(posture, np.ones(2))
    assert own(rows, "arm_over_60_hygienists_usa") == [1, pytest.approx(np.nan, nan_ok=True)]


def test_percentiles_stand_beside_percentiles():
    value = np.arange(1, 101.0)
    rows = beside_norms(posture_of(100, 1.0, head_inclination_deg=value), np.ones(100))
    assert own(rows, "head_p50_dentists_sweden") == [50]
    assert own(rows, "head_p90_dentists_sweden") == [90]


def test_a_published_figure_never_becomes_the_users_when_nothing_was_seen():
    rows = beside_norms(posture_of(3, 1.0), np.ones(3))
    assert all(np.isnan(row.own.value) for row in rows)
