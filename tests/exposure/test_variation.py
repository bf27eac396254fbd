import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ergo.exposure.limits import limit_set
from ergo.exposure.variation import STAY_EDGES_S, variation_of
from ergo.timeline import build_timeline
from tests.exposure.conftest import clip_of, written

NECK = limit_set("iso11226", "neck_flexion_deg")


def variation(session):
    return variation_of(session.timeline, session.posture, NECK)


def test_a_matrix_worked_out_by_hand(clip):
    # one frame a second: 2 s within, 5 s beyond, 1 s within, 40 s beyond
    value = [10] * 2 + [30] * 5 + [10] + [30] * 40
    found = variation(clip(np.arange(48), neck_flexion_deg=value))
    wanted = np.zeros((3, len(STAY_EDGES_S) - 1))
    wanted[1, 0], wanted[1, 1], wanted[2, 3], wanted[2, 6] = 1 / 48, 2 / 48, 5 / 48, 40 / 48
    assert found.share == pytest.approx(wanted)
    assert found.unjudged == pytest.approx(0)


@pytest.mark.parametrize(("seconds", "stay_class"), [(4, 2), (5, 3), (31, 5), (32, 6)])
def test_a_stay_on_an_edge_belongs_below_it(clip, seconds, stay_class):
    found = variation(clip(np.arange(seconds), neck_flexion_deg=30))
    assert np.flatnonzero(found.share[2]) == [stay_class]


def test_a_long_gap_ends_a_stay_and_a_short_one_does_not(clip):
    value = np.full(100, 30.0)
    value[50:52] = np.nan  # 0.4 s
    short = variation(clip(np.arange(100) / 5, neck_flexion_deg=value))
    value[50:60] = np.nan  # 2 s
    long = variation(clip(np.arange(100) / 5, neck_flexion_deg=value))
    assert np.flatnonzero(short.share[2]) == [5]
    assert np.flatnonzero(long.share[2]) == [4]
    assert (short.unjudged, long.unjudged) == (pytest.approx(0.02), pytest.approx(0.1))


def test_a_stay_never_runs_from_one_clip_into_the_next(on):
    timeline = build_timeline(("a", "b"), (np.arange(6.0), np.arange(6.0)), (True, True))
    found = variation(on(timeline, neck_flexion_deg=30))
    assert np.flatnonzero(found.share[2]) == [3]


def test_stills_have_no_stays(stills):
    found = variation(stills(3, neck_flexion_deg=30))
    assert found.unjudged == pytest.approx(1)


@given(st.lists(st.one_of(st.just(np.nan), st.floats(-40, 80)), min_size=2, max_size=60))
def test_the_matrix_sums_to_one_with_the_unjudged_share(values):
    found = variation(written(clip_of(np.arange(len(values)) / 2), neck_flexion_deg=values))
    assert found.share.sum() + found.unjudged == pytest.approx(1)
    assert np.all(found.share >= 0)
