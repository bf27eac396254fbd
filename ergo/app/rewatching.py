"""Watch some sources of a stored session again, because another person is the operator."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from ergo.app.analyse import evaluate_session, record
from ergo.app.watching import OnProgress
from ergo.arrays import IndexArray
from ergo.errors import NothingToAnalyse
from ergo.frames.find import find_sources
from ergo.frames.frame import FrameSource, SourceFacts
from ergo.landmarks.pose_track import PoseTrack, Role
from ergo.session.session import Recording
from ergo.session.several_cameras import (
    all_notes,
    all_sources,
    one_after_the_other,
    with_secondary_cameras,
)
from ergo.storage.choices import sources_to_watch
from ergo.storage.landmark_file import as_stored
from ergo.storage.session_folder import read_session, write_session
from ergo.timeline import build_timeline
from ergo.tracking.join import join_tracks, unseen_track
from ergo.whole import write_folder


def sources_again(folder: Path) -> dict[int, FrameSource]:
    """Return the sources in which another person is the operator than was followed, by number.

    Clips beside the first are numbered after the session's own sources.

    Raises
    ------
    NothingToAnalyse
        If a recording has gone or is another file now.
    """
    stored = read_session(folder)
    rate_hz = stored.recording.settings.rate_hz
    sources = all_sources(stored.recording)
    notes = all_notes(stored.recording, stored.notes)
    return {
        number: _same_source(sources[number], rate_hz) for number in sources_to_watch(folder, notes)
    }


def _same_source(facts: SourceFacts, rate_hz: float) -> FrameSource:
    source = find_sources([facts.path], rate_hz).sources[0]
    if source.facts.sha256 != facts.sha256:
        raise NothingToAnalyse(
            "is no longer the file that was analysed.",
            where=f"{facts.name}:",
            remedy="Put the recording back to its place.",
        )
    return source


def watch_again(folder: Path, out: Path, on_progress: OnProgress | None = None) -> None:
    """Watch the sources of :func:`sources_again` and write the whole session to another folder.

    Parameters
    ----------
    folder : Path
        A session folder; it stays as it is.
    out : Path
        Gets landmarks and description of the session as it is seen now.
    on_progress : callable, optional
        Told the source and its seconds watched, many times.

    Raises
    ------
    ErgoError
        With one line for the user.
    """
    sources = sources_again(folder)
    stored = read_session(folder)
    notes = all_notes(stored.recording, stored.notes)
    recording = one_after_the_other(stored.recording)
    for number, source in sources.items():
        again = record([source], [notes[number]], recording.settings, on_progress=on_progress)
        recording = with_source_again(recording, number, again)
    tracks = {role: as_stored(track) for role, track in recording.tracks.items()}
    recording = replace(recording, tracks=tracks)
    beside = stored.recording.beside
    if beside:
        recording = with_secondary_cameras(recording, [(each.notes, each.start) for each in beside])
    session = evaluate_session(recording, stored.notes, is_stored=True)
    write_folder(out, lambda fresh: write_session(session, fresh, out))


def with_source_again(recording: Recording, number: int, again: Recording) -> Recording:
    """Return a recording in which one source is as another recording, of it alone, saw it."""
    timeline = recording.timeline
    frames = [timeline.frames_of(source) for source in range(len(timeline.sources))]
    own = again.timeline

    def of_each(old: Any, new: Any) -> list[Any]:
        return [new if at == number else old[its] for at, its in enumerate(frames)]

    name = recording.sources[number].name
    return replace(
        recording,
        timeline=build_timeline(
            timeline.sources,
            tuple(of_each(timeline.time_s, own.time_s)),
            tuple(facts.kind == "clip" for facts in recording.sources),
        ),
        number=np.concatenate(of_each(recording.number, again.number)),
        tracks=_tracks(recording, again, number, frames),
        damage=_with_remark(recording.damage, name, again.damage),
        doubt=_with_remark(recording.doubt, name, again.doubt),
        versions=again.versions,
    )


def _with_remark(old: Mapping[str, str], name: str, again: Mapping[str, str]) -> dict[str, str]:
    others = {key: remark for key, remark in old.items() if key != name}
    return others | ({name: next(iter(again.values()))} if again else {})


def _tracks(
    recording: Recording, again: Recording, number: int, frames: Sequence[IndexArray]
) -> dict[Role, PoseTrack]:
    joined: dict[Role, PoseTrack] = {}
    for role in {**recording.tracks, **again.tracks}:
        old, new = recording.tracks.get(role), again.tracks.get(role)
        looks = next(track.looks for track in (new, old) if track is not None)
        parts = [
            (new or unseen_track(role, looks, len(again.timeline)))
            if at == number
            else (unseen_track(role, looks, len(its)) if old is None else old.frames(its))
            for at, its in enumerate(frames)
        ]
        joined[role] = join_tracks(parts)
    return joined
