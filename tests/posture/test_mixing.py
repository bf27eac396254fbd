"""Angles mixed across 180 degrees, against turns mixed as directions in the plane."""

import numpy as np
import pytest

from ergo.notes.notes import Notes
from ergo.posture import estimate
from ergo.posture.angle_names import COLUMN, NAMES
from ergo.posture.learned.correction import Corrected
from ergo.posture.mixing import apart, mixed, mixed_variance
from ergo.posture.static_postures import find_holds, repetitions_per_minute
from tests.posture.bodies import clip_timeline, posture_of, scenes
from tests.posture.two_views import seen_by

FLEXION, RAISE = COLUMN["shoulder_flexion_deg_left"], COLUMN["shoulder_raise_mm_left"]


def row(value):
    return np.full((1, len(NAMES)), float(value))


@pytest.mark.parametrize(
    ("first", "second", "share", "expected"),
    [
        (170, -83, 0.1, -179.3),  # 107 degrees on by way of 180, not 253 back through 0
        (170, -170, 0.5, 180.0),
        (-160, 150, 0.25, -172.5),
        (20, 60, 0.75, 50.0),
        (-179, 179, 0.0, -179.0),
    ],
)
def test_angles_are_mixed_the_shorter_way_round(first, second, share, expected):
    found = mixed(row(first), row(second), row(share))[0, FLEXION]
    assert found == pytest.approx(expected)
    # what lies between on the circle is as far from both together as they are from each other
    arcs = abs(apart(row(found), row(first))) + abs(apart(row(second), row(found)))
    assert arcs[0, FLEXION] == pytest.approx(abs(apart(row(second), row(first)))[0, FLEXION])


def test_lengths_do_not_come_round():
    assert mixed(row(170), row(-170), row(0.5))[0, RAISE] == 0.0
    assert apart(row(-170), row(170))[0, [FLEXION, RAISE]].tolist() == [20.0, -340.0]


def test_what_has_no_share_may_be_unseen():
    nothing = row(np.nan)
    assert mixed(row(12), nothing, row(0))[0, FLEXION] == 12
    assert mixed(nothing, row(12), row(1))[0, FLEXION] == 12
    assert np.isnan(mixed(nothing, row(12), row(0.5))).all()
    assert mixed_variance(row(4), nothing, row(0), nothing)[0, 0] == 4


def test_what_two_disagree_by_is_uncertainty():
    # the variance of a draw that is one with probability .75, the other with .25
    numbers = np.random.default_rng(3)
    is_second = numbers.random(400_000) < 0.25
    drawn = np.where(is_second, numbers.normal(30, 4, 400_000), numbers.normal(10, 2, 400_000))
    found = mixed_variance(row(2.0**2), row(4.0**2), row(0.25), row(20))[0, 0]
    assert found == pytest.approx(drawn.var(), rel=0.01)


def test_an_arm_held_about_180_degrees_is_one_hold_of_its_true_mean():
    time_s = np.arange(60) / 5
    swaying = 179.0 + 3.0 * np.sin(time_s) + 0.5  # 176.5 to 182.5
    posture = posture_of({"shoulder_flexion_deg_left": (swaying + 180) % 360 - 180})
    (hold,) = find_holds(clip_timeline(time_s), posture, "shoulder_flexion_deg_left")
    assert (hold.first, hold.last) == (0, 59)
    true = np.trapezoid(swaying, time_s) / time_s[-1]
    assert hold.mean == pytest.approx(true)
    assert not np.nan_to_num(
        repetitions_per_minute(clip_timeline(time_s), posture, "shoulder_flexion_deg_left")
    ).any()


def test_who_neither_sits_nor_stands_is_mixed_the_shorter_way_round(monkeypatch):
    clip, names = scenes()["clip"], scenes()["names"]
    points = np.repeat([clip["frames"][0]["points_m"]], 5, axis=0)
    view = seen_by(clip["camera"], names, points, np.arange(5) * 0.2)

    def learned(points, *_):
        angles = np.full((len(points), len(NAMES)), -160.0)
        return Corrected(points, angles, np.full_like(angles, 5.0), np.ones_like(angles))

    monkeypatch.setattr(estimate, "corrected", learned)
    monkeypatch.setattr(estimate, "seated_share", lambda points, _: np.full(len(points), 0.4))
    monkeypatch.setattr(
        estimate, "body_angles", lambda points, _: np.full((len(points), len(NAMES)), 170.0)
    )
    seen = view.timeline, view.track, [view.camera], [Notes()]
    value = estimate.estimate_posture(*seen).angle("shoulder_flexion_deg_left")
    plain = estimate.estimate_posture(*seen, is_corrected=False)
    # two fifths of the 30 degrees from 170 by way of 180 to -160; the other way it would be 38
    assert value == pytest.approx(-178.0)
    assert plain.angle("shoulder_flexion_deg_left") == pytest.approx(170.0)
