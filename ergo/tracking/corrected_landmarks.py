"""Landmarks that a person put right by hand, laid over what the networks saw."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ergo.arrays import FloatArray
from ergo.errors import NotesError
from ergo.landmarks.names import INDEX
from ergo.landmarks.pose_track import PoseTrack
from ergo.notes.notes import MovedLandmark, Notes
from ergo.timeline import Timeline

HAND_SD_PX = 3.0
"""One standard deviation of a place pointed at by hand, per axis (ours). [px]"""


def with_moved_landmarks(track: PoseTrack, timeline: Timeline, notes: Sequence[Notes]) -> PoseTrack:
    """Return the track with every landmark where the notes say it is.

    Only the analysed frame nearest to the stated time changes; of the place only
    what a picture tells (across and down), the depth stays as it was seen.

    Parameters
    ----------
    track : PoseTrack
    timeline : Timeline
    notes : sequence of Notes
        One per source.

    Raises
    ------
    NotesError
        If the notes name a landmark that there is not.
    """
    moves = [(source, move) for source, each in enumerate(notes) for move in each.landmarks]
    if not moves:
        return track
    picture, world = track.picture_px.copy(), track.world_m.copy()
    joints = None if track.joint_px is None else track.joint_px.copy()
    spreads = None if track.joint_sd_px is None else track.joint_sd_px.copy()
    for source, move in moves:
        frames = timeline.frames_of(source)
        if not len(frames):
            continue
        frame = int(frames[np.argmin(np.abs(timeline.time_s[frames] - move.time_s))])
        _move(picture[frame], world[frame], move)
        if joints is not None and spreads is not None:
            _move_joint(joints[frame], spreads[frame], move)
    return replace(track, picture_px=picture, world_m=world, joint_px=joints, joint_sd_px=spreads)


def _move(picture_px: FloatArray, world_m: FloatArray, move: MovedLandmark) -> None:
    """Move one landmark in every look of one frame: arrays (look, landmark, xyz)."""
    if move.name not in INDEX:
        raise NotesError(f"landmarks: {move.name} is not a landmark; allowed: {', '.join(INDEX)}.")
    at = INDEX[move.name]
    by_px = np.asarray(move.at) - picture_px[:, at, :2]
    flat = picture_px[..., :2] - picture_px[..., :2].mean(axis=1, keepdims=True)
    shape = world_m[..., :2] - world_m[..., :2].mean(axis=1, keepdims=True)
    metres = np.sqrt(np.sum(shape**2, axis=(1, 2)) / np.sum(flat**2, axis=(1, 2)))
    world_m[:, at, :2] += by_px * metres[:, None]
    picture_px[:, at, :2] = move.at


def _move_joint(joint_px: FloatArray, joint_sd_px: FloatArray, move: MovedLandmark) -> None:
    """Move the refined joint of that name, if there is one."""
    from ergo.landmarks.joints import JOINT

    if move.name in JOINT:
        joint_px[JOINT[move.name], :2] = move.at
        joint_sd_px[JOINT[move.name]] = HAND_SD_PX
