"""Several cameras, one session: laid side by side, judged as one, stored and read back."""

from dataclasses import fields, replace

import numpy as np
import pytest

from ergo.app.analyse import evaluate_session
from ergo.app.workflow import load_session, rescore_session
from ergo.errors import NotTogether
from ergo.frames.frame import SourceFacts
from ergo.landmarks.pose_track import PoseTrack
from ergo.notes.notes import NeutralMoment, Notes
from ergo.session.several_cameras import (
    check_can_be_together,
    frames_of_secondary,
    merged_cameras,
    notes_of_views,
    one_after_the_other,
    with_notes_of_secondary,
)
from ergo.storage.session_folder import read_session, write_session
from tests.frames.sound_making import SOUND_HZ, clip_with_sound
from tests.posture.bodies import camera_of, scenes
from tests.posture.two_views import camera_at
from tests.session.two_phones import NAMES, REAR, STARTED_LATER_S, recording

NOTHING = (Notes(), Notes())
SMALL = 0.3


def notes_of_cameras():
    """Notes that state lens and level of both cameras."""
    own = scenes()["clip"]["camera"]
    cameras = [camera_of({"camera": c}) for c in (own, camera_at(REAR, like=own))]
    return tuple(
        Notes.model_validate(
            {
                "camera": {
                    "focal_px": c.focal_px,
                    "pitch_deg": c.pitch_deg,
                    "roll_deg": c.roll_deg,
                }
            }
        )
        for c in cameras
    )


def same_tracks(one: PoseTrack, other: PoseTrack) -> bool:
    values = [(getattr(one, f.name), getattr(other, f.name)) for f in fields(PoseTrack)]
    return all(
        np.array_equal(a, b, equal_nan=True) if isinstance(a, np.ndarray) else a == b
        for a, b in values
    )


def chatter(seconds, seed=3):
    """Bursts of noise of changing loudness, like talk."""
    chance = np.random.default_rng(seed)
    loud = np.repeat(np.exp(chance.normal(-3, 1.5, int(seconds * 8))), SOUND_HZ // 8)
    return np.clip(loud * chance.normal(size=len(loud)) * 0.3, -1, 1)


@pytest.mark.parametrize("noise", [SMALL, 1.0])
def test_without_sound_movement_tells_when_the_second_clip_began_and_how_surely(noise):
    beside = merged_cameras(recording(noise=noise), NOTHING).beside[0]
    assert beside.start.origin == "movement"
    assert beside.start.offset_s == pytest.approx(STARTED_LATER_S, abs=0.2)
    assert 0.5 < beside.start.likeness <= 1


def test_sound_goes_before_movement(tmp_path):
    talk = chatter(22)
    for name, from_s in zip(NAMES, (0.0, 3.3), strict=True):
        clip_with_sound(tmp_path / name, talk[round(from_s * SOUND_HZ) :][: 18 * SOUND_HZ])
    beside = merged_cameras(recording(tmp_path, noise=SMALL), NOTHING).beside[0]
    assert beside.start.origin == "sound"
    assert beside.start.offset_s == pytest.approx(3.3, abs=1 / 30)


def test_a_start_in_the_notes_goes_before_both():
    start = merged_cameras(recording(), (Notes(), Notes(begins_s=-4.5))).beside[0].start
    assert (start.origin, start.offset_s) == ("notes", -4.5)


def test_clips_with_nothing_in_common_are_refused_with_what_is_missing_and_what_to_do(tmp_path):
    still = recording(tmp_path)
    picture = still.tracks["operator"].picture_px
    picture[still.timeline.frames_of(1)] = picture[still.timeline.frames_of(1)[0]]
    with pytest.raises(NotTogether) as caught:
        merged_cameras(still, NOTHING)
    assert str(caught.value) == (
        "rear.mp4: cannot be laid beside side.mp4: side.mp4 has no sound, and the operator's "
        "movements in both have too little in common. Film at least half a minute with both at "
        "once, and clap once at the start; or state begins_s in rear.toml."
    )
    assert caught.value.exit_code == 3


@pytest.mark.parametrize("begins_s", [40.0, -30.0])
def test_a_start_outside_the_first_clip_is_refused(begins_s):
    with pytest.raises(NotTogether, match=r"rear\.mp4: .* began at .* which is outside it"):
        merged_cameras(recording(), (Notes(), Notes(begins_s=begins_s)))


def test_one_recording_or_a_still_cannot_be_together():
    clip, other = recording().sources
    still = replace(other, name="a.jpg", kind="still")
    check_can_be_together([clip, other])
    with pytest.raises(NotTogether, match=r"^side\.mp4: is the only recording"):
        check_can_be_together([clip])
    with pytest.raises(NotTogether, match=r"^a\.jpg: is a still"):
        check_can_be_together([clip, still])


def test_laying_clips_together_loses_nothing():
    whole = recording(noise=SMALL)
    again = one_after_the_other(merged_cameras(whole, NOTHING))
    assert again.sources == whole.sources
    assert again.damage == whole.damage
    assert np.array_equal(again.number, whole.number)
    assert np.array_equal(again.timeline.time_s, whole.timeline.time_s)
    assert again.tracks.keys() == whole.tracks.keys()
    assert all(same_tracks(again.tracks[role], whole.tracks[role]) for role in whole.tracks)


def test_a_joined_session_is_stored_and_read_back_without_loss(tmp_path):
    laid = merged_cameras(recording(noise=SMALL), (Notes(), Notes(handed="left")))
    write_session(evaluate_session(laid, (Notes(),)), tmp_path)
    stored = read_session(tmp_path).recording
    before, after = laid.beside[0], stored.beside[0]
    assert after.notes == before.notes
    assert after.start.offset_s == pytest.approx(before.start.offset_s, abs=1e-6)
    assert after.start.origin == before.start.origin
    assert [facts.name for facts in stored.sources] == [NAMES[0]]
    assert set(after.recording.tracks) == {"operator"}
    joints = before.recording.tracks["operator"].joint_px
    assert np.array_equal(after.recording.tracks["operator"].joint_px, np.float32(joints))
    assert set(stored.tracks) == {"operator", "patient"}


def test_an_unknown_likeness_is_read_back_as_unknown(tmp_path):
    laid = merged_cameras(recording(), (Notes(), Notes(begins_s=2.6)))
    write_session(evaluate_session(laid, (Notes(),)), tmp_path)
    start = read_session(tmp_path).recording.beside[0].start
    assert np.isnan([start.likeness, start.halves_apart_s]).all()


def test_judging_joins_the_views_and_says_which_counted():
    laid = merged_cameras(recording(noise=1.0), notes_of_cameras())
    session = evaluate_session(laid, notes_of_cameras()[:1])
    alone = evaluate_session(replace(laid, beside=()), notes_of_cameras()[:1])
    assert alone.joined is None
    assert len(session.posture) == len(alone.posture)
    assert session.joined.names == NAMES
    assert {0, 1, 2} >= set(np.unique(session.joined.counted)) - {-1}
    assert (session.joined.counted == 2).any()
    both = session.posture.angle_sd("trunk_flexion_deg")[20:80]
    one = alone.posture.angle_sd("trunk_flexion_deg")[20:80]
    assert np.mean(both < one) > 0.95  # less sure only where the views contradict each other


def test_what_only_the_first_camera_filmed_is_measured_by_it_alone():
    laid = merged_cameras(recording(noise=SMALL), NOTHING)
    session, alone = (
        evaluate_session(laid, (Notes(),)),
        evaluate_session(replace(laid, beside=()), (Notes(),)),
    )
    before = session.recording.timeline.time_s < STARTED_LATER_S - 0.3
    assert session.posture.value[before] == pytest.approx(alone.posture.value[before], nan_ok=True)


def test_scoring_again_with_another_start_moves_the_second_clip(tmp_path):
    for name in NAMES:
        (tmp_path / name).write_text(f"what {name} showed")
    laid = merged_cameras(recording(tmp_path, noise=SMALL), (Notes(), Notes(begins_s=2.0)))
    (tmp_path / "out").mkdir()
    write_session(evaluate_session(laid, (Notes(),)), tmp_path / "out")
    (tmp_path / "rear.toml").write_text("begins_s = 1.0\n")
    rescore_session(tmp_path / "out")
    assert load_session(tmp_path / "out").recording.beside[0].start.offset_s == 1.0


def test_a_start_taken_out_of_the_notes_is_looked_for_again():
    laid = merged_cameras(recording(noise=SMALL), (Notes(), Notes(begins_s=1.0)))
    again = with_notes_of_secondary(laid, (Notes(),))
    assert again.beside[0].start.origin == "movement"
    assert again.beside[0].start.offset_s == pytest.approx(STARTED_LATER_S, abs=0.2)


@pytest.mark.parametrize(
    ("stated", "expected"),
    [
        ((Notes(neutral=NeutralMoment(time_s=5.0)), Notes()), (5.0, 2.0)),
        ((Notes(), Notes(neutral=NeutralMoment(time_s=5.0))), (8.0, 5.0)),
        ((Notes(neutral=NeutralMoment(time_s=5.0, source=NAMES[1])), Notes()), (8.0, 5.0)),
        ((Notes(neutral=NeutralMoment(time_s=1.0)), Notes()), (1.0, None)),
        ((Notes(), Notes()), (None, None)),
    ],
)
def test_one_neutral_moment_serves_all_views_that_filmed_it(stated, expected):
    second = stated[1].model_copy(update={"begins_s": 3.0})
    laid = merged_cameras(recording(), (stated[0], second))
    of_views = [notes[0].neutral for notes in notes_of_views(laid, stated[:1])]
    assert tuple(None if each is None else each.time_s for each in of_views) == expected


def test_every_moment_is_found_in_the_other_clip_or_said_not_to_be_there():
    laid = merged_cameras(recording(), (Notes(), Notes(begins_s=2.65)))
    (at,) = frames_of_secondary(laid)
    own_s, other_s = laid.timeline.time_s, laid.beside[0].recording.timeline.time_s + 2.65
    for here_s, frame in zip(own_s, at, strict=True):
        nearest = float(np.min(np.abs(other_s - here_s)))
        if frame < 0:
            assert nearest > 0.2 - 1e-9  # one step
        else:
            assert abs(other_s[frame] - here_s) == pytest.approx(nearest)
    assert (at[own_s < 2.4] == -1).all()
    assert (at[own_s > 2.5] >= 0).all()


def test_the_facts_of_a_clip_stay_with_it():
    laid = merged_cameras(recording(noise=SMALL), NOTHING)
    assert laid.damage == {}
    assert laid.beside[0].recording.damage == {NAMES[1]: "The file is cut off."}
    assert isinstance(laid.beside[0].recording.sources[0], SourceFacts)
