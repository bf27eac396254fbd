"""Everybody of interest through a still or clip: pictures in, one track per person out.

The operator is looked at in every frame. Assistant and patient are looked at
once in a while; between those looks they are "not seen", never guessed.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np

from ergo.arrays import FloatArray, IndexArray
from ergo.errors import InputError
from ergo.frames.frame import FrameSource, SourceFacts
from ergo.frames.read_ahead import read_ahead
from ergo.landmarks.depth_errors import evened
from ergo.landmarks.joints import JOINTS
from ergo.landmarks.pose_track import PoseTrack, Role
from ergo.notes.notes import Notes
from ergo.tracking.join import join_sources, unseen_track
from ergo.tracking.people_finder import PeopleFinder
from ergo.tracking.tracker import LOOKS, OTHERS, PoseDetector, Tracker
from ergo.tracking.tracker_state import Row, Seen, TrackerState

PART_S = 60.0  # length of the parts in which a clip is handed on
DECODED_AHEAD = 4
AHEAD_PIXELS = 9_000_000
"""Of pictures that wait there are DECODED_AHEAD, or as many as have this many pixels in all."""

OnProgress = Callable[[float], None]


@dataclass(frozen=True, slots=True, eq=False)
class SourceLandmarks:
    """All landmarks of one still or clip.

    Attributes
    ----------
    time_s : array (frame,)
        Time of each analysed frame since the start of its source. [s]
    number : array (frame,)
        Number of each analysed picture in its source.
    tracks : mapping of role to PoseTrack
        Always holds ``"operator"``; others where they were seen.
    doubt : str or None
        Why the right person may not have been followed, as a sentence.
    """

    time_s: FloatArray
    number: IndexArray
    tracks: Mapping[Role, PoseTrack]
    doubt: str | None


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """Some consecutive frames of a source, and where to go on after them.

    Attributes
    ----------
    seen : SourceLandmarks
    state : TrackerState
    next_s : float
        Time at which the next part begins. [s]
    """

    seen: SourceLandmarks
    state: TrackerState
    next_s: float


def watch_source(
    source: FrameSource, notes: Notes, effort: str = "full", on_progress: OnProgress | None = None
) -> SourceLandmarks:
    """Return the landmarks of operator, assistant and patient in one still or clip.

    Parameters
    ----------
    source : FrameSource
    notes : Notes
        May say who is the operator, and that the operator is left-handed.
    effort : str
        A key of :data:`ergo.tracking.tracker.LOOKS`.
    on_progress : callable, optional
        Told how far in the source we are [s], after every frame.

    Returns
    -------
    SourceLandmarks
        NaN in frames in which a person was not seen or not looked at.
    """
    parts = [part.seen for part in watch_parts(source, notes, effort, on_progress)]
    return join_parts(parts, effort)


def watch_parts(
    source: FrameSource,
    notes: Notes,
    effort: str = "full",
    on_progress: OnProgress | None = None,
    start: TrackerState | None = None,
    detector: PoseDetector | None = None,
) -> Iterator[Part]:
    """Yield the same as :func:`watch_source` in parts of :data:`PART_S`.

    A run that was interrupted goes on with a source that starts where the last
    part ended, and with that part's state; the result is the same. Other eyes than
    the networks' may be given, for example those of ``recorded_finder``.
    """
    if effort not in LOOKS:
        raise InputError(f"must be one of {', '.join(LOOKS)}.", where="effort")
    watcher = Tracker(
        notes, effort, source.facts, start or TrackerState(), detector or PeopleFinder()
    )
    with closing(watcher):
        for number, of_part in groupby(
            read_ahead(source, _ahead(source.facts)), key=lambda frame: frame.time_s // PART_S
        ):
            rows = []
            for row in watcher.watch(of_part):
                rows.append(row)
                if on_progress:
                    on_progress(row.time_s)
            seen = _landmarks(rows, effort, watcher.state.doubts)
            yield Part(seen, watcher.state, (number + 1) * PART_S)


def _ahead(facts: SourceFacts) -> int:
    """Return how many pictures may wait decoded."""
    return max(1, min(DECODED_AHEAD, AHEAD_PIXELS // (facts.width_px * facts.height_px)))


def join_parts(parts: Sequence[SourceLandmarks], effort: str) -> SourceLandmarks:
    """Return consecutive parts of one source as one."""
    if not parts:
        return _landmarks([], effort, ())
    return SourceLandmarks(
        time_s=np.concatenate([one.time_s for one in parts]),
        number=np.concatenate([one.number for one in parts]),
        tracks=join_sources([one.tracks for one in parts], [len(one.time_s) for one in parts]),
        doubt=parts[-1].doubt,
    )


def _landmarks(rows: Sequence[Row], effort: str, doubts: Sequence[str]) -> SourceLandmarks:
    tracks: dict[Role, PoseTrack] = {"operator": _track("operator", rows, LOOKS[effort])}
    for role in OTHERS:
        if any(role in row.seen and row.seen[role].looks for row in rows):
            tracks[role] = _track(role, rows, LOOKS[effort][:1])
    return SourceLandmarks(
        time_s=np.array([row.time_s for row in rows], dtype=np.float64),
        number=np.array([row.number for row in rows], dtype=np.int64),
        tracks=tracks,
        doubt=" ".join(doubts) or None,
    )


def _track(role: Role, rows: Sequence[Row], looks: tuple[str, ...]) -> PoseTrack:
    track = unseen_track(role, looks, len(rows))
    for at, row in enumerate(rows):
        seen = row.seen.get(role)
        if seen is None:
            continue
        track.presence[at] = seen.presence
        for which, look in enumerate(seen.looks):
            track.picture_px[at, which] = look.picture_px
            track.world_m[at, which] = look.world_m if role == "patient" else evened(look.world_m)
            track.visibility[at, which] = look.visibility
            track.identity[at] = seen.belief
    persons = [row.seen.get(role) for row in rows]
    if role == "operator":
        hands = [one.right_handed if one and one.looks else np.nan for one in persons]
        track = replace(track, right_handed=np.array(hands))
    return _with_joints(track, persons)


def _with_joints(track: PoseTrack, seen: Sequence[Seen | None]) -> PoseTrack:
    """Return the track with joint centres, the mean of the looks that have any."""
    joint_px = np.full((len(seen), len(JOINTS), 3), np.nan)
    joint_sd_px = np.full((len(seen), len(JOINTS)), np.nan)
    for at, person in enumerate(seen):
        looks = person.looks if person else ()
        found = [look.joints for look in looks if look.joints is not None]
        if found:
            joint_px[at] = np.mean([joints.place for joints in found], axis=0)
            joint_sd_px[at] = np.mean([joints.spread for joints in found], axis=0)
    if np.isnan(joint_px).all():
        return track
    return replace(track, joint_px=joint_px, joint_sd_px=joint_sd_px)
