from dataclasses import replace

import numpy as np
import pytest

from ergo.camera.camera import Camera, Level
from ergo.camera.level import fused
from ergo.errors import InputError, NotesError
from ergo.notes.notes import NeutralMoment, Notes
from ergo.posture.angle_names import ANGLES, COLUMN
from ergo.posture.estimate import estimate_posture
from ergo.posture.neutral import level_cameras, neutral_candidates
from ergo.posture.placing import camera_points, level_points
from ergo.posture.uncertainty import BRIDGED_SD_PER_S, usual_error, view_azimuth_deg
from tests.posture.bodies import (
    TRUE_FIELD,
    camera_of,
    clip_timeline,
    perfect_track,
    posture_of,
    scenes,
    stills_timeline,
    upright_then_work,
)
from tests.posture.two_views import seen_by


def still_clip(seconds=6.0, step_s=0.2):
    """The first picture of the true clip, held for some seconds."""
    clip = scenes()["clip"]
    time_s = np.arange(0, seconds, step_s)
    points = np.repeat([clip["frames"][0]["points_m"]], len(time_s), axis=0)
    track = perfect_track([clip["camera"]] * len(time_s), points)
    return clip, clip_timeline(time_s), track


def without(track, frames):
    picture, world = track.picture_px.copy(), track.world_m.copy()
    picture[frames], world[frames] = np.nan, np.nan
    return replace(track, picture_px=picture, world_m=world)


def neutral_clip():
    clip = scenes()["clip"]
    points = upright_then_work()
    track = perfect_track([clip["camera"]] * len(points), points)
    return clip, clip_timeline(np.arange(len(points)) * 0.2), track


MIDDLE = slice(30, None, 20)  # the middle of each held posture of ``neutral_clip``
NEUTRAL = Notes(neutral=NeutralMoment(time_s=1.0))


@pytest.mark.parametrize("name", ["trunk_flexion_deg", "head_inclination_deg"])
def test_a_clip_with_its_own_neutral_moment_comes_close_to_the_true_angles(name):
    clip, timeline, track = neutral_clip()
    true = np.array([frame["angles"][TRUE_FIELD[name]] for frame in clip["frames"]])
    without, with_moment = (
        estimate_posture(timeline, track, [camera_of(clip)], [notes], is_corrected=False)
        for notes in (Notes(), NEUTRAL)
    )
    off = [np.abs(each.angle(name)[MIDDLE] - true) for each in (without, with_moment)]
    assert np.isfinite(off).all()
    assert off[1].mean() < 0.4 * off[0].mean()
    assert (with_moment.angle_sd(name)[MIDDLE] < 0.9 * without.angle_sd(name)[MIDDLE]).all()


def test_what_is_not_relative_stays_as_it_is_in_a_neutral_moment():
    clip, timeline, track = neutral_clip()
    without, with_moment = (
        estimate_posture(timeline, track, [camera_of(clip)], [notes], is_corrected=False)
        for notes in (Notes(), NEUTRAL)
    )
    for angle in ANGLES:
        if not angle.is_relative and not angle.name.startswith("shoulder_"):
            np.testing.assert_allclose(
                with_moment.angle(angle.name), without.angle(angle.name), atol=1e-9
            )


def test_a_neutral_moment_levels_a_camera_of_unknown_level():
    clip, timeline, track = neutral_clip()
    tilted = camera_of(clip, pitch_deg=0.0, roll_deg=0.0, level_origin="assumed", level_sd_deg=6.0)
    points = camera_points(track, [tilted], timeline)
    (levelled,) = level_cameras(timeline, points, [tilted], [NEUTRAL])
    apart = np.degrees(np.arccos(np.clip(levelled.up @ camera_of(clip).up, -1, 1)))
    assert apart < 4.0  # the neutral mid-shoulder lies a little before the hips
    assert np.degrees(np.arccos(tilted.up @ camera_of(clip).up)) > apart
    assert levelled.level_origin == "neutral"
    assert levelled.level_sd_deg < tilted.level_sd_deg


def test_a_camera_of_known_level_is_hardly_turned_by_the_neutral_moment():
    clip, timeline, track = neutral_clip()
    camera = camera_of(clip)
    points = camera_points(track, [camera], timeline)
    (levelled,) = level_cameras(timeline, points, [camera], [NEUTRAL])
    assert levelled.level_origin == "notes"
    assert levelled.pitch_deg == pytest.approx(camera.pitch_deg, abs=0.5)
    assert levelled.level_sd_deg < camera.level_sd_deg
    marked = replace(camera, level_origin="set-up")
    assert level_cameras(timeline, points, [marked], [NEUTRAL]) == (marked,)


def test_edges_that_are_unsure_do_not_keep_a_neutral_moment_from_levelling():
    clip, timeline, track = neutral_clip()
    true = camera_of(clip)
    flat = camera_of(clip, pitch_deg=0.0, roll_deg=0.0, level_origin="assumed", level_sd_deg=6.0)
    wrong = Level(true.pitch_deg - 12.0, true.roll_deg, 9.0, 2.0, "room")
    told = fused(flat, wrong)
    points = camera_points(track, [told], timeline)
    (levelled,) = level_cameras(timeline, points, [told], [NEUTRAL])
    assert abs(levelled.pitch_deg - true.pitch_deg) < 6.0
    assert levelled.level_origin == "neutral"


@pytest.mark.parametrize(
    ("moment", "key"),
    [
        (NeutralMoment(time_s=500), "neutral.time_s"),
        (NeutralMoment(time_s=1, source="x"), "source"),
    ],
)
def test_a_neutral_moment_that_does_not_exist_is_refused(moment, key):
    clip, timeline, track = still_clip()
    with pytest.raises(NotesError, match=key):
        estimate_posture(timeline, track, [camera_of(clip)], [Notes(neutral=moment)])


def test_every_value_has_a_spread_and_every_unseen_one_has_none():
    clip, timeline, track = still_clip()
    track = without(track, slice(3, 12))
    posture = estimate_posture(timeline, track, [camera_of(clip)], [Notes()], is_corrected=False)
    assert np.array_equal(np.isnan(posture.value), np.isnan(posture.sd))
    assert (posture.sd[np.isfinite(posture.sd)] > 0).all()
    assert np.isnan(posture.value[4:11]).all()
    assert not posture.person_found[3:12].any()
    assert posture.person_found[12:].all()


def test_a_short_gap_is_bridged_marked_and_less_certain():
    clip, timeline, track = still_clip()
    posture = estimate_posture(
        timeline, without(track, [10, 11]), [camera_of(clip)], [Notes()], is_corrected=False
    )
    assert posture.is_bridged.nonzero()[0].tolist() == [10, 11]
    flexion, sd = posture.angle("trunk_flexion_deg"), posture.angle_sd("trunk_flexion_deg")
    assert flexion[10] == pytest.approx(flexion[5], abs=1e-6)
    assert sd[10] > sd[5]


@pytest.mark.parametrize("is_corrected", [False, True])
def test_a_bridged_frame_is_as_much_less_certain_as_it_is_far_from_what_was_seen(is_corrected):
    clip, names = scenes()["clip"], scenes()["names"]
    still = np.repeat([clip["frames"][0]["points_m"]], 30, axis=0)
    view = seen_by(clip["camera"], names, still, np.arange(30) * 0.2)
    gap = [10, 11, 12]  # 0.2, 0.4 and 0.2 s from what was seen
    joints = view.track.joint_px.copy()
    joints[gap] = np.nan
    track = replace(without(view.track, gap), joint_px=joints)
    posture = estimate_posture(
        view.timeline, track, [view.camera], [Notes()], is_corrected=is_corrected
    )
    added = BRIDGED_SD_PER_S * np.array([0.2, 0.4, 0.2])
    for name in ("trunk_flexion_deg", "neck_flexion_deg", "upper_arm_elevation_deg_left"):
        sd = posture.angle_sd(name)
        assert (sd[gap] > added).all()
        assert sd[11] ** 2 - sd[10] ** 2 == pytest.approx(added[1] ** 2 - added[0] ** 2, rel=0.02)
        if not is_corrected:  # else what was learned is not asked where no joint was seen
            assert sd[gap] ** 2 == pytest.approx(sd[20] ** 2 + added**2, rel=0.02)


def test_less_knowledge_of_the_camera_means_wider_intervals():
    clip, timeline, track = still_clip(2.0)
    known = camera_of(clip)
    assumed = Camera(known.width_px, known.height_px, known.focal_px, known.centre_px)
    narrow, wide = (
        estimate_posture(timeline, track, [camera], [Notes()], is_corrected=False).angle_sd(
            "trunk_inclination_deg"
        )
        for camera in (known, assumed)
    )
    assert (wide > narrow).all()


def test_an_angle_this_view_cannot_tell_is_not_given():
    clip, timeline, track = still_clip(2.0)
    posture = estimate_posture(timeline, track, [camera_of(clip)], [Notes()], is_corrected=False)
    assert np.isnan(posture.angle("wrist_flexion_deg_left")).all()
    assert np.isfinite(posture.angle("trunk_inclination_deg")).all()


def legs_straight_down(points, names):
    """The same bodies on straight legs; world points (frame, point, xyz), z up."""
    standing = np.array(points)
    for side in ("left", "right"):
        hip = standing[:, names.index(f"hip_{side}")]
        standing[:, names.index(f"knee_{side}")] = hip - [0, 0, 0.42]
        standing[:, names.index(f"ankle_{side}")] = hip - [0, 0, 0.84]
    return standing


def test_what_is_usual_for_seated_people_is_not_taken_off_who_stands():
    clip, names, column = scenes()["clip"], scenes()["names"], COLUMN["trunk_flexion_deg"]
    sitting = np.repeat([clip["frames"][0]["points_m"]], 20, axis=0)
    time_s = np.arange(20) * 0.2
    view = seen_by(clip["camera"], names, legs_straight_down(sitting, names), time_s)
    seen = view.timeline, view.track, [view.camera], [Notes()]
    told, plain = estimate_posture(*seen), estimate_posture(*seen, is_corrected=False)
    body = level_points(view.track, [view.camera], view.timeline)
    usual = usual_error(view_azimuth_deg(body), np.ones(20, bool))[:, column]
    assert np.abs(usual).min() > 3
    assert told.value[:, column] == pytest.approx(plain.value[:, column] + usual, abs=0.1)
    # no smaller than the depth of the trunk in standing people; and their zero
    wider = np.sqrt(plain.sd[:, column] ** 2 + np.maximum(usual**2, 8.5**2) + 5.0**2)
    assert told.sd[:, column] == pytest.approx(wider, abs=0.1)


def test_the_order_of_stills_does_not_matter():
    records = scenes()["stills"][:12]
    order = np.random.default_rng(0).permutation(len(records))
    first, second = (_stills_posture(chosen) for chosen in (records, [records[i] for i in order]))
    assert np.allclose(first.value[order], second.value, equal_nan=True)
    assert np.allclose(first.sd[order], second.sd, equal_nan=True)


def _stills_posture(records):
    track = perfect_track([r["camera"] for r in records], [r["points_m"] for r in records])
    cameras = [camera_of(record) for record in records]
    return estimate_posture(
        stills_timeline(len(records)), track, cameras, [Notes()] * len(records), is_corrected=False
    )


def test_mirroring_the_picture_swaps_the_sides():
    from ergo.landmarks.names import LANDMARKS

    record = scenes()["stills"][4]
    track = perfect_track([record["camera"]], [record["points_m"]])
    order = [LANDMARKS.index(_other(name)) for name in LANDMARKS]
    camera = camera_of(record)
    picture, world = track.picture_px[:, :, order].copy(), track.world_m[:, :, order].copy()
    picture[..., 0] = camera.width_px - picture[..., 0]
    world[..., 0] *= -1
    flipped = replace(track, picture_px=picture, world_m=world)
    mirror = replace(camera, roll_deg=-camera.roll_deg)
    there = estimate_posture(stills_timeline(1), track, [camera], [Notes()], is_corrected=False)
    back = estimate_posture(stills_timeline(1), flipped, [mirror], [Notes()], is_corrected=False)
    turned = {"trunk_side_bend_deg", "trunk_twist_deg", "neck_side_bend_deg", "neck_rotation_deg"}
    for angle in ANGLES:
        sign = -1 if angle.name in turned else 1
        column, other = COLUMN[angle.name], COLUMN[_other(angle.name)]
        assert np.allclose(back.value[0, other], sign * there.value[0, column], equal_nan=True)
        assert np.allclose(back.sd[0, other], there.sd[0, column], equal_nan=True)


def _other(name):
    swap = {"left": "right", "right": "left"}
    stem, _, side = name.rpartition("_")
    return f"{stem}_{swap[side]}" if side in swap else name


def test_frames_and_landmarks_must_match():
    clip, timeline, track = still_clip()
    with pytest.raises(InputError):
        estimate_posture(stills_timeline(3), track, [camera_of(clip)], [Notes()])


def test_no_frames_at_all_give_an_empty_track():
    _, _, track = still_clip()
    nothing = replace(
        track,
        picture_px=track.picture_px[:0],
        world_m=track.world_m[:0],
        visibility=track.visibility[:0],
        presence=track.presence[:0],
        identity=track.identity[:0],
    )
    posture = estimate_posture(stills_timeline(0), nothing, [], [], is_corrected=False)
    assert len(posture) == 0


def test_neutral_candidates_are_upright_still_and_apart():
    time_s = np.arange(0, 40, 0.2)
    lean = np.where(time_s < 20, 2.0, 40.0)
    lean[50:60] += np.linspace(0, 30, 10)  # moving, then at rest again
    names = ["trunk_inclination_deg", "head_inclination_deg"]
    found = neutral_candidates(posture_of(dict.fromkeys(names, lean)), clip_timeline(time_s))
    assert 1 <= len(found) <= 5
    assert all(source == "clip 0" and at < 20 for source, at in found)
    assert all(not 9.6 < at < 12.2 for _, at in found)
    times = sorted(at for _, at in found)
    assert all(step >= 10 for step in np.diff(times))


def test_nobody_upright_or_nobody_seen_gives_no_candidates():
    timeline = clip_timeline(np.arange(0, 10, 0.2))
    leaning = posture_of(
        {"trunk_inclination_deg": np.full(50, 40.0), "head_inclination_deg": np.full(50, 5.0)}
    )
    unseen = posture_of({"trunk_inclination_deg": np.full(50, np.nan)})
    assert neutral_candidates(leaning, timeline) == []
    assert neutral_candidates(unseen, timeline) == []
