"""A session as a folder: the recording is read back, all else is computed again."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from ergo.errors import SessionError
from ergo.frames.frame import SourceFacts
from ergo.notes.notes import Notes
from ergo.posture.alignment import Start
from ergo.session import SCHEMA, Beside, Recording, Session, Settings
from ergo.storage.folder import SESSION_FILE
from ergo.storage.landmark_file import StoredLandmarks, read_landmarks, write_landmarks
from ergo.storage.tables import plain, write_json
from ergo.timeline import build_timeline
from ergo.together import laid_beside, one_after_the_other
from ergo.whole import recover

LANDMARK_FILE = "landmarks.parquet"


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


def write_session(session: Session, folder: Path) -> None:
    """Write session.json and landmarks.parquet into an existing folder."""
    recording = one_after_the_other(session.recording)
    timeline = recording.timeline
    write_landmarks(
        folder / LANDMARK_FILE,
        StoredLandmarks(timeline.source_index, timeline.time_s, recording.number, recording.tracks),
    )
    write_json(folder / SESSION_FILE, _described(session))


def _described(session: Session) -> dict[str, Any]:
    recording = one_after_the_other(session.recording)
    return {
        "schema": SCHEMA,
        "settings": asdict(recording.settings),
        "readings": {score.method: dict(score.reading) for score in session.scores},
        "versions": dict(recording.versions),
        "sources": [plain(asdict(facts)) for facts in recording.sources],
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
        sources = tuple(_facts(row, folder) for row in described["sources"])
        timeline = build_timeline(
            tuple(facts.name for facts in sources),
            tuple(
                landmarks.time_s[landmarks.source_index == index] for index in range(len(sources))
            ),
            tuple(facts.kind == "clip" for facts in sources),
        )
        recording = Recording(
            settings=Settings(**described["settings"]),
            sources=sources,
            timeline=timeline,
            number=landmarks.number,
            tracks=landmarks.tracks,
            damage=described["damage"],
            doubt=described["doubt"],
            skipped=tuple(described["skipped"]),
            versions=described["versions"],
            edges={
                name: np.array(edges, dtype=np.float64).reshape(-1, 2, 2)
                for name, edges in described.get("edges", {}).items()
            },
        )
        notes = tuple(Notes.model_validate(row) for row in described["notes"])
        beside = described.get("beside", [])
        if beside:
            recording = laid_beside(recording, [_read_beside(row) for row in beside])
    except (KeyError, TypeError, ValueError) as error:
        raise _damaged(folder) from error
    return StoredSession(recording, notes)


def _read_beside(row: Mapping[str, Any]) -> tuple[Notes, Start]:
    start: dict[str, Any] = {
        key: np.nan if value is None else value for key, value in row["start"].items()
    }
    return Notes.model_validate(row["notes"]), Start(**start)


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
    except (OSError, ValueError, KeyError, TypeError) as error:
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


def _facts(row: Mapping[str, Any], folder: Path) -> SourceFacts:
    return SourceFacts(**{**row, "path": found_again(Path(row["path"]), folder)})


def found_again(path: Path, folder: Path) -> Path:
    """Return where a recording lies now, as seen from its session folder.

    A path is kept as the user gave it. When it was given from another working
    folder, it is looked for from the session folder and those above it.
    """
    if path.is_absolute() or path.exists():
        return path
    places = (above / path for above in folder.resolve().parents)
    return next((place for place in places if place.exists()), path)


def described_sources(sources: Sequence[SourceFacts]) -> list[dict[str, Any]]:
    """Return what identifies the pictures, for comparing an unfinished run with a new one."""
    return [{"name": facts.name, "sha256": facts.sha256} for facts in sources]
