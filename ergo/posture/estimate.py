"""From landmarks to the operator's angles: placed, levelled, bridged, smoothed, measured."""

from collections.abc import Sequence

import numpy as np

from ergo.arrays import BoolArray, FloatArray
from ergo.errors import InputError
from ergo.landmarks.pose_track import PoseTrack
from ergo.notes.notes import Notes
from ergo.posture.angle_names import NAMES
from ergo.posture.angles import body_angles
from ergo.posture.body_points import BodyPoints
from ergo.posture.correction import Corrected, corrected
from ergo.posture.joints import joint_points
from ergo.posture.mixing import apart, mixed, mixed_variance, wrapped
from ergo.posture.neutral import (
    level_cameras,
    neutral_body,
    neutral_frames,
    population_neutral,
)
from ergo.posture.placing import PlacedBody, levelled, placed_body
from ergo.posture.posture_track import PostureTrack
from ergo.posture.smoothing import bridged, smoothed
from ergo.posture.standing import seated_share
from ergo.posture.uncertainty import (
    can_be_told,
    level_is_known,
    standard_deviation,
    usual_error,
    usual_spread,
    view_azimuth_deg,
)
from ergo.room.camera import Camera
from ergo.timeline import Timeline


def estimate_posture(
    timeline: Timeline,
    track: PoseTrack,
    cameras: Sequence[Camera],
    notes: Sequence[Notes],
    *,
    placed: PlacedBody | None = None,
    is_corrected: bool = True,
) -> PostureTrack:
    """Return the operator's angles of every frame, each with its standard deviation.

    Parameters
    ----------
    timeline : Timeline
    track : PoseTrack
        The operator's landmarks, one frame per frame of ``timeline``.
    cameras : sequence of Camera
        One per source. A camera of unknown level is first levelled by the neutral
        moment of its notes, as :func:`ergo.posture.neutral.level_cameras` does.
    notes : sequence of Notes
        One per source; only the neutral moment is used.
    placed : PlacedBody, optional
        The operator's body by :func:`ergo.posture.placing.placed_body`, where it is known.
    is_corrected : bool
        False leaves the learned correction out: the plain hybrid, to compare with.

    Notes
    -----
    Limbs are corrected by what was learned from scenes with exact truth; angles
    of corrected limbs are read against an average body. Of the rest (wrists,
    raised shoulders), where a source's notes state a neutral moment, relative
    angles are read against the person as seen in it; elsewhere against an average
    body, and the error that is usual in this view is taken off. That error was seen on
    seated people: for who stands it is left in, and counts as uncertainty. An angle that
    this view cannot tell (see :data:`ergo.posture.uncertainty.WIDEST_SD`) is NaN like one
    not seen.
    """
    if not len(track) == len(timeline) or not len(cameras) == len(notes) == len(timeline.sources):
        raise InputError("There must be one landmark row per frame and one camera per source.")
    placed = placed or placed_body(track, cameras, timeline)
    cameras = level_cameras(timeline, placed.points, cameras, notes)
    filled, away_s = bridged(timeline, levelled(placed.points, cameras, timeline))
    points = smoothed(timeline, filled)
    refined = joint_points(track, cameras, timeline, placed.hip_depth_m) if is_corrected else None
    learned = None if refined is None else _learned(timeline, *refined, cameras)
    value, sd = _measured(timeline, points, away_s, cameras, notes, learned)
    is_told = np.isfinite(value) & can_be_told(sd)
    value, sd = np.where(is_told, value, np.nan), np.where(is_told, sd, np.nan)
    return PostureTrack(value, sd, track.found, away_s > 0)


def _measured(
    timeline: Timeline,
    points: BodyPoints,
    away_s: FloatArray,
    cameras: Sequence[Camera],
    notes: Sequence[Notes],
    learned: Corrected | None,
) -> tuple[FloatArray, FloatArray]:
    """Return the angles and their standard deviations, two arrays (frame, angle)."""
    camera_of = timeline.source_index
    azimuth_deg = view_azimuth_deg(points)
    value, has_own = _against_neutral(timeline, points, notes)
    known = level_is_known(cameras)[camera_of]
    usual = np.where(has_own[:, None], 0.0, usual_error(azimuth_deg, known))
    spread = usual_spread(azimuth_deg, known)
    width = standard_deviation(spread, away_s, cameras, camera_of)
    if learned is None:
        return wrapped(value - usual), width
    seated = seated_share(learned.points, known)[:, None]
    held = np.where(known[:, None], seated, 1.0)  # of an assumed level it is mostly the camera's
    share = np.where(np.isnan(learned.sd), 0.0, seated)
    value = wrapped(value - held * usual)
    taught = np.where(np.isnan(learned.sd), spread, learned.sd)
    learned_width = standard_deviation(taught, away_s, cameras, camera_of)
    plain_variance = width**2 + ((1 - held) * usual) ** 2
    variance = mixed_variance(plain_variance, learned_width**2, share, apart(learned.angles, value))
    return mixed(value, learned.angles, share), np.sqrt(variance)


def _learned(
    timeline: Timeline, joints: BodyPoints, spread_m: FloatArray, cameras: Sequence[Camera]
) -> Corrected:
    """Return refined joints, bridged, smoothed and corrected."""
    filled, _ = bridged(timeline, levelled(joints, cameras, timeline))
    known = level_is_known(cameras)[timeline.source_index]
    return corrected(smoothed(timeline, filled), spread_m, known)


def _against_neutral(
    timeline: Timeline, points: BodyPoints, notes: Sequence[Notes]
) -> tuple[FloatArray, BoolArray]:
    """Return the angles (frame, angle), and where the person's own neutral was used (frame,)."""
    value = np.empty((len(timeline), len(NAMES)))
    has_own = np.zeros(len(timeline), dtype=bool)
    for source, note in enumerate(notes):
        if note.neutral is None:
            continue
        neutral = neutral_body(points, neutral_frames(timeline, source, note.neutral))
        if neutral is not None:
            frames = timeline.frames_of(source)
            value[frames] = body_angles(points.frames(frames), neutral)
            has_own[frames] = True
    others = np.flatnonzero(~has_own)
    value[others] = body_angles(points.frames(others), population_neutral())
    return value, has_own
