"""Every rule one by one: it speaks where its conditions are met, and not where one is not."""

import re

import numpy as np
import pytest

from ergo.advice.advise import advise
from ergo.advice.rules import rule_from, rules
from ergo.exposure.limits import limit_set
from ergo.exposure.summary import exposure_of
from ergo.notes.notes import Notes, TaskSpan
from ergo.posture.angle_names import COLUMN, NAMES
from ergo.posture.posture_track import PostureTrack
from ergo.timeline import build_timeline
from ergo.workplace.clock_track import ClockTrack
from ergo.workplace.place_track import MEASURES, PlaceTrack

FRAMES, STEP_S = 600, 0.2
NECK, TRUNK = "neck_flexion_deg", "trunk_flexion_deg"
LEFT, RIGHT = "shoulder_abduction_deg_left", "shoulder_abduction_deg_right"

# Written from the wording of each rule, not from rules.toml: the posture that it describes,
# and changes of it after each of which it must be silent.
CASES = {
    "raise_patient": (
        {NECK: 35, TRUNK: 4, "elbow_flexion_deg_right": 70},
        [{NECK: 15}, {TRUNK: 25}, {"elbow_flexion_deg_right": 105}, {TRUNK: np.nan}],
    ),
    "loupes": ({NECK: 35, TRUNK: 4}, [{NECK: 15}, {TRUNK: 25}, {"loupes": 22.0}]),
    "loupes_declination": (
        {NECK: 35, TRUNK: 4, "loupes": 22.0},
        [{NECK: 15}, {TRUNK: 25}, {"loupes": None}],
    ),
    "chin_up_mirror": (
        {NECK: 35, "area": "upper left", "hours": 9.0},
        [{NECK: 15}, {"area": "lower left"}, {"hours": 12.0}, {"task": "Abdruck"}],
    ),
    "chin_up": (
        {NECK: 35, "area": "upper left", "hours": 12.0},
        [{NECK: 15}, {"area": "lower left"}, {"hours": 9.0}, {"hours": np.nan}],
    ),
    "raise_and_come_closer": ({NECK: 35, TRUNK: 15}, [{NECK: 15}, {TRUNK: 5}]),
    "come_closer": ({NECK: 10, TRUNK: 30}, [{NECK: 35}, {TRUNK: 15}]),
    "see_from_upright": ({NECK: 35, TRUNK: 30}, [{NECK: 10}, {TRUNK: 15}]),
    "lower_patient": ({LEFT: 30, RIGHT: 35}, [{LEFT: 10}, {RIGHT: 10}, {RIGHT: np.nan}]),
    "one_arm_raised": ({LEFT: 8, RIGHT: 35}, [{LEFT: 30}, {RIGHT: 10}, {LEFT: np.nan}]),
    "arm_reaches": ({"shoulder_flexion_deg_left": 40}, [{"shoulder_flexion_deg_left": 20}]),
    "round_the_clock_turned": (
        {"neck_rotation_deg": 50, "hours": 9.0},
        [{"neck_rotation_deg": 30}, {"hours": 11.0}, {"hours": np.nan}],
    ),
    "round_the_clock_tilted": (
        {"neck_side_bend_deg": -15, "hours": 9.0},
        [{"neck_side_bend_deg": -5}, {"hours": 11.5}],
    ),
    "turn_patients_head": ({"neck_side_bend_deg": 15}, [{"neck_side_bend_deg": 5}]),
    "light": (
        {"neck_side_bend_deg": 15, NECK: 35},
        [{"neck_side_bend_deg": 5}, {NECK: 15}],
    ),
    "sit_facing": ({"trunk_side_bend_deg": -25}, [{"trunk_side_bend_deg": -15}]),
    "turn_with_stool": ({"trunk_twist_deg": 20}, [{"trunk_twist_deg": 5}]),
    "micro_breaks": ({"trunk_inclination_deg": 50}, [{"trunk_inclination_deg": 10}]),
}
BROKEN = [(key, change) for key, (_, changes) in CASES.items() for change in changes]


def advices(posture, *, handed="right", share=1.0, place=None):
    """What is advised in two minutes, of which the posture fills a share; else all is upright.

    ``place``: value and sd of what was measured of the place, by name, in all frames.
    """
    posture = dict(posture)
    area, hours = posture.pop("area", None), posture.pop("hours", np.nan)
    task, loupes = posture.pop("task", None), posture.pop("loupes", None)
    timeline = build_timeline(("clip.mp4",), (np.arange(FRAMES) * STEP_S,), (True,))
    value = np.full((FRAMES, len(NAMES)), np.nan)
    for name, angle in posture.items():
        value[:, COLUMN[name]] = np.where(np.arange(FRAMES) < share * FRAMES, angle, 3.0)
    sd = np.where(np.isfinite(value), 0.5, np.nan)
    track = PostureTrack(value, sd, np.ones(FRAMES, bool), np.zeros(FRAMES, bool))
    clock = ClockTrack(
        np.full(FRAMES, hours),
        np.full(FRAMES, 0.2 + 0 * hours),
        ("not judged",) * FRAMES,
        "notes",
        (handed,),
    )
    tasks = (TaskSpan(mouth_area=area, task=task),) if area or task else ()
    notes = (Notes(handed=handed, tasks=tasks, loupes_declination_deg=loupes),)
    exposure = exposure_of(timeline, track, clock, (), notes)
    return advise(timeline, track, clock, notes, exposure, place=place_track(place))


def place_track(measured):
    if measured is None:
        return None
    unknown, nowhere = np.full(FRAMES, np.nan), np.full((FRAMES, 2), np.nan)
    pairs = {name: measured.get(name, (np.nan, np.nan)) for name in MEASURES}
    return PlaceTrack(
        *(nowhere,) * 4,
        hours=unknown,
        sd_hours=unknown,
        measured={name: np.full(FRAMES, value) for name, (value, _) in pairs.items()},
        measured_sd={name: np.full(FRAMES, sd) for name, (_, sd) in pairs.items()},
        knees_under=unknown,
        origins=("set-up",),
        is_moved=(False,),
        chair_length_m=(None,),
        chair_width_m=(None,),
    )


def keys(found):
    return [each.rule.key for each in found.given]


def test_there_is_a_case_for_every_rule():
    assert CASES.keys() == {rule.key for rule in rules()}


@pytest.mark.parametrize("key", CASES)
def test_a_rule_speaks_where_its_conditions_are_met(key):
    assert key in keys(advices(CASES[key][0]))


@pytest.mark.parametrize(("key", "change"), BROKEN)
def test_a_rule_is_silent_where_one_condition_is_not_met(key, change):
    assert key not in keys(advices(CASES[key][0] | change))


@pytest.mark.parametrize("key", CASES)
def test_nothing_is_advised_to_somebody_upright(key):
    upright = {name: 3 for name in CASES[key][0] if name in NAMES}
    assert advices(upright).given == ()


def test_a_left_handed_operator_at_three_is_read_as_a_right_handed_one_at_nine():
    tilted = {"neck_side_bend_deg": 15}
    assert "round_the_clock_tilted" in keys(advices(tilted | {"hours": 3.0}, handed="left"))
    assert "round_the_clock_tilted" not in keys(advices(tilted | {"hours": 9.0}, handed="left"))
    assert "round_the_clock_tilted" not in keys(advices(tilted | {"hours": 3.0}))


def test_the_time_that_a_rule_could_remove_is_that_of_the_frames_that_fit():
    (loupes,) = [
        each
        for each in advices({NECK: 35, TRUNK: 4}, share=0.25).given
        if each.rule.key == "loupes"
    ]
    assert loupes.removable.amount == pytest.approx(30.0)
    assert loupes.removable.low <= 30.0 <= loupes.removable.high
    assert loupes.of == pytest.approx(30.0)
    assert loupes.typical == 35


def test_holds_count_only_what_goes_past_the_line():
    (breaks,) = advices({"trunk_inclination_deg": 50}).given
    line_s = 60.0  # by the straight line of ISO 11226 from 20 deg, 4 min to 60 deg, 1 min: 1.75 min
    assert breaks.removable.amount == pytest.approx(120 - 1.75 * line_s, abs=2 * STEP_S)


def test_what_could_remove_most_strained_time_comes_first():
    amounts = [
        each.removable.amount
        for each in advices({NECK: 35, TRUNK: 15, LEFT: 30, RIGHT: 35, "area": "upper"}).given
    ]
    assert amounts == sorted(amounts, reverse=True)
    assert len(amounts) >= 4


def test_explanations_of_the_same_time_name_each_other():
    others = {
        each.rule.key: set(each.others)
        for each in advices(
            {NECK: 35, TRUNK: 4, "elbow_flexion_deg_left": 70, LEFT: 35, RIGHT: 5}
        ).given
    }
    assert others["raise_patient"] == {"loupes"}
    assert others["loupes"] == {"raise_patient"}
    assert others["one_arm_raised"] == set()


def test_a_rule_whose_conditions_were_never_seen_is_told_as_untested():
    found = advices({NECK: 35})
    assert {"raise_patient", "loupes", "chin_up_mirror"} <= set(found.untested)
    assert "come_closer" not in found.untested


def test_a_moment_is_not_worth_advice():
    assert advices({NECK: 35, TRUNK: 4}, share=0.015).given == ()


@pytest.mark.parametrize("rule", rules(), ids=lambda rule: rule.key)
def test_a_rule_names_its_source_and_how_far_it_was_checked(rule):
    assert len(rule.source) > 20
    assert re.search("memory|verified|practice|ours", rule.status)
    assert (rule.evidence == "practice") == ("no source" in rule.status)


@pytest.mark.parametrize("rule", rules(), ids=lambda rule: rule.key)
def test_a_rule_refers_to_limits_that_exist_and_states_one_thing_of_an_angle(rule):
    stems = {name.removesuffix("_left").removesuffix("_right") for name in NAMES}
    assert rule.holds != bool(rule.angle)
    for each in rule.while_:
        assert each.angle in stems
        stated = [each.beyond, each.outside, each.within, each.at_most == each.at_most]
        assert sum(map(bool, stated)) == 1
        for limit in filter(None, (each.beyond, each.outside, each.within)):
            sides = [name for name in NAMES if name.startswith(each.angle)]
            assert all(limit_set(limit, name) for name in sides)


def test_an_unknown_word_in_a_rule_is_refused():
    with pytest.raises(TypeError, match="weather"):
        rule_from({"key": "x", "evidence": "practice", "source": "", "status": "", "weather": 1})
