"""A neutral moment that is none, part by part; and what a session keeps of it."""

from dataclasses import replace

import numpy as np
import pytest

from ergo.app.analyse import evaluate_session
from ergo.app.workflow import judge_again, load_session
from ergo.errors import NotesError
from ergo.notes.notes import NeutralMoment, Notes
from ergo.posture.upright import refusal
from ergo.report.text.reasons import in_words
from ergo.report.text.recording_tables import moments_table, seen_table
from ergo.report.text.words import words
from ergo.storage.session_folder import write_session
from tests.posture.bodies import clip_timeline, posture_of, scenes, upright_then_work
from tests.posture.two_views import seen_by
from tests.session.two_phones import as_recording

MOMENT = NeutralMoment(time_s=1.0)
UPRIGHT = {
    "trunk_flexion_deg": 4.0,
    "trunk_side_bend_deg": -3.0,
    "head_inclination_deg": -6.0,
    "neck_rotation_deg": 8.0,
    "upper_arm_elevation_deg_left": 14.0,
    "upper_arm_elevation_deg_right": 19.0,
}


def refused(sd=3.0, **other):
    values = {name: np.full(10, value) for name, value in (UPRIGHT | other).items()}
    error = refusal(clip_timeline(np.arange(10) / 5), 0, MOMENT, posture_of(values, sd))
    return "" if error is None else str(error)


def test_who_sits_upright_is_not_refused():
    assert refused() == ""


@pytest.mark.parametrize(
    ("angle", "value", "part"),
    [
        ("trunk_flexion_deg", 31.0, "trunk is bent forward by 31° (26° to 36°)"),
        ("trunk_flexion_deg", -24.0, "trunk is bent backward by 24°"),
        ("trunk_side_bend_deg", 22.0, "trunk is bent sideways by 22°"),
        ("trunk_twist_deg", -30.0, "trunk is twisted by 30°"),
        ("head_inclination_deg", 35.0, "head is bent forward by 35°"),
        ("head_inclination_deg", -25.0, "head is bent backward by 25°"),
        ("neck_side_bend_deg", 28.0, "head is bent sideways by 28°"),
        ("neck_rotation_deg", -50.0, "head is turned by 50°"),
        ("upper_arm_elevation_deg_left", 60.0, "left upper arm is raised by 60°"),
        ("upper_arm_elevation_deg_right", 45.0, "right upper arm is raised by 45°"),
    ],
)
def test_the_part_that_is_not_neutral_is_named_with_its_angle(angle, value, part):
    said = refused(**{angle: value})
    assert part in said
    assert said.count(" by ") == 1  # no other part
    assert "clip 0:" in said
    assert "State a moment" in said
    german = in_words(said, words("de"))
    assert not any(word in german for word in ("The ", " by ", "State "))


def test_what_may_still_be_neutral_by_its_interval_is_not_refused():
    assert refused(sd=3.0, trunk_flexion_deg=18.0) == ""  # its 90 % interval goes down to 13
    assert refused(sd=12.0, trunk_flexion_deg=28.0) == ""
    assert "trunk" in refused(sd=3.0, trunk_flexion_deg=21.0)


def seen_clip():
    """A clip of the true scene: upright for 4 s, then at work."""
    clip, names = scenes()["clip"], scenes()["names"]
    points = upright_then_work()
    time_s = np.arange(len(points)) / 5
    view = seen_by(clip["camera"], names, points, time_s)
    own, camera = as_recording([view], ("a.mp4",)), view.camera
    stated = {"focal_px": camera.focal_px, "pitch_deg": camera.pitch_deg, "roll_deg": 0.0}
    return own, stated


def bad_moment(recording, stated):
    """The moment in which the trunk is bent the most."""
    bent = evaluate_session(recording, (Notes.model_validate({"camera": stated}),)).posture
    at = int(np.nanargmax(np.abs(bent.angle("head_inclination_deg"))))
    time_s = round(float(recording.timeline.time_s[at]), 1)
    return (Notes.model_validate({"camera": stated, "neutral": {"time_s": time_s}}),)


def test_a_bad_moment_is_refused_when_stated_and_doubted_when_stored(tmp_path):
    recording, stated = seen_clip()
    without = (Notes.model_validate({"camera": stated}),)
    notes = bad_moment(recording, stated)
    with pytest.raises(NotesError, match="not neutral"):
        evaluate_session(recording, notes)
    before = evaluate_session(recording, without)
    with pytest.raises(NotesError, match="not neutral"):
        judge_again(before, notes)
    # an earlier version stored it: the session opens, says so, and is measured without it
    write_session(replace(before, notes=notes), tmp_path)
    opened = load_session(tmp_path)
    np.testing.assert_allclose(opened.posture.value, before.posture.value, atol=0.01)
    assert "not neutral" in opened.moments_left_out["a.mp4"]
    assert opened.notes[0].neutral == notes[0].neutral
    remarks = seen_table(opened, words("en")).rows[0][-1]
    assert "The neutral moment was not used" in remarks
    # and other corrections are still possible
    other = (notes[0].model_copy(update={"operator_height_cm": 190.0}),)
    assert judge_again(opened, other).moments_left_out == opened.moments_left_out


def test_a_good_moment_changes_the_learned_angles_and_the_report_shows_how():
    recording, stated = seen_clip()
    before = evaluate_session(recording, (Notes.model_validate({"camera": stated}),))
    notes = (Notes.model_validate({"camera": stated, "neutral": {"time_s": 2.0}}),)
    after = evaluate_session(recording, notes)
    assert moments_table(before, words("en")) is None
    assert {each.angle for each in after.moments} >= {"head_inclination_deg", "neck_flexion_deg"}
    for each in after.moments:
        value, sd = after.posture.angle(each.angle), after.posture.angle_sd(each.angle)
        assert each.after == pytest.approx(np.nanmedian(value))
        assert each.sd_after == pytest.approx(np.nanmedian(sd))
        assert each.before != each.after
    table = moments_table(after, words("de"))
    assert table.rows[0][0] == "a.mp4, 0:02"
    assert len(table.rows) == len(after.moments)
    shown = next(
        row for row in table.rows if row[1] == words("de").name("angle", "neck_flexion_deg")
    )
    neck = next(each for each in after.moments if each.angle == "neck_flexion_deg")
    assert shown[2].startswith(f"{neck.before:.0f}°")
    assert shown[3].startswith(f"{neck.after:.0f}°")
