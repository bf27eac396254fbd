"""A session as a folder: the recording is read back, all else is computed again."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import TypeAdapter

from ergo.errors import SessionError
from ergo.frames.frame import SourceFacts
from ergo.multi_camera.alignment import Start
from ergo.notes.notes import Notes
from ergo.session.session import SCHEMA, Beside, Recording, Session, Settings
from ergo.session.several_cameras import one_after_the_other, with_secondary_cameras
from ergo.storage.folder import SESSION_FILE
from ergo.storage.landmark_file import StoredLandmarks, read_landmarks, write_landmarks
from ergo.storage.session_content import described_source, read_places, source_of, write_places
from ergo.storage.tables import plain, write_json
from ergo.timeline import Timeline, build_timeline
from ergo.whole import recover

LANDMARK_FILE = "landmarks.parquet"
_SETTINGS, _START = TypeAdapter(Settings), TypeAdapter(Start)
_WORDS, _NAMES = TypeAdapter(dict[str, str]), TypeAdapter(tuple[str, ...])


@dataclass(frozen=True, slots=True, eq=False)
class StoredSession:
    """What a session folder holds that cannot be computed again.

    Attributes
    ----------
    recording : Recording
    notes : tuple of Notes
        One per source, as they were at the last scoring.
    """

    recording: Recording
    notes: tuple[Notes, ...]


def write_session(session: Session, folder: Path, home: Path | None = None) -> None:
    """Write session.json, places.json and landmarks.parquet into an existing folder.

    ``home`` is where the folder will lie, if that is not where it is being written.
    """
    recording = one_after_the_other(session.recording)
    timeline = recording.timeline
    write_landmarks(
        folder / LANDMARK_FILE,
        StoredLandmarks(timeline.source_index, timeline.time_s, recording.number, recording.tracks),
    )
    write_json(folder / SESSION_FILE, _described(session))
    write_places(folder, recording.sources, home)


def _described(session: Session) -> dict[str, Any]:
    recording = one_after_the_other(session.recording)
    return {
        "schema": SCHEMA,
        "settings": asdict(recording.settings),
        "readings": {score.method: dict(score.reading) for score in session.scores},
        "versions": dict(recording.versions),
        "sources": [described_source(facts) for facts in recording.sources],
        "damage": dict(recording.damage),
        "doubt": dict(recording.doubt),
        "skipped": list(recording.skipped),
        "edges": plain(recording.edges),
        "notes": [_stated(notes) for notes in session.notes],
        "beside": [_beside(each) for each in session.recording.beside],
        "cameras": [plain(camera) for camera in session.cameras],
        "clock_origin": session.clock.origin,
    }


def _stated(notes: Notes) -> dict[str, Any]:
    return notes.model_dump(mode="json", exclude_defaults=True)


def _beside(each: Beside) -> dict[str, Any]:
    """Describe a clip beside the first; it is one of the last sources, in this order."""
    name = each.recording.sources[0].name
    return {"source": name, "start": plain(each.start), "notes": _stated(each.notes)}


def read_session(folder: Path) -> StoredSession:
    """Read back what :func:`write_session` wrote.

    Raises
    ------
    SessionError
        If the folder holds no session, a damaged one, or one of a newer version.
    """
    described = _read_description(folder)
    landmarks = read_landmarks(folder / LANDMARK_FILE)
    try:
        rows = described["sources"]
        places = read_places(folder, len(rows))
        sources = tuple(
            source_of(row, known, folder) for row, known in zip(rows, places, strict=True)
        )
        if not np.isin(landmarks.source_index, range(len(sources))).all():
            raise ValueError("source")  # session.json knows fewer recordings
        recording = Recording(
            settings=_SETTINGS.validate_python(described["settings"]),
            sources=sources,
            timeline=_timeline_of(sources, landmarks),
            number=landmarks.number,
            tracks=landmarks.tracks,
            damage=_WORDS.validate_python(described["damage"]),
            doubt=_WORDS.validate_python(described["doubt"]),
            skipped=_NAMES.validate_python(described["skipped"]),
            versions=_WORDS.validate_python(described["versions"]),
            edges={
                name: np.array(edges, dtype=np.float64).reshape(-1, 2, 2)
                for name, edges in described.get("edges", {}).items()
            },
        )
        notes = tuple(Notes.model_validate(row) for row in described["notes"])
        beside = described.get("beside", [])
        if beside:
            recording = with_secondary_cameras(recording, [_read_beside(row) for row in beside])
        if len(notes) != len(recording.sources):
            raise ValueError("notes")  # of more or fewer recordings
    except (KeyError, TypeError, ValueError, AttributeError, IndexError) as error:
        raise _damaged(folder) from error
    return StoredSession(recording, notes)


def _timeline_of(sources: Sequence[SourceFacts], landmarks: StoredLandmarks) -> Timeline:
    each = range(len(sources))
    return build_timeline(
        tuple(facts.name for facts in sources),
        tuple(landmarks.time_s[landmarks.source_index == index] for index in each),
        tuple(facts.kind == "clip" for facts in sources),
    )


def _read_beside(row: Mapping[str, Any]) -> tuple[Notes, Start]:
    start: dict[str, Any] = {
        key: np.nan if value is None else value for key, value in row["start"].items()
    }
    return Notes.model_validate(row["notes"]), _START.validate_python(start)


def _read_description(folder: Path) -> Mapping[str, Any]:
    recover(folder)
    path = folder / SESSION_FILE
    if not path.is_file():
        raise SessionError(
            "holds no session.",
            where=f"{folder}:",
            remedy="Name a folder that `ergo analyse` has made.",
        )
    try:
        described: Mapping[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        schema = int(described["schema"])
    except (OSError, ValueError, KeyError, TypeError, RecursionError, OverflowError) as error:
        raise _damaged(folder) from error
    if schema > SCHEMA:
        raise SessionError(
            f"was written by a newer version (layout {schema}, this program knows {SCHEMA}).",
            where=f"{folder}:",
            remedy="Update this program.",
        )
    return described


def _damaged(folder: Path) -> SessionError:
    return SessionError(
        "is damaged.",
        where=f"{folder / SESSION_FILE}:",
        remedy="Restore it from a copy, or analyse the recording again.",
    )
