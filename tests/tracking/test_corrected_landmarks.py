import numpy as np
import pytest

from ergo.errors import NotesError
from ergo.landmarks.names import INDEX, LANDMARKS
from ergo.landmarks.pose_track import PoseTrack
from ergo.notes.notes import Notes
from ergo.timeline import build_timeline
from ergo.tracking.corrected_landmarks import with_moved_landmarks

PX_PER_M = 250.0


def seen(frames=4):
    world = np.random.default_rng(3).normal(0, 0.4, (frames, 1, len(LANDMARKS), 3))
    ones = np.ones((frames, 1, len(LANDMARKS)))
    picture = world * PX_PER_M + 300
    return PoseTrack("operator", ("heavy",), picture, world, ones, np.ones(frames), np.ones(frames))


def moved(track, **stated):
    timeline = build_timeline(("a.mp4",), (np.arange(len(track)) / 5,), (True,))
    return with_moved_landmarks(track, timeline, [Notes(landmarks=(stated,))])


def test_a_moved_landmark_lies_where_it_was_put_and_nothing_else_moves():
    track = seen()
    after = moved(track, name="wrist_left", time_s=0.41, at=(111, 222))
    at = INDEX["wrist_left"]
    np.testing.assert_array_equal(after.picture_px[2, 0, at, :2], [111, 222])
    untouched = np.ones(track.picture_px.shape, bool)
    untouched[2, 0, at, :2] = False
    np.testing.assert_array_equal(after.picture_px[untouched], track.picture_px[untouched])
    np.testing.assert_array_equal(after.world_m[untouched], track.world_m[untouched])


def test_in_space_it_moves_by_as_much_as_in_the_picture():
    track = seen()
    at = INDEX["elbow_right"]
    aim = track.picture_px[0, 0, at, :2] + [50, -25]
    after = moved(track, name="elbow_right", at=tuple(aim))
    by_m = after.world_m[0, 0, at, :2] - track.world_m[0, 0, at, :2]
    np.testing.assert_allclose(by_m, [50 / PX_PER_M, -25 / PX_PER_M], rtol=1e-6)


def test_what_was_measured_is_never_written_to():
    track = seen()
    before = track.picture_px.copy()
    moved(track, name="nose", at=(0, 0))
    np.testing.assert_array_equal(track.picture_px, before)


def test_without_such_notes_the_track_is_the_same():
    track = seen()
    timeline = build_timeline(("a.mp4",), (np.arange(len(track)) / 5,), (True,))
    assert with_moved_landmarks(track, timeline, [Notes()]) is track


def test_a_landmark_that_there_is_not_is_refused():
    with pytest.raises(NotesError, match="tail is not a landmark"):
        moved(seen(), name="tail", at=(1, 1))
