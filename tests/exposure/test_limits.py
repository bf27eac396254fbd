import math

import pytest

from ergo.errors import InputError
from ergo.exposure.bands import Band, LimitSet
from ergo.exposure.holding_lines import line_origin
from ergo.exposure.limits import RULES, limit_set, limit_sets
from ergo.posture.angle_names import ANGLES
from ergo.scores.table import band_table


def test_every_rule_names_its_source_and_how_far_it_was_verified():
    assert {each.rule for each in limit_sets()} == set(RULES)
    assert all(len(each.source) > 30 for each in limit_sets())
    assert all("verified" in each.status or "memory" in each.status for each in limit_sets())


@pytest.mark.parametrize(
    ("rule", "angle", "table"),
    [
        ("iso11226", "trunk_inclination_deg", "iso11226_trunk"),
        ("iso11226", "head_inclination_deg", "iso11226_head"),
        ("iso11226", "neck_flexion_deg", "iso11226_neck"),
        ("iso11226", "upper_arm_elevation_deg_left", "iso11226_upper_arm"),
        ("rula", "neck_flexion_deg", "rula_neck"),
        ("rula", "trunk_flexion_deg", "rula_trunk"),
        ("rula", "shoulder_flexion_deg_right", "rula_upper_arm"),
        ("rula", "elbow_flexion_deg_left", "rula_lower_arm"),
    ],
)
def test_the_edges_are_those_by_which_the_method_scores(rule, angle, table):
    edges = {band.high for band in limit_set(rule, angle).bands}
    printed = set(band_table(table).up_to)
    assert edges - {0.0} == printed - {0.0}


@pytest.mark.parametrize(
    ("rule", "angle", "limit"),
    [
        # typed a second time: [iso11226-page-be], [iso11226-ua], [dental-checklist],
        # [arm-levels-2026], [jomt-2020], [lemaster-2021]; trunk 20 and arm 25 of the sitting
        # requirements from memory
        ("iso11226", "neck_flexion_deg", 25),
        ("iso11226", "trunk_inclination_deg", 60),
        ("iso11226", "head_inclination_deg", 85),
        ("iso11226", "upper_arm_elevation_deg_right", 60),
        ("dental_sitting", "neck_flexion_deg", 25),
        ("dental_sitting", "trunk_flexion_deg", 20),
        ("dental_sitting", "shoulder_abduction_deg_left", 20),
        ("dental_sitting", "shoulder_flexion_deg_left", 25),
        ("arm_elevation", "upper_arm_elevation_deg_left", 60),
        ("side_bend", "neck_side_bend_deg", 10),
        ("north_american_teaching", "neck_flexion_deg", 20),
    ],
)
def test_the_limit_is_the_printed_one(rule, angle, limit):
    assert limit_set(rule, angle).limit == limit


def test_values_written_from_memory_say_so():
    from_memory = {(s.rule, s.angle.name) for s in limit_sets() if "memory" in s.status}
    assert ("dental_sitting", "shoulder_flexion_deg_left") in from_memory
    assert ("en1005_4", "neck_rotation_deg") in from_memory
    assert ("iso11226", "neck_flexion_deg") not in from_memory


def test_bands_with_a_gap_are_refused():
    bands = (Band("a", -math.inf, 10, 0), Band("b", 12, math.inf, 2))
    with pytest.raises(InputError, match="without gap"):
        LimitSet("rule", ANGLES[0], bands, "source", "status", is_headline=False)


def test_a_holding_line_written_from_memory_says_so():
    assert line_origin("upper_arm_elevation_deg_left").is_from_memory
    assert not line_origin("trunk_inclination_deg").is_from_memory
    assert line_origin("neck_flexion_deg") is None
