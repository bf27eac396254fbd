"""What was measured of the place overrules what is guessed from joint angles.

Expected by hand from the printed requirements: the mouth at or slightly above the elbow, the
eyes 35 to 40 cm from it (Hokwerda et al. 2006), upper teeth from 11 to 12 o'clock.
"""

import numpy as np
import pytest

from ergo.advice.measured import chance_within
from tests.advice.test_rules import CASES, LEFT, NECK, RIGHT, TRUNK, advices, keys

ELBOW_DOWN = CASES["raise_patient"][0]
FOREARM_LEVEL = ELBOW_DOWN | {"elbow_flexion_deg_right": 100}


def height(metres, sd=0.03):
    return {"mouth_above_elbow_m": (metres, sd)}


def distance(metres, sd=0.03):
    return {"eye_to_mouth_m": (metres, sd)}


def test_a_patient_whose_mouth_was_measured_above_the_elbow_is_not_to_be_raised():
    assert "raise_patient" in keys(advices(ELBOW_DOWN))
    found = advices(ELBOW_DOWN, place=height(0.13))
    assert "raise_patient" not in keys(found)
    assert "raise_patient" not in found.untested
    assert all("raise_patient" not in each.others for each in found.given)


def test_a_mouth_surely_below_the_elbow_needs_no_guess_from_the_forearm():
    assert "raise_patient" not in keys(advices(FOREARM_LEVEL))
    assert "raise_patient" in keys(advices(FOREARM_LEVEL, place=height(-0.09)))
    assert "raise_patient" not in keys(advices(FOREARM_LEVEL, place=height(-0.02, sd=0.06)))
    assert "raise_patient" in keys(advices(ELBOW_DOWN, place=height(-0.02, sd=0.06)))


@pytest.mark.parametrize(
    ("key", "posture", "against", "fits"),
    [
        ("raise_and_come_closer", {NECK: 35, TRUNK: 15}, height(0.08), height(-0.08)),
        ("raise_and_come_closer", {NECK: 35, TRUNK: 15}, distance(0.25), distance(0.5)),
        ("see_from_upright", {NECK: 35, TRUNK: 30}, height(0.08), height(-0.08)),
        ("see_from_upright", {NECK: 35, TRUNK: 30}, distance(0.42), distance(0.27)),
        ("come_closer", {NECK: 10, TRUNK: 30}, distance(0.24), distance(0.48)),
        ("arm_reaches", {"shoulder_flexion_deg_left": 40}, distance(0.37), distance(0.45)),
        ("lower_patient", {LEFT: 30, RIGHT: 35}, height(-0.12), height(0.1)),
    ],
)
def test_a_rule_is_silent_where_the_contrary_was_measured(key, posture, against, fits):
    assert key in keys(advices(posture))
    assert key not in keys(advices(posture, place=against))
    assert key in keys(advices(posture, place=fits))


def test_what_is_more_likely_wrong_than_right_is_not_advised_though_angles_suggest_it():
    for above_m, is_silent in ((0.02, True), (-0.02, False)):
        found = keys(advices(ELBOW_DOWN, place=height(above_m, sd=0.08)))
        assert ("raise_patient" not in found) == is_silent


@pytest.mark.parametrize(
    ("place", "is_untested"),
    [(None, True), (distance(0.5), True), (height(-0.02, sd=0.06), False), (height(0.13), False)],
)
def test_a_rule_is_untested_only_where_neither_guess_nor_measurement_tells(place, is_untested):
    no_elbow_seen = {NECK: 35, TRUNK: 4}
    found = advices(no_elbow_seen, place=place)
    assert "raise_patient" not in keys(found)
    assert ("raise_patient" in found.untested) == is_untested


def test_a_rule_that_does_not_fit_the_place_is_not_told_as_untested():
    """Where the trunk was not seen, but the mouth was measured above the elbow."""
    found = advices({NECK: 35, "elbow_flexion_deg_right": 70}, place=height(0.13))
    assert "raise_patient" not in found.untested
    assert "raise_and_come_closer" not in found.untested


@pytest.mark.parametrize(
    ("key", "posture", "edge_m", "is_for_the_far"),
    [
        ("come_closer", {NECK: 10, TRUNK: 30}, 0.35, True),
        ("raise_and_come_closer", {NECK: 35, TRUNK: 15}, 0.35, True),
        ("arm_reaches", {"shoulder_flexion_deg_left": 40}, 0.40, True),
        ("see_from_upright", {NECK: 35, TRUNK: 30}, 0.35, False),
    ],
)
def test_the_distances_are_those_of_the_requirement(key, posture, edge_m, is_for_the_far):
    """35 to 40 cm: nearer needs no coming closer, farther no bringing away."""
    nearer, farther = (
        key in keys(advices(posture, place=distance(edge_m + step, sd=0.002)))
        for step in (-0.01, 0.01)
    )
    assert (nearer, farther) == (not is_for_the_far, is_for_the_far)


def test_the_measurement_comes_with_the_interval_of_one_frame():
    """1.645 sd are 90 % of a normal error; more frames of one set-up do not make it smaller."""
    (found,) = [
        each
        for each in advices(ELBOW_DOWN, place=height(-0.09, sd=0.02) | distance(0.5)).given
        if each.rule.key == "raise_patient"
    ]
    (measured,) = found.measured
    assert measured.name == "mouth_above_elbow_m"
    assert measured.value == pytest.approx(-0.09)
    assert (measured.low, measured.high) == pytest.approx((-0.1229, -0.0571), abs=1e-4)


def test_a_left_handed_seat_is_told_as_it_was_and_across_twelve():
    beside = {"neck_side_bend_deg": 15, "hours": 3.0}
    (found,) = [
        each
        for each in advices(beside, handed="left").given
        if each.rule.key == "round_the_clock_tilted"
    ]
    (seat,) = found.measured
    assert (seat.name, seat.value) == ("clock_hours", 3.0)
    assert seat.is_stated
    behind = {NECK: 35, "area": "upper left", "hours": 12.9}
    (seat,) = [
        each.measured[0]
        for each in advices(behind, handed="left").given
        if each.rule.key == "chin_up"
    ]
    assert seat.low == pytest.approx(12.9 - 1.645 * 0.2)
    assert seat.high == pytest.approx(1.229, abs=1e-3)


def test_without_a_hand_no_rule_reads_a_side_of_the_clock():
    assert "round_the_clock_tilted" not in keys(
        advices({"neck_side_bend_deg": 15, "hours": 9.0}, handed=None)
    )


def test_the_chance_of_a_seat_counts_round_the_dial():
    hours = np.array([12.0, 1.0, 12.5, 10.4, 6.0])
    found = chance_within(hours, np.full(5, 0.1), 10.5, 12.5)
    np.testing.assert_allclose(found, [1, 0, 0.5, 0.1587, 0], atol=1e-4)


@pytest.mark.parametrize(
    "area", ["upper left", "Upper Left", "OBEN LINKS", "Oberkiefer links", "OK links", "Sextant 3"]
)
def test_an_area_is_known_in_every_language_and_case(area):
    assert "chin_up_mirror" in keys(advices({NECK: 35, "area": area, "hours": 9.0}))


@pytest.mark.parametrize("area", ["unten links", "LOWER LEFT", "S6", "supper", "Oberfläche"])
def test_another_area_is_not_taken_for_upper_teeth(area):
    assert "chin_up_mirror" not in keys(advices({NECK: 35, "area": area, "hours": 9.0}))


def test_what_the_neck_is_to_bend_less_the_loupes_must_look_down_more():
    """The line of sight is 35 + 22 = 57 deg below the trunk's level; the neck is to stay at 25."""
    posture = {NECK: 35, TRUNK: 4, "loupes": 22.0}
    (found,) = [e for e in advices(posture).given if e.rule.key == "loupes_declination"]
    assert (found.declination.stated, found.declination.needed) == (22.0, 32.0)
    half = 1.645 * 0.5
    assert found.declination.low == pytest.approx(32 - half)
    assert found.declination.high == pytest.approx(32 + half)
    assert "loupes" not in keys(advices(posture)) + list(advices(posture).untested)
