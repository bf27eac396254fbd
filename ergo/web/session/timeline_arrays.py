"""A session as the browser reads it: one small description and typed arrays, in one answer.

Layout: length of the description as a 32-bit number (little-endian), the
description (JSON, UTF-8), then the arrays, each beginning at a multiple of 8
bytes from the end of the padded description. Not seen is NaN or 255, never 0.
"""

import json
from collections.abc import Mapping
from typing import Any

import numpy as np

from ergo.arrays import AnyArray, FloatArray
from ergo.exposure.bands import NOT_KNOWN, LimitSet, strain_of
from ergo.exposure.groups import mouth_area_labels, task_labels
from ergo.exposure.limits import limit_sets
from ergo.landmarks.names import LANDMARKS
from ergo.notes.excluded import is_excluded
from ergo.posture.angle_names import NAMES
from ergo.posture.posture_track import PostureTrack
from ergo.session.session import Recording, Session
from ergo.session.several_cameras import frames_of_secondary
from ergo.timeline import Timeline
from ergo.tracking.corrected_landmarks import with_moved_landmarks

STILL_S = 1.0
"""Room of a still on the line of all sources. [s]"""
LANES = (
    "neck_flexion_deg",
    "neck_rotation_deg",
    "neck_side_bend_deg",
    "trunk_flexion_deg",
    "trunk_side_bend_deg",
    "upper_arm_elevation_deg_left",
    "upper_arm_elevation_deg_right",
    "elbow_flexion_deg_left",
    "elbow_flexion_deg_right",
)
"""Angles that get a lane of their own, top to bottom."""

_ALIGNED = 8
_TYPES = {"float32": "f4", "uint8": "u1", "uint16": "u2"}


def lane_limits(angle: str) -> LimitSet:
    """Return the rule by which a lane is coloured: one that may be a headline, else the first."""
    found = [limits for limits in limit_sets() if limits.angle.name == angle]
    return next((limits for limits in found if limits.is_headline), found[0])


def line_s(timeline: Timeline) -> FloatArray:
    """Return where each frame lies on one line of all sources, array (frame,), in s."""
    place = np.zeros(len(timeline))
    start = 0.0
    for source in range(len(timeline.sources)):
        frames = timeline.frames_of(source)
        if not len(frames):
            continue
        time_s = timeline.time_s[frames]
        place[frames] = start + time_s
        step = float(np.median(np.diff(time_s))) if len(time_s) > 1 else STILL_S
        start = float(place[frames[-1]]) + step
    return place


def arrays_of(session: Session) -> dict[str, AnyArray]:
    """Return the arrays of the timeline by name, one value or row per frame."""
    timeline = session.recording.timeline
    excluded = is_excluded(timeline, session.notes)
    posture = session.posture
    points = mean_points(session)
    return {
        "line_s": line_s(timeline).astype("f4"),
        "time_s": timeline.time_s.astype("f4"),
        "held": timeline.held.astype("f4"),
        "gap_after": timeline.gap_after.astype("f4"),
        "source": timeline.source_index.astype("u2"),
        "excluded": excluded.astype("u1"),
        "value": np.ascontiguousarray(posture.value.T.astype("f4")),
        "sd": np.ascontiguousarray(posture.sd.T.astype("f4")),
        "strain": _strains(session.assessed()),
        "clock": session.clock.hours.astype("f4"),
        "clock_sd": session.clock.sd_hours.astype("f4"),
        "task": _numbered(task_labels(timeline, session.notes))[0],
        "area": _numbered(mouth_area_labels(timeline, session.notes))[0],
        "level": np.array([score.level for score in session.scores], dtype="u1"),
        "points": points.astype("f4"),
        "points_beside": _points_beside(session.recording).astype("f4"),
    }


def labels_of(session: Session) -> dict[str, list[str]]:
    """Return the names that ``task`` and ``area`` number."""
    timeline = session.recording.timeline
    return {
        "task": _numbered(task_labels(timeline, session.notes))[1],
        "area": _numbered(mouth_area_labels(timeline, session.notes))[1],
    }


def mean_points(session: Session) -> FloatArray:
    """Return the operator's landmarks over all looks, array (frame, landmark, xy), in px.

    Landmarks that the notes put right lie where the notes say.
    """
    recording = session.recording
    track = with_moved_landmarks(recording.tracks["operator"], recording.timeline, session.notes)
    return np.asarray(track.picture_px[..., :2].mean(axis=1))


def _points_beside(recording: Recording) -> FloatArray:
    """Return the operator's landmarks in the clips beside the first at the same moments.

    Array (clip, frame, landmark, xy), in px of that clip; NaN where it filmed nothing.
    """
    found = np.full((len(recording.beside), len(recording.timeline), len(LANDMARKS), 2), np.nan)
    for own, each, at in zip(found, recording.beside, frames_of_secondary(recording), strict=True):
        part = each.recording
        track = with_moved_landmarks(part.tracks["operator"], part.timeline, [each.notes])
        own[at >= 0] = track.picture_px[at[at >= 0], :, :, :2].mean(axis=1)
    return found


def _strains(posture: PostureTrack) -> AnyArray:
    return np.array([strain_of(lane_limits(name), posture) for name in LANES], dtype="u1")


def _numbered(labels: tuple[str | None, ...]) -> tuple[AnyArray, list[str]]:
    names = list(dict.fromkeys(label for label in labels if label))[:NOT_KNOWN]
    number = {name: position for position, name in enumerate(names)}
    return np.array([number.get(each or "", NOT_KNOWN) for each in labels], dtype="u1"), names


def packed(description: Mapping[str, Any], arrays: Mapping[str, AnyArray]) -> bytes:
    """Return description and arrays in one piece, laid out as this module says."""
    places: list[dict[str, Any]] = []
    blocks: list[bytes] = []
    offset = 0
    for name, values in arrays.items():
        block = np.ascontiguousarray(values, dtype=f"<{_TYPES[values.dtype.name]}").tobytes()
        places.append(
            {"name": name, "type": values.dtype.name, "shape": values.shape, "offset": offset}
        )
        blocks.append(block + bytes(-len(block) % _ALIGNED))
        offset += len(blocks[-1])
    text = json.dumps({**description, "arrays": places}, allow_nan=False).encode()
    text += b" " * (-(4 + len(text)) % _ALIGNED)
    return len(text).to_bytes(4, "little") + text + b"".join(blocks)


def angle_names() -> tuple[str, ...]:
    """Return the names of the rows of ``value`` and ``sd``."""
    return NAMES
