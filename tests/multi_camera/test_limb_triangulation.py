"""Two views at once: limbs that both tell together, against the truth of a rendered clip."""

from dataclasses import replace

import numpy as np
import pytest

from ergo.multi_camera.limb_triangulation import ALONG, HEAD, crossed_posture, joined_body
from ergo.multi_camera.relative_camera_pose import Sight
from ergo.notes.notes import Notes
from ergo.posture.angle_names import COLUMN
from ergo.posture.body_points import POSITION, BodyPoints
from ergo.posture.estimate import estimate_posture
from ergo.posture.geometry import unit
from ergo.posture.joints import joint_points
from ergo.posture.limbs import limbs_of
from ergo.posture.placing import placed_body
from tests.posture.bodies import TRUE_FIELD, scenes
from tests.posture.two_views import camera_at, seen_by

# measured to C7, as the refined joints are
FIELD = TRUE_FIELD | {
    "trunk_inclination_deg": "trunk_inclination",
    "trunk_flexion_deg": "trunk_flexion",
    "trunk_side_bend_deg": "trunk_lateral",
}
REAR, SAME_SIDE, OPPOSITE = (-1.7, 2.15, 1.55), (1.0, 2.4, 1.5), (-2.3, -0.8, 1.45)


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


@pytest.mark.parametrize("name", ["trunk_twist_deg", "neck_rotation_deg"])
@pytest.mark.parametrize("place", [REAR, SAME_SIDE, OPPOSITE], ids=["rear", "beside", "opposite"])
def test_noisy_views_tell_more_together_than_the_better_one_alone(name, place):
    alone, together = [], []
    for seed in range(4):  # one draw alone tells little: .4 to 1.1 times the better view's error
        views = pair(1.0, place, seed)
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


def guesses():
    """A body that two cameras guess exactly, in common axes; they look at right angles."""
    points, _, frames = clip()
    body = perfect_body(points, frames)
    middle = (body.middle("hip") + body.middle("shoulder")) / 2
    here = body.xyz - middle[:, None]
    away = np.array([[0.0, 0.0, 3.0], [3.0, 0.0, 0.0]])
    return [Sight(here + each, 0.01 / np.linalg.norm(here + each, axis=-1)) for each in away]


def perfect_body(points, frames):
    found = seen_by(scenes()["clip"]["camera"], scenes()["names"], points, np.arange(len(frames)))
    hips_m = placed_body(found.track, [found.camera], found.timeline).hip_depth_m
    return joint_points(found.track, [found.camera], found.timeline, hips_m)[0]


def test_limbs_on_which_both_views_agree_stay_as_they_are():
    first, second = guesses()
    joined = joined_body(first, second)
    assert limbs_of(joined) == pytest.approx(limbs_of(BodyPoints(first.points)), abs=1e-9)


def test_a_view_counts_less_along_its_own_line_of_sight():
    """Gauss: of two guesses each counts by its inverse variance."""
    first, second = guesses()
    off = first.points.copy()
    ahead, beside = np.array([0.0, 0.0, 0.04]), np.array([0.04, 0.0, 0.0])
    left, right = POSITION["hip_left"], POSITION["hip_right"]
    hips = limbs_of(BodyPoints(first.points), ["hips"])[:, 0]
    for error, share in ((ahead, 1 / (1 + ALONG**2)), (beside, 1 / (1 + ALONG**-2))):
        off[:, left], off[:, right] = (
            first.points[:, left] + error / 2,
            first.points[:, right] - error / 2,
        )
        found = limbs_of(joined_body(Sight(off, first.sd), second), ["hips"])[:, 0]
        assert unit(found) == pytest.approx(unit(hips + share * error), abs=2e-3)


def test_how_far_away_a_view_guesses_the_whole_head_does_not_turn_it():
    first, second = guesses()
    away = first.points.copy()
    away[:, [POSITION[name] for name in HEAD]] += [0.0, 0.0, 0.06]
    names = ["ears", "gaze"]
    kept, moved = (
        limbs_of(joined_body(Sight(p, first.sd), second), names) for p in (first.points, away)
    )
    assert moved == pytest.approx(kept, abs=1e-9)


def test_a_limb_that_one_view_does_not_see_is_not_told():
    first, second = guesses()
    second.points[1, POSITION["ear_left"]] = np.nan
    joined = limbs_of(joined_body(first, second), ["ears", "hips"])
    assert np.isnan(joined[1, 0]).all()
    assert np.isfinite(joined[1, 1]).all()
    assert np.isfinite(np.delete(joined, 1, axis=0)).all()


def test_a_neutral_moment_is_what_relative_angles_are_read_against():
    first, second = pair()
    average = crossed_posture(first, second)
    frames = np.flatnonzero(first.timeline.time_s < first.timeline.time_s[0] + 1)
    own = crossed_posture(replace(first, neutral=frames), second)
    assert average.angle("neck_flexion_deg")[frames].min() > 5  # at work, not upright
    for name in ("neck_flexion_deg", "neck_rotation_deg", "trunk_twist_deg"):
        assert own.angle(name)[frames] == pytest.approx(0, abs=2)
        assert (own.angle_sd(name) < average.angle_sd(name)).all()
    level = "trunk_inclination_deg"  # against the vertical, whoever it is
    assert own.angle(level) == pytest.approx(average.angle(level))
