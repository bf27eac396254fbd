"""The neutral posture: upright, gaze ahead, arms hanging; and what it tells of gravity."""

from collections.abc import Sequence
from functools import cache

import numpy as np

from ergo.arrays import FloatArray, IndexArray
from ergo.camera.camera import Camera, Level
from ergo.camera.level import fused
from ergo.errors import NotesError
from ergo.notes.notes import NeutralMoment, Notes
from ergo.posture.body_points import BodyPoints, body_points
from ergo.posture.geometry import unit
from ergo.posture.posture_track import PostureTrack
from ergo.published_tables import rows
from ergo.timeline import Timeline

NEUTRAL_PITCH_SD_DEG, NEUTRAL_ROLL_SD_DEG = 4.5, 3.0
"""Level taken from a trunk that was said to be upright: a lean in that moment carries through one
to one, and how far away a shoulder is, a view guesses worse (ours; trunks of two real people
levelled so were off by 3 to 4.5 degrees). [deg]"""

AROUND_S = 0.5
"""A neutral moment is read over this much before and after it. [s]"""

_LATEST_S = 1.0


@cache
def population_neutral() -> BodyPoints:
    """Return an average body in the neutral posture, one frame."""
    table = rows("posture", "neutral_body")
    return body_points(
        {row["point"]: np.array([[float(row[axis]) for axis in "xyz"]]) for row in table}
    )


def neutral_body(points: BodyPoints, frames: IndexArray) -> BodyPoints | None:
    """Return the mean body of some frames, one frame; None where no trunk was seen."""
    from_hips = points.xyz[frames] - points.middle("hip")[frames, None]
    is_whole = np.isfinite(points.trunk[frames]).all(axis=1)
    if not is_whole.any():
        return None
    return BodyPoints(from_hips[is_whole].mean(axis=0, keepdims=True))


def neutral_frames(timeline: Timeline, source: int, moment: NeutralMoment) -> IndexArray:
    """Return the frames round a neutral moment stated in the notes of one source.

    Raises
    ------
    NotesError
        Where the moment lies in no analysed source, or after its end.
    """
    if moment.source is not None and moment.source not in timeline.sources:
        raise NotesError(
            f'neutral.source is "{moment.source}", which is not analysed here.',
            where=f"{timeline.sources[source]}:",
            remedy=f"Analyse it too, or name one of: {', '.join(timeline.sources[:5])}.",
        )
    where = source if moment.source is None else timeline.sources.index(moment.source)
    frames = timeline.frames_of(where)
    away_s = np.abs(timeline.time_s[frames] - moment.time_s)
    if not len(frames) or (away_s.min() > _LATEST_S and not timeline.is_still[frames].all()):
        raise NotesError(
            f"neutral.time_s is {moment.time_s:g} s, where no picture was analysed.",
            where=f"{timeline.sources[source]}:",
            remedy="State a moment within the clip.",
        )
    return frames[away_s <= max(AROUND_S, float(away_s.min()))]


def level_cameras(
    timeline: Timeline, points: BodyPoints, cameras: Sequence[Camera], notes: Sequence[Notes]
) -> tuple[Camera, ...]:
    """Return the cameras, with what an upright trunk in the neutral moment tells of their level.

    It counts by its spread beside all else that is known; doing this twice counts it twice.

    Parameters
    ----------
    timeline : Timeline
    points : BodyPoints
        The operator's in camera axes, by :func:`ergo.posture.placing.camera_points`.
    cameras : sequence of Camera
        One per source.
    notes : sequence of Notes
        One per source.
    """
    levelled = list(cameras)
    for source, (note, camera) in enumerate(zip(notes, cameras, strict=True)):
        if note.neutral is None:
            continue
        moment = neutral_frames(timeline, source, note.neutral)
        is_own = timeline.source_index[moment] == source  # another clip tells nothing of this one
        trunk = points.trunk[moment[is_own]]
        trunk = trunk[np.isfinite(trunk).all(axis=1)]
        if len(trunk):
            levelled[source] = fused(camera, _told(trunk.mean(axis=0)))
    return tuple(levelled)


def _told(up: FloatArray) -> Level:
    """Return the level of a camera for which ``up`` (xyz, camera axes) is vertical."""
    x, y, z = unit(up)
    return Level(
        float(np.degrees(np.arcsin(z))),
        float(np.degrees(np.arctan2(x, -y))),
        NEUTRAL_PITCH_SD_DEG,
        NEUTRAL_ROLL_SD_DEG,
        "neutral",
    )


_CALM = (
    ("trunk_inclination_deg", 15.0),
    ("head_inclination_deg", 15.0),
    ("trunk_twist_deg", 20.0),
    ("neck_rotation_deg", 25.0),
    ("upper_arm_elevation_deg_left", 25.0),
    ("upper_arm_elevation_deg_right", 25.0),
)
"""Angles that are small in a neutral posture, and how small (ours). [deg]"""

_STILL_S = 1.0
_STILL_DEG = 5.0
_APART_S = 10.0


def neutral_candidates(
    posture: PostureTrack, timeline: Timeline, most: int = 5
) -> list[tuple[str, float]]:
    """Return moments (source, time_s) that look neutral, the likeliest first.

    Upright, gaze ahead, arms hanging and, in a clip, still for a second; moments
    of one clip are at least 10 s apart. Offered to a person to choose from,
    never taken unasked.
    """
    cost = _cost(posture)
    chosen: list[int] = []
    for frame in np.argsort(cost, kind="stable"):
        if len(chosen) == most or not np.isfinite(cost[frame]):
            break
        near = (timeline.source_index[chosen] == timeline.source_index[frame]) & (
            np.abs(timeline.time_s[chosen] - timeline.time_s[frame]) < _APART_S
        )
        if not near.any() and _is_still(posture, timeline, int(frame)):
            chosen.append(int(frame))
    return [
        (timeline.sources[timeline.source_index[frame]], float(timeline.time_s[frame]))
        for frame in chosen
    ]


def _cost(posture: PostureTrack) -> FloatArray:
    """Return how far each frame is from neutral, 0 = exactly; inf beyond the limits or unseen."""
    shares = np.stack([np.abs(posture.angle(name)) / limit for name, limit in _CALM], axis=1)
    trunk_and_head = shares[:, :2]
    shares[np.isnan(trunk_and_head).any(axis=1)] = np.inf
    cost: FloatArray = np.nanmax(shares, axis=1)
    return np.where(cost <= 1.0, cost, np.inf)


def _is_still(posture: PostureTrack, timeline: Timeline, frame: int) -> bool:
    near = (timeline.source_index == timeline.source_index[frame]) & (
        np.abs(timeline.time_s - timeline.time_s[frame]) <= _STILL_S / 2
    )
    ranges = [np.ptp(posture.angle(name)[near]) for name, _ in _CALM[:2]]
    return bool(max(ranges) <= _STILL_DEG)
