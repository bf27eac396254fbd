import numpy as np
import pytest

from ergo.errors import InputError
from ergo.notes.notes import Notes
from ergo.scores.methods import METHODS, minutes_scored_differently, score_all
from ergo.scores.muscle_use import muscle_use
from ergo.timeline import Timeline


def held_session(posture_of, timeline_of, seconds):
    frames = seconds * 5 + 1
    return timeline_of(frames), posture_of(frames, neck_flexion_deg=22.0)


def test_every_method_scores_every_side_it_knows(posture_of, timeline_of):
    scores = score_all(timeline_of(3), posture_of(3), [Notes()], {})
    sides = [(score.method, score.side) for score in scores]
    assert len(set(sides)) == len(sides)
    assert {method for method, _ in sides} == set(METHODS)
    assert {("rula", "left"), ("rula", "right"), ("iso11226", "whole")} <= set(sides)


def test_each_score_says_which_readings_made_it(posture_of, timeline_of):
    scores = score_all(timeline_of(), posture_of(), [Notes()], {"static_after": "10min"})
    assert {s.reading["static_after"] for s in scores if s.method == "rula"} == {"10min"}


def test_an_unknown_reading_is_refused(posture_of, timeline_of):
    with pytest.raises(InputError, match="is not a reading"):
        score_all(timeline_of(), posture_of(), [Notes()], {"colour": "blue"})


def test_a_session_needs_one_notes_entry_per_source(posture_of, timeline_of):
    with pytest.raises(InputError, match="one entry per source"):
        score_all(timeline_of(), posture_of(), [], {})


def test_a_hold_of_more_than_a_minute_is_static_and_a_shorter_one_is_not(posture_of, timeline_of):
    for seconds, static in ((59, False), (61, True)):
        use = muscle_use(*held_session(posture_of, timeline_of, seconds), "1min")
        assert np.all(use["rula", "body"].is_static == static)


def test_ten_minutes_are_asked_of_rula_only(posture_of, timeline_of):
    use = muscle_use(*held_session(posture_of, timeline_of, 61), "10min")
    assert not np.any(use["rula", "body"].is_static)
    assert np.all(use["reba", "body"].is_static)


def test_more_than_four_swings_a_minute_are_repeated_work(posture_of, timeline_of):
    seconds = np.arange(600) / 5
    for per_minute, repeated in ((2, False), (8, True)):
        swing = 30 - 25 * np.cos(2 * np.pi * per_minute * seconds / 60)
        posture = posture_of(600, upper_arm_elevation_deg_left=swing)
        use = muscle_use(timeline_of(600), posture, "1min")
        assert bool(np.all(use["rula", "left"].is_repeated)) == repeated
        assert not np.any(use["rula", "right"].is_repeated)


def test_seconds_under_the_other_static_rule_are_counted(posture_of, timeline_of):
    timeline, posture = held_session(posture_of, timeline_of, 120)
    found = minutes_scored_differently(timeline, posture, [Notes()], {}, ["static_after"])
    assert [(d.method, d.side, d.used, d.other) for d in found] == [
        ("rula", "left", "1min", "10min"),
        ("rula", "right", "1min", "10min"),
    ]
    assert all(d.judged == pytest.approx(timeline.total) for d in found)
    assert all(d.score_differs == pytest.approx(timeline.total) for d in found)


def test_nothing_differs_where_no_score_depends_on_the_reading(posture_of, timeline_of):
    timeline, posture = timeline_of(5), posture_of(5)
    found = minutes_scored_differently(timeline, posture, [Notes()], {}, ["static_after"])
    assert [d.score_differs for d in found] == [0.0, 0.0]


def test_time_that_was_not_judged_does_not_count_as_different(posture_of, timeline_of):
    frames = 601
    arm = np.where(np.arange(frames) < 300, 10.0, np.nan)
    posture = posture_of(frames, neck_flexion_deg=22.0, shoulder_flexion_deg_left=arm)
    left, right = minutes_scored_differently(
        timeline_of(frames), posture, [Notes()], {}, ["static_after"]
    )
    assert left.score_differs == pytest.approx(60.0)
    assert right.score_differs == pytest.approx(frames / 5)


def test_differences_are_counted_from_the_reading_in_use(posture_of, timeline_of):
    found = minutes_scored_differently(
        timeline_of(),
        posture_of(),
        [Notes()],
        {"rula_table_a": "older-worksheet"},
        ["rula_table_a"],
    )
    assert {(d.used, d.other) for d in found} == {("older-worksheet", "version-1")}


def test_stills_have_no_muscle_use_and_say_so(posture_of):
    stills = Timeline(
        sources=("a.jpg", "b.jpg"),
        source_index=np.array([0, 1]),
        time_s=np.zeros(2),
        held=np.ones(2),
        is_still=np.ones(2, dtype=bool),
        unit="picture",
    )
    scores = score_all(stills, posture_of(2), [Notes(), Notes()], {})
    rula_left = next(s for s in scores if s.method == "rula")
    assert "muscle_use" in rula_left.assumed
    assert rula_left.additions["muscle_use_A"].tolist() == [0, 0]


def test_a_session_without_frames_has_empty_scores(posture_of, timeline_of):
    for score in score_all(timeline_of(0), posture_of(0), [Notes()], {}):
        assert len(score.score) == 0
        assert score.assumed == ()


def test_notes_belong_to_their_own_source(posture_of):
    timeline = Timeline(
        sources=("a.mp4", "b.mp4"),
        source_index=np.array([0, 0, 1, 1]),
        time_s=np.array([0.0, 0.2, 0.0, 0.2]),
        held=np.full(4, 0.2),
        is_still=np.zeros(4, dtype=bool),
        unit="second",
    )
    second = Notes.model_validate({"support": [{"feet": False}]})
    scores = score_all(timeline, posture_of(4), [Notes(), second], {})
    assert scores[0].steps["legs"].tolist() == [1, 1, 2, 2]


def test_options_asked_for_together_differ_as_each_does_alone(posture_of, timeline_of):
    timeline, posture = held_session(posture_of, timeline_of, 120)
    asked = ["static_after", "rula_table_a", "score_shown"]

    def differences(options):
        return minutes_scored_differently(timeline, posture, [Notes()], {}, options)

    alone = [each for option in asked for each in differences([option])]
    assert list(differences(asked)) == alone
    assert {each.option for each in alone} == set(asked)
