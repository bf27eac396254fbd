"""Corrections: what the reader states is kept as notes, with a history that can be undone.

Each is one transaction: notes, history, the landmarks shown and the wish to have a recording
watched again change together, or nothing does.

The landmarks are never written to. Notes go to the session's folder in the library and
nowhere else: a session may come from outside, and what comes from outside never names a
place to write. ``ergo rescore`` takes them from there.
"""

import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from ergo.errors import NotesError, NotTogether, SessionError
from ergo.landmarks.pose_track import Role
from ergo.library.entry import Entry
from ergo.notes.notes import Notes, OperatorPoint
from ergo.notes.refusal import as_one_line
from ergo.session.session import Recording
from ergo.session.several_cameras import one_after_the_other
from ergo.storage.choices import remember_choice
from ergo.storage.session_notes import HISTORY_FILE, store_notes
from ergo.storage.transaction import all_or_nothing
from ergo.tracking.tracked_person import way_to_body
from ergo.tracking.tracker import POINT_REACH
from ergo.web.session.session_cache import OpenSession, OpenSessions
from ergo.whole import write_file

MOST_SPANS = 2000
"""Spans of one kind that the notes of a recording may hold (ours)."""


Follow = Callable[[Entry, bool], None]
"""Told that another operator is stated, and whether that person's landmarks are shown."""


class Correction(BaseModel):
    """One statement of the reader.

    ``set`` replaces what the notes state under a key, None removes it; ``add``
    puts a span at the end of a list of spans, where it wins over earlier ones.
    ``source`` None means every recording of the session; clips beside the first are
    numbered after the session's own. ``confirmed``: the operator stated is so although
    that person lies.
    """

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    source: int | None = Field(default=None, ge=0)
    key: str = Field(max_length=40)
    set: Any = None
    add: dict[str, Any] | None = None
    confirmed: bool = False


@dataclass(frozen=True, slots=True)
class Change:
    """What a statement changed in the notes of one source: the key before and after."""

    source: int
    key: str
    before: Any
    after: Any


@dataclass(frozen=True, slots=True)
class Step:
    """One line of the history.

    Attributes
    ----------
    number : int
        From 1, rising.
    at : str
        UTC, ISO 8601.
    changes : tuple of Change
    undoes : int or None
        Number of the step that this one takes back.
    """

    number: int
    at: str
    changes: tuple[Change, ...]
    undoes: int | None = None


def correct(
    sessions: OpenSessions, session_id: str, correction: Correction, follow: Follow
) -> OpenSession:
    """Put a correction into the notes, judge again and keep both; all of it or nothing.

    Parameters
    ----------
    sessions : OpenSessions
    session_id : str
    correction : Correction
    follow : callable
        Told the session in which another operator is stated, and whether the
        landmarks of that person are shown; if it fails, nothing is kept.

    Raises
    ------
    KeyError
        If there is no such session.
    NotesError
        If the notes cannot state that; nothing is changed then.
    OutputError
        If it cannot be kept; everything is as it was then.
    """
    with sessions.lock:
        opened = sessions.get(session_id)
        stated = [_stated(notes) for notes in opened.notes]
        changes = tuple(
            Change(source, correction.key, before, after)
            for source in _sources(correction, len(stated))
            for before in [stated[source].get(correction.key)]
            for after in [_after(before, correction)]
            if before != after
        )
        _check_can_be_watched(opened, changes)
        if not correction.confirmed:
            _check_is_no_patient(opened, changes)
        return _apply(sessions, opened, changes, None, follow) if changes else opened


def undo(sessions: OpenSessions, session_id: str, follow: Follow) -> OpenSession:
    """Take the last correction that still stands back; all of it or nothing.

    Raises
    ------
    NotesError
        If there is none.
    OutputError
        As for :func:`correct`.
    """
    with sessions.lock:
        opened = sessions.get(session_id)
        standing = [step for step, is_undone in steps_of(opened.folder) if not is_undone]
        if not standing:
            raise NotesError("There is no correction to undo.")
        last = standing[-1]
        changes = tuple(Change(c.source, c.key, c.after, c.before) for c in last.changes)
        return _apply(sessions, opened, changes, last.number, follow)


def steps_of(folder: Path) -> list[tuple[Step, bool]]:
    """Return the corrections of a session, oldest first, and whether each was undone."""
    steps = _history(folder)
    undone = {step.undoes for step in steps}
    return [(step, step.number in undone) for step in steps if step.undoes is None]


def _history(folder: Path) -> list[Step]:
    try:
        lines = (folder / HISTORY_FILE).read_text(encoding="utf-8").splitlines()
        return [_step(json.loads(line)) for line in lines]
    except FileNotFoundError:
        return []
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise SessionError(
            "is damaged.",
            where=f"{folder / HISTORY_FILE}:",
            remedy="Remove it; what was stated stays in the notes.",
        ) from error


def _step(row: dict[str, Any]) -> Step:
    changes = tuple(Change(**change) for change in row["changes"])
    return Step(row["number"], row["at"], changes, row["undoes"])


def _apply(
    sessions: OpenSessions,
    opened: OpenSession,
    changes: Sequence[Change],
    undoes: int | None,
    follow: Follow,
) -> OpenSession:
    """Judge with the changed notes first; only what can be judged is written."""
    stated = [_stated(notes) for notes in opened.notes]
    for change in changes:
        stated[change.source].pop(change.key, None)
        if change.after is not None:
            stated[change.source][change.key] = change.after
    notes = [_checked(each) for each in stated]
    try:
        after = sessions.judge_again(opened.entry.id, notes)
        with all_or_nothing(opened.folder):
            _write(opened, after, changes, undoes)
            if is_of_operator(changes):
                follow(opened.entry, sessions.choice_brought_back(after))
    except BaseException as error:
        sessions.forget(opened.entry.id)  # the next look reads what is stored
        if isinstance(error, NotTogether):  # the page has a remedy of its own
            raise NotTogether(error.what, where=error.where) from error
        raise
    return sessions.get(opened.entry.id)


def is_of_operator(changes: Sequence[Change]) -> bool:
    """Return whether a statement says who the operator is; landmarks depend on that alone."""
    return any(change.key == "operator" for change in changes)


def _check_can_be_watched(opened: OpenSession, changes: Sequence[Change]) -> None:
    for change in changes:
        facts = opened.sources[change.source]
        if change.key == "operator" and not facts.path.is_file():
            raise NotesError(
                "is no longer at its place.",
                where=f"{facts.name}:",
                remedy="To follow another person, the recording must be watched again.",
            )


def _check_is_no_patient(opened: OpenSession, changes: Sequence[Change]) -> None:
    """Refuse to take somebody for the operator who was seen lying there: a face would be shown."""
    recording = one_after_the_other(opened.session.recording)
    for change in changes:
        if change.key != "operator" or change.after is None:
            continue
        point = _checked({"operator": change.after}).operator
        if point is not None and _who_is_at(recording, change.source, point) == "patient":
            raise NotesError(
                "The person at this point lies, as a patient does.",
                remedy="Choose another one, or confirm that this is the operator.",
            )


def _who_is_at(recording: Recording, source: int, point: OperatorPoint) -> Role | None:
    """Return who of those followed is nearest to a point when seen closest in time, if anybody."""
    frames = recording.timeline.frames_of(source)
    ways: dict[Role, float] = {}
    for role, track in recording.tracks.items():
        seen = frames[track.found[frames]]
        if seen.size:
            nearest = seen[np.argmin(np.abs(recording.timeline.time_s[seen] - point.time_s))]
            points = np.nanmean(track.picture_px[nearest, :, :, :2], axis=0)
            ways[role] = way_to_body(points, np.array(point.at))
    who = min(ways, key=lambda role: ways[role], default=None)
    return None if who is None or ways[who] > POINT_REACH else who


def _write(
    opened: OpenSession, after: OpenSession, changes: Sequence[Change], undoes: int | None
) -> None:
    if is_of_operator(changes):
        remember_choice(opened.folder, opened.notes)
    store_notes(opened.folder, after.session.notes, after.session.recording.beside)
    step = Step(
        number=len(_history(opened.folder)) + 1,
        at=datetime.now(UTC).isoformat(timespec="seconds"),
        changes=tuple(changes),
        undoes=undoes,
    )
    line = json.dumps(asdict(step), ensure_ascii=False, allow_nan=False)
    path = opened.folder / HISTORY_FILE
    so_far = path.read_text(encoding="utf-8") if path.is_file() else ""
    write_file(path, f"{so_far}{line}\n")


def _stated(notes: Notes) -> dict[str, Any]:
    return notes.model_dump(mode="json", exclude_defaults=True)


def _sources(correction: Correction, count: int) -> list[int]:
    if correction.source is None:
        return list(range(count))
    if correction.source >= count:
        raise NotesError(f"There is no recording {correction.source} in this session.")
    return [correction.source]


def _after(before: Any, correction: Correction) -> Any:
    if correction.add is None:
        return correction.set
    spans = [*(before or []), correction.add] if isinstance(before, list | None) else None
    if spans is None or len(spans) > MOST_SPANS:
        raise NotesError(f"{correction.key} takes no further span.")
    return spans


def _checked(stated: dict[str, Any]) -> Notes:
    try:
        return Notes.model_validate(stated)
    except ValidationError as error:
        raise NotesError(as_one_line(error)) from error
