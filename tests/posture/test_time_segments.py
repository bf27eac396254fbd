import numpy as np
import pytest

from ergo.posture.time_segments import clip_runs, seen_runs
from tests.posture.bodies import clip_timeline, stills_timeline


def spans(runs):
    return [(run.start, run.stop) for run in runs]


def test_each_clip_is_a_run_of_its_own():
    assert spans(clip_runs(clip_timeline(np.arange(5) / 5, np.arange(7) / 5))) == [(0, 5), (5, 12)]


def test_a_jump_in_time_ends_a_run():
    time_s = np.concatenate([np.arange(5) / 5, 10 + np.arange(5) / 5])
    assert spans(clip_runs(clip_timeline(time_s))) == [(0, 5), (5, 10)]


@pytest.mark.parametrize("rate_hz", [0.5, 1.0, 30.0])
def test_a_clip_is_one_run_at_any_rate_of_analysis_even_beside_a_faster_one(rate_hz):
    slow, usual = np.arange(10) / rate_hz, np.arange(200) / 5
    assert spans(clip_runs(clip_timeline(slow, usual))) == [(0, 10), (10, 210)]


def test_stills_and_no_frames_have_no_runs():
    assert clip_runs(stills_timeline(4)) == ()
    assert clip_runs(stills_timeline(0)) == ()


def test_a_run_is_seen_up_to_gaps_longer_than_the_bridge():
    timeline = clip_timeline(np.arange(20) / 5)
    (run,) = clip_runs(timeline)
    seen = np.ones(20, bool)
    seen[[0, 5, 6, 7]] = False  # 0.6 s
    assert spans(seen_runs(timeline, run, seen)) == [(1, 20)]
    seen[8] = False  # 0.8 s
    assert spans(seen_runs(timeline, run, seen)) == [(1, 5), (9, 20)]
    assert seen_runs(timeline, run, np.zeros(20, bool)) == ()
