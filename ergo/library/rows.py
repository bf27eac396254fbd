"""The rows of the library: from and to what travels, inside a transaction of the caller."""

import re
from collections.abc import Collection, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from pathlib import Path

from sqlalchemy import Connection, RowMapping, delete, insert, select, update

from ergo.errors import LibraryError
from ergo.library.entry import Entry, Profile, checked_name, tidy_name
from ergo.library.schema import OPERATORS, SESSIONS, TAGS, now

_ID = re.compile(r"[0-9a-f]{32}")


@dataclass(frozen=True, slots=True)
class Described:
    """What is to be known of a new session.

    Attributes
    ----------
    name : str
    tags : tuple of str
    operator : Profile or None
        Written only if the operator has no profile yet.
    recorded_on : date or None
    """

    name: str
    tags: tuple[str, ...] = ()
    operator: Profile | None = None
    recorded_on: date | None = None


def read_entries(
    connection: Connection, folder: Path, tag: str | None, operator: str | None
) -> list[Entry]:
    """Return the sessions whose files lie in ``folder``, by day of recording and name."""
    query = select(SESSIONS).order_by(
        SESSIONS.c.recorded_on.is_(None), SESSIONS.c.recorded_on, SESSIONS.c.name
    )
    if operator is not None:
        query = query.where(SESSIONS.c.operator == tidy_name(operator))
    if tag is not None:
        tagged = select(TAGS.c.session_id).where(TAGS.c.tag == tidy_name(tag))
        query = query.where(SESSIONS.c.id.in_(tagged))
    rows = connection.execute(query).mappings().all()
    return [_entry(connection, folder, row) for row in rows]


def read_entry(connection: Connection, folder: Path, name: str) -> Entry:
    """Return the session of that name; a LibraryError if there is none."""
    called = SESSIONS.c.name == tidy_name(name)
    row = connection.execute(select(SESSIONS).where(called)).mappings().first()
    if row is None:
        raise LibraryError(
            "is not the name of a session in the library.",
            where=f'"{name}"',
            remedy="`ergo sessions list` shows the names.",
        )
    return _entry(connection, folder, row)


def _entry(connection: Connection, folder: Path, row: RowMapping) -> Entry:
    tags = select(TAGS.c.tag).where(TAGS.c.session_id == row["id"])
    day = row["recorded_on"]
    return Entry(
        id=_own_id(row["id"]),
        name=_text(row["name"]),
        added_at=datetime.fromisoformat(row["added_at"]),
        recorded_on=date.fromisoformat(day) if day else None,
        operator=row["operator"] and _text(row["operator"]),
        tags=tuple(sorted(map(_text, connection.scalars(tags)))),
        folder=folder / row["id"],
    )


def _own_id(stored: object) -> str:
    """Return an id that we gave; it names a folder, so nothing else may stand there."""
    if not isinstance(stored, str) or not _ID.fullmatch(stored):
        raise ValueError("the id of a session is none of ours")
    return stored


def _text(stored: object) -> str:
    """Return text; SQLite keeps anything in any column."""
    if not isinstance(stored, str):
        raise TypeError("text is wanted")
    return stored


def check_free(connection: Connection, name: str) -> None:
    """Refuse a name that another session has."""
    if connection.scalar(select(SESSIONS.c.id).where(SESSIONS.c.name == name)) is not None:
        raise LibraryError(
            "is the name of another session in the library.",
            where=f'"{name}"',
            remedy="State another one with --name.",
        )


def has_session(connection: Connection, session_id: str) -> bool:
    """Return whether the database holds a session of that id."""
    return connection.scalar(select(SESSIONS.c.id).where(SESSIONS.c.id == session_id)) is not None


def insert_session(connection: Connection, session_id: str, described: Described) -> None:
    """Write a new session with its tags and, if new, its operator."""
    if described.operator is not None:
        know_operator(connection, described.operator)
    connection.execute(
        insert(SESSIONS).values(
            id=session_id,
            name=described.name,
            added_at=now(),
            recorded_on=described.recorded_on and described.recorded_on.isoformat(),
            operator=described.operator and described.operator.pseudonym,
        )
    )
    add_tags(connection, session_id, described.tags)


def update_session(connection: Connection, session_id: str, **values: str) -> None:
    """Change some columns of a session."""
    connection.execute(update(SESSIONS).where(SESSIONS.c.id == session_id).values(values))


def delete_session(connection: Connection, session_id: str) -> None:
    """Remove a session and its tags."""
    connection.execute(delete(SESSIONS).where(SESSIONS.c.id == session_id))


def add_tags(connection: Connection, session_id: str, tags: Collection[str]) -> None:
    """Add tags, as far as the session does not have them."""
    own = select(TAGS.c.tag).where(TAGS.c.session_id == session_id)
    for tag in sorted({checked_name(tag, "A tag") for tag in tags} - {*connection.scalars(own)}):
        connection.execute(insert(TAGS).values(session_id=session_id, tag=tag))


def remove_tags(connection: Connection, session_id: str, tags: Sequence[str]) -> None:
    """Remove tags, as far as the session has them."""
    its_own = TAGS.c.session_id == session_id
    connection.execute(
        delete(TAGS).where(its_own, TAGS.c.tag.in_([tidy_name(tag) for tag in tags]))
    )


def read_profiles(connection: Connection) -> list[Profile]:
    """Return the operators by pseudonym."""
    rows = connection.execute(select(OPERATORS)).mappings().all()
    known = (Profile(**{**row, "pseudonym": _text(row["pseudonym"])}) for row in rows)
    return sorted(known, key=lambda profile: profile.pseudonym)


def read_profile(connection: Connection, pseudonym: str) -> Profile:
    """Return the profile of an operator; a LibraryError if there is none."""
    known = {profile.pseudonym: profile for profile in read_profiles(connection)}
    pseudonym = tidy_name(pseudonym)
    if pseudonym not in known:
        raise LibraryError(
            "is not the pseudonym of an operator in the library.",
            where=f'"{pseudonym}"',
            remedy=f"Known are: {', '.join(known) or 'none yet'}.",
        )
    return known[pseudonym]


def know_operator(connection: Connection, profile: Profile) -> None:
    """Write a profile unless the operator has one."""
    if not _is_known(connection, profile.pseudonym):
        write_profile(connection, profile)


def write_profile(connection: Connection, profile: Profile) -> None:
    """Write a profile, new or known."""
    values = asdict(profile)
    if _is_known(connection, profile.pseudonym):
        mine = OPERATORS.c.pseudonym == profile.pseudonym
        connection.execute(update(OPERATORS).where(mine).values(values))
    else:
        connection.execute(insert(OPERATORS).values(values))


def delete_profile(connection: Connection, pseudonym: str) -> None:
    """Remove a profile; sessions of the operator stay without one."""
    connection.execute(delete(OPERATORS).where(OPERATORS.c.pseudonym == pseudonym))


def _is_known(connection: Connection, pseudonym: str) -> bool:
    query = select(OPERATORS.c.pseudonym).where(OPERATORS.c.pseudonym == pseudonym)
    return connection.scalar(query) is not None
