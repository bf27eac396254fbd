"""One hour of a session: analysed (memory), scored again and reported."""

import tempfile
from collections.abc import Mapping
from dataclasses import fields, replace
from pathlib import Path

import numpy as np

from ergo.app.analyse import evaluate_session
from ergo.exposure.summary import exposure_of
from ergo.landmarks.pose_track import PoseTrack, Role
from ergo.report.report import write_report
from ergo.session.session import Recording
from ergo.storage.session_folder import read_session, write_session
from ergo.timeline import build_timeline
from tests.benchmarks.timing import Cost, cost_of

HOUR_S = 3600.0


def stretched(recording: Recording, length_s: float) -> Recording:
    """Return a recording of one clip, its landmarks repeated until it lasts ``length_s``."""
    times = recording.timeline.time_s
    step = float(np.median(np.diff(times)))
    frames = int(round(length_s / step))
    which = np.arange(frames) % len(times)
    return replace(
        recording,
        timeline=build_timeline(recording.timeline.sources, (np.arange(frames) * step,), (True,)),
        number=np.arange(frames),
        tracks=_repeated(recording.tracks, which),
    )


def _repeated(tracks: Mapping[Role, PoseTrack], which: np.ndarray) -> dict[Role, PoseTrack]:
    return {
        role: replace(
            track,
            **{
                part.name: getattr(track, part.name)[which]
                for part in fields(track)
                if isinstance(getattr(track, part.name), np.ndarray)
            },
        )
        for role, track in tracks.items()
    }


def scoring_again(analysed: Path) -> tuple[int, dict[str, Cost]]:
    """Return the frames of one hour and what reading, judging and reporting it takes.

    Parameters
    ----------
    analysed : Path
        Output folder of one clip; its landmarks are repeated to fill an hour.
    """
    stored = read_session(analysed)
    recording = stretched(stored.recording, HOUR_S)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_session(evaluate_session(recording, stored.notes), folder)
        costs = {"reading": cost_of(lambda: read_session(folder))}
        costs["judging"] = cost_of(lambda: evaluate_session(recording, stored.notes))
        session = evaluate_session(recording, stored.notes)
        costs["time in posture"] = cost_of(
            lambda: exposure_of(
                session.recording.timeline,
                session.posture,
                session.clock,
                session.scores,
                session.notes,
            )
        )
        exposure = exposure_of(
            session.recording.timeline,
            session.posture,
            session.clock,
            session.scores,
            session.notes,
        )
        costs["report"] = cost_of(
            lambda: write_report(session, exposure, lambda source, time_s: None, folder, "en")
        )
    return len(recording.timeline), costs
