import math

import numpy as np
import pytest

from ergo.exposure.summary import episode_rows
from ergo.notes.notes import Notes, TaskSpan
from ergo.timeline import build_timeline

NECK = ("iso11226", "neck_flexion_deg")


def every_fifth(seconds):
    return np.arange(0, seconds, 0.2)


def test_a_still_posture_is_one_hold_with_its_length_place_and_task(clip):
    time_s = every_fifth(200)
    value = np.where(time_s < 100, 40.0, 5.0 + 30 * (np.arange(len(time_s)) % 2))
    notes = [Notes(tasks=(TaskSpan(task="scaling"),))]
    session = clip(time_s, hours=10.8, notes=notes, trunk_inclination_deg=value)
    (hold,) = session.exposure().holds
    assert (hold.start_s, hold.length_s) == (0, pytest.approx(99.8, abs=0.25))
    assert (hold.mean, hold.clock_hour, hold.task) == (pytest.approx(40), 11, "scaling")
    assert hold.strain == 1


@pytest.mark.parametrize(("seconds", "is_beyond"), [(140, False), (160, True)])
def test_a_hold_is_measured_against_the_line_of_iso_11226(clip, seconds, is_beyond):
    # trunk at 40 degrees: at most 2:30, read in [iso11226-page-be]
    time_s = every_fifth(seconds)
    (hold,) = clip(time_s, trunk_inclination_deg=np.full(len(time_s), 40.0)).exposure().holds
    assert hold.limit_s == pytest.approx(150)
    assert hold.is_beyond_line is is_beyond
    assert hold.beyond_probability == pytest.approx(float(is_beyond), abs=0.01)


def test_doubt_about_the_angle_is_doubt_about_passing_the_line(clip):
    time_s = every_fifth(150)
    value = np.full(len(time_s), 40.0)
    (hold,) = clip(time_s, sd=8.0, trunk_inclination_deg=value).exposure().holds
    assert hold.beyond_probability == pytest.approx(0.5, abs=0.05)


def test_the_standard_draws_no_holding_line_for_the_neck(clip):
    time_s = every_fifth(60)
    (hold,) = clip(time_s, neck_flexion_deg=np.full(len(time_s), 40.0)).exposure().holds
    assert (hold.limit_s, hold.is_beyond_line, hold.strain) == (None, None, 2)
    assert math.isnan(hold.beyond_probability)


def test_rest_runs_from_a_hold_to_the_next_strained_one(clip):
    time_s = every_fifth(90)
    value = np.select([time_s < 30, time_s < 60], [40.0, 5.0], 50.0)
    first, rest, last = clip(time_s, trunk_inclination_deg=value).exposure().holds
    assert (first.strain, rest.strain, last.strain) == (1, 0, 1)
    assert first.rest_after_s == pytest.approx(60 - 29.8, abs=0.01)
    assert math.isnan(last.rest_after_s)


def test_the_longest_hold_is_the_longest_strained_one(clip):
    time_s = every_fifth(100)
    value = np.select([time_s < 60, time_s < 80], [5.0, 30.0], 50.0)
    exposure = clip(time_s, trunk_inclination_deg=value).exposure()
    assert exposure.longest_hold.start_s == pytest.approx(60)


def test_stills_have_no_holds_and_count_as_pictures(stills, limits_in):
    exposure = stills(4, neck_flexion_deg=[30, 30, 30, 10]).exposure()
    assert (exposure.unit, exposure.total, exposure.holds) == ("picture", 4, ())
    assert limits_in(exposure, *NECK).beyond.amount == 3


def test_stills_beside_a_clip_stand_for_no_time(on, limits_in):
    timeline = build_timeline(("a.jpg", "b.mp4"), (np.zeros(1), np.arange(4.0)), (False, True))
    exposure = on(timeline, neck_flexion_deg=[60, 10, 10, 30, 30]).exposure()
    assert exposure.total == pytest.approx(4)
    assert limits_in(exposure, *NECK).beyond.share == pytest.approx(0.5)


def test_tasks_of_stills_beside_a_clip_make_no_group_of_no_time(on):
    timeline = build_timeline(("a.jpg", "b.mp4"), (np.zeros(1), np.arange(4.0)), (False, True))
    notes = [Notes(tasks=(TaskSpan(task=task),)) for task in ("filling", "scaling")]
    groups = on(timeline, notes=notes, neck_flexion_deg=10).exposure().by_task
    assert [(group.name, group.held.share) for group in groups] == [("scaling", 1)]


@pytest.mark.parametrize(("sd", "strain"), [(5.0, 0), (1.0, 1)])
def test_a_hold_counts_as_backward_only_if_surely_so(clip, sd, strain):
    time_s = every_fifth(20)
    value = np.full(len(time_s), -3.0)
    (hold,) = clip(time_s, sd=sd, head_inclination_deg=value).exposure().holds
    assert hold.strain == strain


def test_when_nothing_was_seen_everything_is_unjudged(clip):
    exposure = clip(np.arange(5)).exposure()
    assert exposure.seen.share == 0
    assert all(each.unjudged.share == pytest.approx(1) for each in exposure.limits)
    assert exposure.percentiles == ()
    assert [fact.key for fact in exposure.first_three] == ["too_little_seen"]


def test_a_single_still_is_summed_up(stills, limits_in):
    beyond = limits_in(stills(1, sd=5.0, neck_flexion_deg=[26]).exposure(), *NECK).beyond
    assert (beyond.share, beyond.low, beyond.high) == (1, 0, 1)


def test_a_session_without_frames_has_no_shares(on):
    timeline = build_timeline((), (), ())
    exposure = on(timeline, notes=()).exposure()
    assert exposure.total == 0
    assert all(math.isnan(each.beyond.share) for each in exposure.limits)
    assert exposure.worst_moments == ()


def test_the_first_fact_names_limit_time_hour_hold_and_trunk(clip):
    time_s = every_fifth(100)
    bent = time_s < 70
    session = clip(
        time_s,
        sd=1.0,
        hours=np.where(time_s < 60, 9.0, 11.0),
        neck_flexion_deg=np.where(bent, 35.0, 5.0),
        trunk_flexion_deg=np.full(len(time_s), 4.0),
    )
    fact = session.exposure().first_three[0]
    assert (fact.key, fact.angle.name, fact.limit) == ("beyond_limit", "neck_flexion_deg", 25)
    assert fact.beyond.amount == pytest.approx(70, abs=0.3)
    assert fact.judged == pytest.approx(100, abs=0.3)
    assert fact.longest.length_s == pytest.approx(69.8, abs=0.3)
    assert (fact.clock_hour, fact.clock_share) == (9, pytest.approx(6 / 7, abs=0.01))
    assert (fact.while_key, fact.while_share) == ("trunk_upright", pytest.approx(1))


def test_what_is_surely_beyond_comes_before_what_may_be(clip):
    time_s = np.arange(50.0)
    session = clip(
        time_s,
        neck_flexion_deg=np.full(50, 40.0),
        trunk_flexion_deg=np.where(time_s < 40, 30.0, 5.0),
        shoulder_abduction_deg_left=np.where(time_s < 20, 30.0, 5.0),
        shoulder_abduction_deg_right=np.where(time_s < 30, 30.0, 5.0),
    )
    facts = session.exposure().first_three
    assert [fact.angle.name for fact in facts] == [
        "neck_flexion_deg",
        "trunk_flexion_deg",
        "shoulder_abduction_deg_right",
    ]


def test_a_hold_past_its_line_is_among_the_three(clip):
    time_s = every_fifth(200)
    session = clip(
        time_s,
        trunk_inclination_deg=np.full(len(time_s), 50.0),
        trunk_flexion_deg=np.full(len(time_s), 5.0),
        neck_flexion_deg=np.full(len(time_s), 5.0),
    )
    (fact,) = session.exposure().first_three
    assert (fact.key, fact.longest.limit_s) == ("long_hold", pytest.approx(105))


def test_a_session_within_all_limits_says_so(clip):
    facts = clip(np.arange(9), neck_flexion_deg=5, trunk_flexion_deg=5).exposure().first_three
    assert [fact.key for fact in facts] == ["nothing_beyond"]


def test_a_neck_that_could_hardly_be_judged_is_told_first(clip):
    neck = [np.nan] * 6 + [30] * 4
    facts = clip(np.arange(10), neck_flexion_deg=neck, trunk_flexion_deg=5).exposure().first_three
    assert [fact.key for fact in facts] == ["too_little_seen", "beyond_limit"]
    assert facts[0].beyond.share == pytest.approx(0.6)


def test_worst_moments_lie_apart_in_time_and_worst_first(clip):
    time_s = np.arange(60.0)
    value = np.full(60, 10.0)
    value[[10, 12, 40]] = [60, 70, 50]
    moments = clip(time_s, sd=1.0, neck_flexion_deg=value).exposure().worst_moments
    assert [moment.time_s for moment in moments] == [12, 40]
    assert moments[0].reason == "neck_flexion_deg"
    assert moments[0].values == {"neck_flexion_deg": 70}


def test_a_doubtful_angle_is_not_taken_for_a_bad_moment(clip):
    assert clip(np.arange(9), sd=8.0, neck_flexion_deg=30).exposure().worst_moments == ()


def test_side_bend_to_the_left_counts_like_one_to_the_right(clip):
    moments = clip(np.arange(3), neck_side_bend_deg=[-40, 0, 0]).exposure().worst_moments
    assert [moment.reason for moment in moments] == ["neck_side_bend_deg"]


def test_episodes_are_one_row_per_hold_and_say_nothing_where_no_limit_applies(clip):
    time_s = every_fifth(20)
    header, rows = episode_rows(clip(time_s, neck_flexion_deg=np.full(100, 5.0)).exposure())
    (row,) = [dict(zip(header, cells, strict=True)) for cells in rows]
    assert (row["source"], row["angle"], row["strain"]) == ("clip.mp4", "neck_flexion_deg", 0)
    assert row["limit_s"] is None
    assert row["rest_after_s"] is None
