"""The library: sessions by name, with tags and operators, that nothing can half-write.

One folder holds it all and can be backed up by copying: the database (unless a
server holds it), ``sessions/ID/`` with the files of each session, and
``changing/ID``, a mark that stands while a session is being written or deleted.
One program changes the library at a time; others wait, readers need not. A
program that is killed leaves its mark behind, and the next one to open the
library finishes or undoes that change: what the database does not hold was not
finished, and its files are removed. Folders without a mark are never touched.
"""

import shutil
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from uuid import uuid4

from sqlalchemy import Connection, Engine, func, insert, select

from ergo.alone import alone, if_alone
from ergo.errors import LibraryError
from ergo.library import rows as rows
from ergo.library.entry import Entry, Profile, checked_name
from ergo.library.files import copy_in, operator_of, pack, pack_facts, unpack
from ergo.library.rows import Described
from ergo.library.schema import (
    LIBRARY,
    PATIENCE_S,
    SESSIONS,
    StillRemembered,
    check_age,
    engine_for,
    forget_deleted,
    log_is_settled,
    migrate,
    told,
    told_of_database,
)
from ergo.library.stored_copies import remove_copies
from ergo.session.several_cameras import all_sources
from ergo.storage.private import make_private
from ergo.storage.session_folder import read_session
from ergo.whole import write_file

_TO_GO = "delete"
"""What the mark of a session says that is being deleted, not added."""


@dataclass(frozen=True, slots=True, eq=False)
class Library:
    """An open library; made by :func:`open_library`, closed by ``with``.

    Attributes
    ----------
    folder : Path
    where : str
        The database as errors call it, without its password.
    engine : Engine
    """

    folder: Path
    where: str
    engine: Engine

    def __enter__(self) -> "Library":
        return self

    def __exit__(self, *_: object) -> None:
        self.engine.dispose()

    def entries(self, *, tag: str | None = None, operator: str | None = None) -> list[Entry]:
        """Return the sessions, by day of recording (unstated last) and name."""
        with self._reading() as connection:
            return rows.read_entries(connection, self._sessions, tag, operator)

    def entry(self, name: str) -> Entry:
        """Return the session of that name.

        Raises
        ------
        LibraryError
            If there is none.
        """
        with self._reading() as connection:
            return rows.read_entry(connection, self._sessions, name)

    def holds(self, session_id: str) -> bool:
        """Return whether there is a session of this id."""
        with self._reading() as connection:
            return rows.has_session(connection, session_id)

    def add(
        self,
        source: Path,
        name: str | None = None,
        *,
        tags: Sequence[str] = (),
        operator: str | None = None,
        recorded_on: date | None = None,
    ) -> Entry:
        """Copy a session folder into the library.

        Parameters
        ----------
        source : Path
            A folder that ``ergo analyse`` made; it stays as it is.
        name : str, optional
            The folder's own name if not stated.
        tags : sequence of str
        operator : str, optional
            Pseudonym, the one that the notes state if not stated; gets an empty
            profile if it has none.
        recorded_on : date, optional

        Raises
        ------
        SessionError
            If the folder holds no session, a damaged one or one of a newer version.
        LibraryError
            If the name is taken, there is no room, or the notes are about another
            operator.
        """
        stored = read_session(source)
        sources = all_sources(stored.recording)
        operator = operator_of(stored, operator)
        profile = Profile(operator) if operator else None
        wanted = Described(name or source.resolve().name, tuple(tags), profile, recorded_on)
        return self._write(wanted, lambda folder: copy_in(source, folder, sources))

    def import_pack(self, archive: Path, name: str | None = None) -> Entry:
        """Add a session from a zip that :meth:`export` wrote.

        Parameters
        ----------
        archive : Path
        name : str, optional
            Another name than the one it had.

        Raises
        ------
        LibraryError
            If the zip is damaged or of a newer version, or the name is taken.
        SessionError
            If the session in it is damaged or of a newer version.
        """
        with told(archive):
            facts = pack_facts(archive)
        wanted = Described(name or facts.name, facts.tags, facts.operator, facts.recorded_on)

        def fill(folder: Path) -> None:
            unpack(archive, folder)
            read_session(folder)

        return self._write(wanted, fill)

    def export(self, name: str, target: Path) -> None:
        """Write one zip with everything: the files, name, tags, day and operator's profile."""
        with self._reading() as connection:
            entry = rows.read_entry(connection, self._sessions, name)
            profile = rows.read_profile(connection, entry.operator) if entry.operator else None
        described = Described(
            entry.name,
            entry.tags,
            profile,
            entry.recorded_on,
        )
        pack(entry.folder, described, target)

    def rename(self, name: str, new_name: str) -> Entry:
        """Give a session another name."""
        wanted = checked_name(new_name)
        with self._changing() as connection:
            entry = rows.read_entry(connection, self._sessions, name)
            if wanted != entry.name:
                rows.check_free(connection, wanted)
            rows.update_session(connection, entry.id, name=wanted)
        return replace(entry, name=wanted)

    def describe(
        self, name: str, *, operator: str | None = None, recorded_on: date | None = None
    ) -> Entry:
        """State whose session it is and when it was recorded; None leaves it as it was."""
        with self._changing() as connection:
            entry = rows.read_entry(connection, self._sessions, name)
            if operator is not None:
                profile = Profile(operator)
                rows.know_operator(connection, profile)
                rows.update_session(connection, entry.id, operator=profile.pseudonym)
            if recorded_on is not None:
                rows.update_session(connection, entry.id, recorded_on=recorded_on.isoformat())
        return self.entry(name)

    def tag(self, name: str, add: Sequence[str] = (), remove: Sequence[str] = ()) -> Entry:
        """Add and remove tags of a session."""
        with self._changing() as connection:
            entry = rows.read_entry(connection, self._sessions, name)
            rows.add_tags(connection, entry.id, add)
            rows.remove_tags(connection, entry.id, remove)
        return self.entry(name)

    def delete(self, name: str) -> None:
        """Remove a session and every copy of it in the library for good.

        That is its files, recordings that were sent for it alone, what was made of it,
        the analyses it came from, and what the database still remembers.
        """
        with (
            self._alone(),
            self._marked(self.entry(name).id, _TO_GO) as session_id,
            self._writing() as connection,
        ):
            rows.delete_session(connection, session_id)

    def profiles(self) -> list[Profile]:
        """Return the operators by pseudonym."""
        with self._reading() as connection:
            return rows.read_profiles(connection)

    def profile(self, pseudonym: str) -> Profile:
        """Return the profile of an operator; a LibraryError if there is none."""
        with self._reading() as connection:
            return rows.read_profile(connection, pseudonym)

    def save_profile(self, profile: Profile) -> None:
        """Write the profile of an operator, new or known."""
        with self._changing() as connection:
            rows.write_profile(connection, profile)

    def delete_profile(self, pseudonym: str) -> None:
        """Remove an operator's profile for good; the sessions stay, without an operator."""
        with self._changing() as connection:
            known = rows.read_profile(connection, pseudonym)
            rows.delete_profile(connection, known.pseudonym)
        with self._alone():
            forget_deleted(self.engine, self.where)

    @property
    def _sessions(self) -> Path:
        return self.folder / "sessions"

    @property
    def _marks(self) -> Path:
        return self.folder / "changing"

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with told_of_database(self.where), self.engine.connect() as connection:
            yield connection

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        with told_of_database(self.where), self.engine.begin() as connection:
            yield connection

    @contextmanager
    def _changing(self) -> Iterator[Connection]:
        with self._alone(), self._writing() as connection:
            yield connection

    @contextmanager
    def _alone(self) -> Iterator[None]:
        """Be the only program that changes the library."""
        refusal = LibraryError(
            "is being changed by another program.",
            where=f"{self.folder}:",
            remedy="Wait until that has finished, then repeat the command.",
        )
        with ExitStack() as held:
            with told(self.folder):
                held.enter_context(alone(self._lock, refusal, patience_s=PATIENCE_S))
            yield

    def _write(self, described: Described, fill: Callable[[Path], None]) -> Entry:
        """Fill a new session folder, then let the database know it: in this order."""
        described = replace(described, name=checked_name(described.name))
        with self._alone():
            with self._reading() as connection:
                rows.check_free(connection, described.name)
            with self._marked(uuid4().hex) as session_id:
                with told(self.folder):
                    self._sessions.mkdir(exist_ok=True)
                    fill(self._sessions / session_id)
                with self._writing() as connection:
                    rows.insert_session(connection, session_id, described)
        return self.entry(described.name)

    @contextmanager
    def _marked(self, session_id: str, purpose: str = "") -> Iterator[str]:
        """Mark a session as changing; afterwards its files stay if the database has it."""
        with told(self.folder):
            self._marks.mkdir(exist_ok=True)
            (self._marks / session_id).write_text(purpose, "ascii")
        try:
            yield session_id
        finally:
            self._settle(session_id)

    def _settle(self, session_id: str) -> None:
        with self._reading() as connection:
            is_kept = rows.has_session(connection, session_id)
        mark, folder = self._marks / session_id, self._sessions / session_id
        with told(self.folder):
            if not is_kept and mark.read_text("ascii", "replace") == _TO_GO:
                remove_copies(self.folder, session_id)
                forget_deleted(self.engine, self.where)
            elif not is_kept and folder.exists():
                shutil.rmtree(folder)
            mark.unlink(missing_ok=True)

    def recover(self) -> None:
        """Finish or undo what killed programs were changing; not while another one works."""
        if not self._marks.is_dir() or not any(self._marks.iterdir()):
            return
        with if_alone(self._lock) as is_ours:
            if is_ours and log_is_settled(self.engine):
                for mark in self._marks.iterdir():
                    with suppress(StillRemembered):  # the mark stays: the next one tries again
                        self._settle(mark.name)

    def prepare(self) -> None:
        """Bring the database up to date and make sure that it belongs to this folder."""
        with told_of_database(self.where):
            if not check_age(self.engine, self.where):
                with self._alone():
                    migrate(self.engine)
            self._check_belongs()

    def _check_belongs(self) -> None:
        with self._reading() as connection:
            if self._is_ours(connection):
                return
        with self._changing() as connection:
            if self._is_ours(connection):
                return
            is_used = connection.scalar(select(func.count()).select_from(SESSIONS)) != 0
            if self._id_file.exists() or is_used:
                raise LibraryError(
                    "belongs to another database.",
                    where=f"{self.folder}:",
                    remedy="Name its own database, or another folder with --library.",
                )
            known = connection.scalar(select(LIBRARY.c.id))
            if known is None:
                known = uuid4().hex
                connection.execute(insert(LIBRARY).values(id=known))
            write_file(self._id_file, known)

    def _is_ours(self, connection: Connection) -> bool:
        known = connection.scalar(select(LIBRARY.c.id))
        return self._id_file.is_file() and self._id_file.read_text("ascii", "replace") == known

    @property
    def _lock(self) -> Path:
        return self.folder / "library.lock"

    @property
    def _id_file(self) -> Path:
        return self.folder / "library.id"


def open_library(folder: Path, database_url: str | None = None) -> Library:
    """Open a library, making it if there is none, and bring it up to date.

    Parameters
    ----------
    folder : Path
    database_url : str, optional
        ``postgresql://...`` where a school's server holds the database; the
        files stay in ``folder``.

    Raises
    ------
    LibraryError
        If it was written by a newer version, cannot be used, or the folder
        belongs to another database.
    MissingLibrary
        If the driver for PostgreSQL is not installed.
    """
    with told(folder):
        is_new = not folder.exists()
        folder.mkdir(parents=True, exist_ok=True)
        make_private(folder, is_shared=bool(database_url), is_new=is_new)
    engine, where = engine_for(folder, database_url)
    library = Library(folder, where, engine)
    try:
        library.prepare()
        library.recover()
    except BaseException:
        engine.dispose()
        raise
    return library
