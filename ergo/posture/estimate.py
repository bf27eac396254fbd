"""From landmarks to the operator's angles: placed, levelled, bridged, smoothed, measured."""

from collections.abc import Mapping, Sequence

import numpy as np

from ergo.arrays import FloatArray, IndexArray
from ergo.camera.camera import Camera
from ergo.errors import InputError
from ergo.landmarks.pose_track import PoseTrack
from ergo.notes.notes import Notes
from ergo.posture.angles import body_angles
from ergo.posture.body_points import BodyPoints
from ergo.posture.joints import joint_points
from ergo.posture.learned.correction import Corrected, corrected
from ergo.posture.mixing import apart, mixed, mixed_variance, wrapped
from ergo.posture.neutral import (
    neutral_body,
    neutral_frames,
    population_neutral,
)
from ergo.posture.own_zero import Path, with_own_zero
from ergo.posture.placing import PlacedBody, levelled, placed_body
from ergo.posture.posture_track import PostureTrack
from ergo.posture.smoothing import bridged, smoothed
from ergo.posture.standing import seated_share, standing_variance
from ergo.posture.uncertainty import (
    is_estimable,
    level_is_known,
    standard_deviation,
    usual_error,
    usual_spread,
    view_azimuth_deg,
)
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
        One per source, levelled as well as can be, by the neutral moment too
        (:func:`ergo.posture.neutral.level_cameras`).
    notes : sequence of Notes
        One per source; only the neutral moment is used.
    placed : PlacedBody, optional
        The operator's body by :func:`ergo.posture.placing.placed_body`, where it is known.
    is_corrected : bool
        False leaves the learned correction out: the plain hybrid, to compare with.

    Notes
    -----
    Limbs are corrected by what was learned from scenes with exact truth. What was not
    learned (wrists, raised shoulders), and who stands, is told by the plain landmarks, less
    the error that is usual in this view. That error was seen on seated people: for who stands
    it is left in, and counts as uncertainty. Relative angles are read against an average body,
    and where a source's notes state a neutral moment, against the person as seen in it, as
    far as that tells (:mod:`ergo.posture.own_zero`). An angle that
    this view cannot tell (see :data:`ergo.posture.uncertainty.WIDEST_SD`) is NaN like one
    not seen.
    """
    if not len(track) == len(timeline) or not len(cameras) == len(notes) == len(timeline.sources):
        raise InputError("There must be one landmark row per frame and one camera per source.")
    placed = placed or placed_body(track, cameras, timeline)
    filled, away_s = bridged(timeline, levelled(placed.points, cameras, timeline))
    points = smoothed(timeline, filled)
    refined = joint_points(track, cameras, timeline, placed.hip_depth_m) if is_corrected else None
    learned = None if refined is None else _learned(timeline, *refined, cameras)
    value, sd = _measured(timeline, points, away_s, cameras, notes, learned)
    is_estimated = np.isfinite(value) & is_estimable(sd)
    value, sd = np.where(is_estimated, value, np.nan), np.where(is_estimated, sd, np.nan)
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
    known, moments = level_is_known(cameras)[camera_of], _moments(timeline, notes)
    usual, spread = usual_error(azimuth_deg, known), usual_spread(azimuth_deg, known)
    seated = held = np.ones((len(timeline), 1))
    if learned is not None:
        seated = seated_share(learned.points, known)[:, None]
        held = np.where(known[:, None], seated, 1.0)  # of an assumed level mostly the camera's
    variance = standard_deviation(spread, away_s, cameras, camera_of) ** 2
    left_in = (1 - held) * usual
    variance += left_in**2 + standing_variance(seated[:, 0], known, left_in)
    plain = wrapped(body_angles(points, population_neutral()) - held * usual)
    value, variance = _from_own_zero(timeline, points, plain, variance, variance, moments, "plain")
    if learned is None:
        return value, np.sqrt(variance)
    # what is asked for in a neutral moment, hanging arms, is no less sure for being unusual
    taught_variance, as_usual = (
        standard_deviation(sd, away_s, cameras, camera_of) ** 2
        for sd in (learned.sd, learned.sd / learned.growth)
    )
    taught, taught_variance = _from_own_zero(
        timeline, learned.points, learned.angles, taught_variance, as_usual, moments, "learned"
    )
    share = np.where(np.isnan(learned.sd), 0.0, seated)
    variance = mixed_variance(variance, taught_variance, share, apart(taught, value))
    return mixed(value, taught, share), np.sqrt(variance)


def _learned(
    timeline: Timeline, joints: BodyPoints, spread_m: FloatArray, cameras: Sequence[Camera]
) -> Corrected:
    """Return refined joints, bridged, smoothed and corrected."""
    filled, _ = bridged(timeline, levelled(joints, cameras, timeline))
    known = level_is_known(cameras)[timeline.source_index]
    return corrected(smoothed(timeline, filled), spread_m, known)


def _moments(timeline: Timeline, notes: Sequence[Notes]) -> dict[int, IndexArray]:
    """Return the frames of the neutral moment of every source whose notes state one."""
    return {
        source: neutral_frames(timeline, source, note.neutral)
        for source, note in enumerate(notes)
        if note.neutral is not None
    }


def _from_own_zero(
    timeline: Timeline,
    points: BodyPoints,
    average: FloatArray,
    variance: FloatArray,
    variance_then: FloatArray,
    moments: Mapping[int, IndexArray],
    path: Path,
) -> tuple[FloatArray, FloatArray]:
    """Return angles and variances, those of sources with a neutral moment by its zero.

    ``variance_then`` (frame, angle) counts in the moments.
    """
    value, variance = average.copy(order="K"), variance.copy(order="K")
    for source, moment in moments.items():
        neutral = neutral_body(points, moment)
        if neutral is None:
            continue
        frames = timeline.frames_of(source)
        both = np.concatenate([frames, moment])  # it may lie in another source
        value_own = body_angles(points.frames(both), neutral)
        at = len(frames) + np.arange(len(moment))
        own = average[both], value_own, variance[both], variance_then[moment]
        told = with_own_zero(*own, at, path)
        value[frames], variance[frames] = (each[: len(frames)] for each in told)
    return value, variance
