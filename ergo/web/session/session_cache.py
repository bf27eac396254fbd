"""Sessions that are open on the page: read once, judged again after every correction."""

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from threading import RLock

from ergo.app.analyse import evaluate_session
from ergo.app.workflow import exposure_of_session, judge_again, load_session, same_moments
from ergo.exposure.exposure import Exposure
from ergo.frames.frame import SourceFacts
from ergo.library.entry import Entry, tidy_name
from ergo.library.library import Library
from ergo.notes.notes import Notes
from ergo.session.session import Session
from ergo.session.several_cameras import all_notes, all_sources, with_notes_of_secondary
from ergo.storage.choices import bring_back_choice, is_choice_shown
from ergo.storage.transaction import all_or_nothing, put_back_unfinished

KEPT_OPEN = 4
"""How many sessions stay in memory."""


@dataclass(frozen=True, slots=True, eq=False)
class OpenSession:
    """A session of the library with its figures.

    Attributes
    ----------
    entry : Entry
    session : Session
    exposure : Exposure
    """

    entry: Entry
    session: Session
    exposure: Exposure

    @property
    def notes(self) -> list[Notes]:
        """Return the notes of every source, those of clips beside the first last."""
        return all_notes(self.session.recording, self.session.notes)

    @property
    def sources(self) -> list[SourceFacts]:
        """Return every source, clips beside the first last; they are numbered in this order."""
        return all_sources(self.session.recording)

    @property
    def folder(self) -> Path:
        """Return the session folder."""
        return self.entry.folder


class OpenSessions:
    """The sessions of a library by id, the last few kept open.

    Parameters
    ----------
    library : Library
    """

    def __init__(self, library: Library) -> None:
        self.library = library
        self.lock = RLock()
        self._kept: OrderedDict[str, OpenSession] = OrderedDict()

    def entries(self) -> list[Entry]:
        """Return what the library holds."""
        return self.library.entries()

    def entry(self, session_id: str) -> Entry:
        """Return the entry of an id; KeyError if there is none."""
        for each in self.entries():
            if each.id == session_id:
                return each
        raise KeyError(session_id)

    def delete(self, entry: Entry) -> None:
        """Delete a session and every copy of it for good."""
        with self.lock:
            self.forget(entry.id)
            self.library.delete(entry.name)

    def get(self, session_id: str) -> OpenSession:
        """Return an open session; KeyError if there is none of this id."""
        with self.lock:
            kept = self._kept.get(session_id)
            if kept is not None and not self.library.holds(session_id):
                self.forget(session_id)  # another program has deleted it
                raise KeyError(session_id)
            if kept is None:
                entry = self.entry(session_id)
                put_back_unfinished(entry.folder)
                session = load_session(entry.folder)
                kept = self._keep(OpenSession(entry, session, exposure_of_session(session)))
            self._kept.move_to_end(session_id)
            return kept

    def describe(self, session_id: str, name: str, tags: Sequence[str]) -> Entry:
        """Give a session another name and other tags; KeyError if there is none of this id.

        Raises
        ------
        LibraryError
            If another session has that name; nothing is changed then.
        """
        with self.lock:
            entry = self.entry(session_id)
            wanted = {tidy_name(tag) for tag in tags}
            if tidy_name(name) != entry.name:
                entry = self.library.rename(entry.name, name)
            entry = self.library.tag(
                entry.name, sorted(wanted - {*entry.tags}), sorted({*entry.tags} - wanted)
            )
            if session_id in self._kept:
                self._kept[session_id] = replace(self._kept[session_id], entry=entry)
            return entry

    def judge_again(self, session_id: str, notes: Sequence[Notes]) -> OpenSession:
        """Return the session as other notes have it; no picture is looked at again.

        Parameters
        ----------
        session_id : str
        notes : sequence of Notes
            One per source, those of clips beside the first last.

        Raises
        ------
        NotTogether
            If a clip is no longer known to lie beside the first.
        """
        with self.lock:
            before = self.get(session_id)
            recording = before.session.recording
            own, beside = notes[: len(recording.sources)], notes[len(recording.sources) :]
            if list(beside) == [each.notes for each in recording.beside]:
                session = judge_again(before.session, own)
            else:
                is_stored = same_moments(before.notes, notes)
                session = evaluate_session(
                    with_notes_of_secondary(recording, beside), own, is_stored=is_stored
                )
            return self._keep(OpenSession(before.entry, session, exposure_of_session(session)))

    def show_choice(self, session_id: str) -> bool:
        """Show the landmarks of the operators stated; False if they have yet to be watched."""
        with self.lock:
            opened = self.get(session_id)
            with all_or_nothing(opened.folder):
                return self.choice_brought_back(opened)

    def choice_brought_back(self, opened: OpenSession) -> bool:
        """Do what :meth:`show_choice` does as a part of a larger change."""
        if is_choice_shown(opened.folder, opened.notes):
            return True
        self.forget(opened.entry.id)
        return bring_back_choice(opened.folder, opened.notes)

    def forget(self, session_id: str) -> None:
        """Close a session; it is read again when it is next wanted."""
        with self.lock:
            self._kept.pop(session_id, None)

    def _keep(self, opened: OpenSession) -> OpenSession:
        self._kept[opened.entry.id] = opened
        while len(self._kept) > KEPT_OPEN:
            self._kept.popitem(last=False)
        return opened
