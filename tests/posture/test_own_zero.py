"""A person's own zero against Bayes' rule done by drawing, and in the learned path."""

from dataclasses import replace

import numpy as np
import pytest

from ergo.notes.notes import NeutralMoment, Notes
from ergo.posture.angle_names import ANGLES, COLUMN, NAMES
from ergo.posture.estimate import estimate_posture
from ergo.posture.own_zero import with_own_zero
from ergo.published_tables import rows
from tests.posture.bodies import scenes, upright_then_work
from tests.posture.two_views import seen_by

HEAD, NECK, ELBOW = (
    COLUMN[name] for name in ("head_inclination_deg", "neck_flexion_deg", "elbow_flexion_deg_left")
)
MOMENT = np.arange(4)


def told(offset, then_sd=5.0, work_sd=5.0, path="learned"):
    """Value and sd of angles at work, 30 deg against the average body, by a person's own zero."""
    average = np.full((10, len(NAMES)), 30.0)
    average[MOMENT] = offset
    variance = np.full_like(average, work_sd**2)
    variance[MOMENT] = then_sd**2
    value, var = with_own_zero(average, average - offset, variance, variance[MOMENT], MOMENT, path)
    return value[9], np.sqrt(var[9])


def row(angle, path="learned"):
    return next(
        r for r in rows("posture", "neutral_moment") if (r["angle"], r["path"]) == (angle, path)
    )


def test_the_zero_is_drawn_to_the_populations_as_bayes_rule_says():
    """Many drawn people; of those whose moment looked like this, what was their true angle?"""
    told_row = row("head_inclination_deg")
    people = min(float(told_row["between_sd"]) ** 2, float(told_row["most_share"]) * 25)
    alone = 25 - people + float(told_row["again_sd"]) ** 2
    numbers = np.random.default_rng(4)
    zero = numbers.normal(0, np.sqrt(people), 2_000_000)
    seen = zero + numbers.normal(0, np.sqrt(alone), len(zero))
    alike = np.abs(seen - 3.0) < 0.05
    at_work = 30 - zero[alike] + numbers.normal(0, np.sqrt(25 - people), alike.sum())
    value, sd = told(3.0)
    assert value[HEAD] == pytest.approx(at_work.mean(), abs=0.1)
    assert sd[HEAD] == pytest.approx(at_work.std(), rel=0.02)
    assert sd[HEAD] < 5.0


def test_an_offset_that_spreads_do_not_explain_counts_more():
    small, large = (30 - told(offset)[0][HEAD] for offset in (3.0, 20.0))
    assert small / 3.0 < 0.5
    assert large / 20.0 > 0.9
    assert told(20.0)[1][HEAD] > told(3.0)[1][HEAD]


def test_a_moment_seen_badly_counts_less_and_one_not_told_not_at_all():
    well, badly = (30 - told(6.0, then_sd=sd)[0][NECK] for sd in (3.0, 15.0))
    assert well > 2 * badly > 0
    value, sd = told(6.0, then_sd=np.inf)
    assert value[NECK] == 30.0
    assert sd[NECK] == 5.0


def test_what_is_not_relative_keeps_its_spread_and_the_average_zero_is_kept():
    value, sd = told(0.0)
    assert value[NECK] == 30.0
    assert sd[ELBOW] == 5.0
    is_relative = np.array([angle.is_relative for angle in ANGLES])
    assert (sd[is_relative] < 5.0).all()


def test_every_relative_angle_has_a_row_for_both_paths():
    stems = {a.name.removesuffix("_left").removesuffix("_right") for a in ANGLES if a.is_relative}
    for path in ("learned", "plain"):
        assert {r["angle"] for r in rows("posture", "neutral_moment") if r["path"] == path} == stems


def test_the_neutral_moment_of_a_person_whose_head_hangs_changes_the_learned_path():
    """The head is pitched by 12 deg in every frame, the neutral posture too: it means nothing."""
    clip, names = scenes()["clip"], scenes()["names"]
    points = upright_then_work()
    usual, hanging = (
        seen_by(clip["camera"], names, each, np.arange(len(points)) * 0.2)
        for each in (points, pitched_heads(points, names, 12.0))
    )
    notes = [Notes(neutral=NeutralMoment(time_s=2.0))]
    angle = [
        estimate_posture(view.timeline, view.track, [view.camera], stated).angle("neck_flexion_deg")
        for view, stated in ((usual, [Notes()]), (hanging, [Notes()]), (hanging, notes))
    ]
    work = slice(24, None)
    without, with_moment = (np.nanmean(np.abs(each - angle[0])[work]) for each in angle[1:])
    assert without > 5
    assert with_moment < 0.6 * without


def pitched_heads(points, names, deg):
    """Return world points whose heads are nodded forward about the ears."""
    from scipy.spatial.transform import Rotation

    moved = points.copy()
    head = [names.index(n) for n in ("nose_tip", "eye_outer_left", "eye_outer_right")]
    left, right = (points[:, names.index(f"tragus_{side}")] for side in ("left", "right"))
    across = (left - right) / np.linalg.norm(left - right, axis=1, keepdims=True)
    middle = (left + right)[:, None] / 2
    for frame, axis in enumerate(across):
        nod = Rotation.from_rotvec(axis * np.radians(deg))
        moved[frame, head] = nod.apply(points[frame, head] - middle[frame]) + middle[frame]
    return moved


@pytest.mark.parametrize("roll_deg", [8.0, -8.0])
def test_the_neutral_moment_levels_a_rolled_camera_the_right_way(roll_deg):
    """A camera turned by 8 deg as it is held, of which nothing is known; trunk upright, no lean."""
    from scipy.spatial.transform import Rotation

    from ergo.posture.neutral import level_cameras
    from ergo.posture.placing import camera_points

    from .bodies import camera_of, clip_timeline, perfect_track

    clip = scenes()["clip"]
    turned = dict(clip["camera"])
    roll = Rotation.from_euler("z", roll_deg, degrees=True).as_matrix()
    turned["R"], turned["t"] = roll @ np.array(turned["R"]), roll @ np.array(turned["t"])
    points = upright_then_work()
    track = perfect_track([turned] * len(points), points)
    true = camera_of({"camera": turned})
    assert abs(true.roll_deg) > 6  # the truth by the formulas of the camera notes
    assumed = replace(true, pitch_deg=0.0, roll_deg=0.0, level_origin="assumed", level_sd_deg=6.0)
    timeline = clip_timeline(np.arange(len(points)) * 0.2)
    notes = [Notes(neutral=NeutralMoment(time_s=2.0))]
    seen = camera_points(track, [assumed], timeline)
    (levelled,) = level_cameras(timeline, seen, [assumed], notes)
    assert levelled.roll_deg == pytest.approx(true.roll_deg, abs=2.0)
    assert levelled.pitch_deg == pytest.approx(true.pitch_deg, abs=4.0)
