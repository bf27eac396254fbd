from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest

from ergo.errors import SessionError
from ergo.landmarks.depth_errors import evened
from ergo.landmarks.names import INDEX, LANDMARKS
from ergo.landmarks.pose_track import PoseTrack
from ergo.storage.landmark_file import StoredLandmarks, as_stored, read_landmarks, write_landmarks
from ergo.tracking.join import unseen_track

FRAMES = 7


def some_track(role: str = "operator", **more) -> PoseTrack:
    rng = np.random.default_rng(3)
    shape = (FRAMES, 2, len(LANDMARKS))
    points = rng.normal(size=(*shape, 3))
    points[2] = np.nan
    return PoseTrack(
        role=role,
        looks=("heavy", "heavy_mirrored"),
        picture_px=points,
        world_m=rng.normal(size=(*shape, 3)),
        visibility=rng.random(shape),
        presence=rng.random(FRAMES),
        identity=rng.random(FRAMES),
        **more,
    )


def stored(*tracks: PoseTrack) -> StoredLandmarks:
    return StoredLandmarks(
        source_index=np.array([0, 0, 0, 1, 1, 1, 1]),
        time_s=np.array([0, 0.2, 0.4, 0, 0.2, 0.41, 1 / 3]),
        number=np.arange(FRAMES),
        tracks={track.role: track for track in tracks},
    )


def test_what_was_saved_is_read_back_to_the_last_bit(tmp_path: Path) -> None:
    saved = as_stored(some_track())
    write_landmarks(tmp_path / "l.parquet", stored(saved))
    again = read_landmarks(tmp_path / "l.parquet")
    track = again.tracks["operator"]
    assert track.looks == saved.looks
    for name in ("picture_px", "world_m", "visibility", "presence", "identity"):
        np.testing.assert_array_equal(getattr(track, name), getattr(saved, name))
    np.testing.assert_array_equal(again.time_s, stored(saved).time_s)
    np.testing.assert_array_equal(again.source_index, stored(saved).source_index)


def test_what_is_as_stored_already_takes_no_more_memory() -> None:
    track = some_track()
    once = as_stored(track)
    again = as_stored(once)
    assert not np.shares_memory(once.picture_px, track.picture_px)
    for name in ("picture_px", "world_m", "visibility", "presence", "identity"):
        assert np.shares_memory(getattr(again, name), getattr(once, name))
        np.testing.assert_array_equal(getattr(once, name), np.float32(getattr(track, name)))


def test_depths_of_a_file_made_before_they_were_evened_are_evened_once(tmp_path: Path) -> None:
    first, again = tmp_path / "first.parquet", tmp_path / "again.parquet"
    raw = as_stored(some_track())
    patient = as_stored(some_track("patient"))
    write_landmarks(first, stored(raw, patient))
    table = pq.read_table(first)
    pq.write_table(table.replace_schema_metadata(None), first)  # as files were before
    read = read_landmarks(first)
    of_plain, of_mirrored = np.moveaxis(read.tracks["operator"].world_m - raw.world_m, 1, 0)
    np.testing.assert_allclose(
        read.tracks["operator"].world_m[:, 0], evened(raw.world_m[:, 0]), atol=1e-6
    )
    hip = INDEX["hip_left"], 2
    assert np.nanmax(of_plain[:, *hip]) < 0 < np.nanmin(of_mirrored[:, *hip])
    np.testing.assert_array_equal(read.tracks["patient"].world_m, patient.world_m)
    write_landmarks(again, read)
    np.testing.assert_array_equal(
        read_landmarks(again).tracks["operator"].world_m, read.tracks["operator"].world_m
    )


def test_every_role_keeps_its_own_landmarks(tmp_path: Path) -> None:
    tracks = as_stored(some_track()), unseen_track("patient", ("heavy", "heavy_mirrored"), FRAMES)
    write_landmarks(tmp_path / "l.parquet", stored(*tracks))
    again = read_landmarks(tmp_path / "l.parquet")
    assert set(again.tracks) == {"operator", "patient"}
    assert not again.tracks["patient"].found.any()
    assert again.tracks["operator"].found.sum() == FRAMES - 1


def test_refined_joints_and_the_hand_come_back_where_only_the_operator_has_them(
    tmp_path: Path,
) -> None:
    joints = np.arange(FRAMES * 4 * 2, dtype=float).reshape(FRAMES, 4, 2)
    hand = np.linspace(0, 1, FRAMES, dtype=np.float32).astype(float)
    hand[0] = np.nan
    operator = some_track(joint_px=joints, joint_sd_px=joints[..., 0] + 1, right_handed=hand)
    patient = unseen_track("patient", ("heavy",), FRAMES)
    write_landmarks(tmp_path / "l.parquet", stored(as_stored(operator), patient))
    again = read_landmarks(tmp_path / "l.parquet")
    np.testing.assert_array_equal(again.tracks["operator"].joint_px, joints)
    np.testing.assert_array_equal(again.tracks["operator"].right_handed, hand)
    assert again.tracks["patient"].joint_px is None
    assert again.tracks["patient"].right_handed is None


def test_three_roles_with_different_looks_come_back(tmp_path: Path) -> None:
    others = [unseen_track(role, ("heavy",), FRAMES) for role in ("assistant", "patient")]
    operator = as_stored(some_track())
    write_landmarks(tmp_path / "l.parquet", stored(operator, *others))
    again = read_landmarks(tmp_path / "l.parquet")
    assert {role: track.looks for role, track in again.tracks.items()} == {
        "operator": ("heavy", "heavy_mirrored"),
        "assistant": ("heavy",),
        "patient": ("heavy",),
    }
    np.testing.assert_array_equal(again.tracks["operator"].picture_px, operator.picture_px)


def test_a_damaged_file_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "l.parquet").write_bytes(b"not parquet")
    with pytest.raises(SessionError, match="cannot be read"):
        read_landmarks(tmp_path / "l.parquet")
