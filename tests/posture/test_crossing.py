"""Two views at once: where lines of sight cross, against the truth of a rendered clip."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from ergo.notes.notes import Notes
from ergo.posture.angle_names import COLUMN
from ergo.posture.crossing import Sight, Stand, crossed, crossed_posture
from ergo.posture.estimate import estimate_posture

from .bodies import TRUE_FIELD, scenes
from .two_views import camera_at, seen_by

# measured to C7, as the refined joints are
FIELD = TRUE_FIELD | {
    "trunk_inclination_deg": "trunk_inclination",
    "trunk_flexion_deg": "trunk_flexion",
    "trunk_side_bend_deg": "trunk_lateral",
}
REAR = (-1.7, 2.15, 1.55)


def clip():
    frames = scenes()["clip"]["frames"]
    return (
        np.array([frame["points_m"] for frame in frames]),
        np.array([frame["time_s"] for frame in frames]),
        frames,
    )


def pair(noise=0.0, place=REAR, seed=0, **facts):
    """The rendered clip's own camera and another one, on the same moments."""
    points, time_s, _ = clip()
    own = scenes()["clip"]["camera"]
    chance = np.random.default_rng(seed)
    return [
        seen_by(record, scenes()["names"], points, time_s, noise=noise, chance=chance, **facts)
        for record in (own, camera_at(place, like=own))
    ]


def errors(posture, name):
    true = np.array([frame["angles"][FIELD[name]] for frame in clip()[2]])
    return np.abs(posture.angle(name) - true)


@pytest.mark.parametrize(
    "name", ["trunk_inclination_deg", "trunk_side_bend_deg", "trunk_twist_deg"]
)
@pytest.mark.parametrize(
    ("facts", "most"),
    [({}, 1.0), ({"focal_px": 520.0, "focal_is_known": False}, 2.0)],
    ids=["lens known", "lens assumed"],
)
def test_perfect_lines_of_sight_give_the_true_angles(name, facts, most):
    found = crossed_posture(*pair(**facts))
    still = np.array([frame["state"] == "hold" for frame in clip()[2]])  # smoothing lags in moves
    assert np.median(errors(found, name)[still]) < most


@pytest.mark.parametrize("name", ["trunk_side_bend_deg", "neck_rotation_deg"])
def test_noisy_lines_of_sight_tell_more_than_the_better_view_alone(name):
    alone, together = [], []
    for seed in range(4):  # one draw alone tells little: .4 to 1.1 times the better view's error
        views = pair(1.0, seed=seed)
        found = [estimate_posture(v.timeline, v.track, [v.camera], [Notes()]) for v in views]
        alone.append(min(np.nanmean(errors(one, name)) for one in found))
        together.append(np.nanmean(errors(crossed_posture(*views), name)))
    assert np.mean(together) < 0.9 * np.mean(alone)


def test_the_intervals_hold_the_truth():
    held, sure = [], []
    for seed in range(4):
        found = crossed_posture(*pair(1.0, seed=seed))
        for name in ("trunk_flexion_deg", "trunk_side_bend_deg", "head_inclination_deg"):
            held.append(errors(found, name) < 1.645 * found.angle_sd(name))
            sure.append(found.angle_sd(name))
    assert np.mean(held) > 0.85
    assert np.nanmedian(sure) < 10


def test_a_later_start_is_allowed_for():
    first, second = pair()
    ahead = 3
    late = replace(
        second,
        timeline=_shifted(second.timeline, ahead),
        track=second.track.frames(np.arange(ahead, len(second.track))),
        start_s=float(second.timeline.time_s[ahead]),
    )
    found = crossed_posture(first, late)
    whole = crossed_posture(first, second)
    assert np.isnan(found.angle("trunk_flexion_deg")[:ahead]).all()
    assert found.angle("trunk_flexion_deg")[ahead + 3 :] == pytest.approx(
        whole.angle("trunk_flexion_deg")[ahead + 3 :], abs=1.0
    )


def _shifted(timeline, ahead):
    return replace(
        timeline,
        source_index=timeline.source_index[ahead:],
        time_s=timeline.time_s[ahead:] - timeline.time_s[ahead],
        held=timeline.held[ahead:],
        is_still=timeline.is_still[ahead:],
    )


def test_cameras_side_by_side_tell_no_depth():
    own = scenes()["clip"]["camera"]
    beside = np.array(own["position"]) + [0.05, 0.2, 0.0]
    assert crossed_posture(*pair(0.3, place=beside)) is None


def test_another_person_is_not_the_same_body():
    first, second = pair(1.0)
    backwards = second.track.frames(np.arange(len(second.track))[::-1])
    mirrored = backwards.joint_px.copy()
    mirrored[..., 0] = 640 - mirrored[..., 0]
    other = replace(second, track=replace(backwards, joint_px=mirrored))
    assert crossed_posture(first, other) is None


def test_lengths_are_not_told_because_the_cameras_distance_is_only_guessed():
    found = crossed_posture(*pair())
    assert np.isnan(found.value[:, COLUMN["shoulder_raise_mm_left"]]).all()


def test_lines_of_sight_meet_where_the_point_is():
    chance = np.random.default_rng(3)
    points = chance.uniform([-0.5, -0.5, 2.0], [0.5, 0.5, 3.0], (4, 5, 3))
    turn = Rotation.from_euler("yx", [80, 10], degrees=True).as_matrix()
    lens = np.array([-2.2, 0.1, 2.0])
    there = (points - lens) @ turn  # the second's own axes
    first, second = Sight(points, np.full((4, 5), 0.01)), Sight(there, np.full((4, 5), 0.02))
    second.points[1, 2] = np.nan
    met = crossed(first, second, Stand(turn, lens))
    expected = points.copy()
    expected[1, 2] = np.nan
    assert met == pytest.approx(expected, nan_ok=True)


def test_the_surer_line_of_sight_pulls_more():
    """Two lines a little apart: the point lies between them by their spreads at it."""
    first = Sight(np.array([[[0.0, 0.0, 2.0]]]), np.array([[0.01]]))
    second = Sight(np.array([[[0.0, 0.02, 2.0]]]), np.array([[0.02]]))  # 2 cm lower
    turn = Rotation.from_euler("y", -90, degrees=True).as_matrix()
    lens = np.array([2.0, 0.0, 2.0])  # looks to the left, at right angles to the first
    met = crossed(first, second, Stand(turn, lens))[0, 0]
    assert met == pytest.approx([0.0, 0.02 * 0.01**2 / (0.01**2 + 0.02**2), 2.0], abs=1e-4)
