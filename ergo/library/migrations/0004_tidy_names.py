"""Names, tags and pseudonyms are written one way: those that differed by spaces become one."""

import unicodedata

from sqlalchemy import Connection, text


def apply(connection: Connection) -> None:
    """Tidy what is stored; of two profiles that become one, the tidy one's values stay."""
    _operators(connection)
    _tags(connection)
    _names(connection)


def _tidy(name: str) -> str:
    return unicodedata.normalize("NFC", name).strip()


def _operators(connection: Connection) -> None:
    known = list(connection.scalars(text("SELECT pseudonym FROM operators ORDER BY pseudonym")))
    for name in known:
        tidy = _tidy(name)
        if tidy == name:
            continue
        if tidy not in known:
            _do(connection, _COPY, old=name, new=tidy)
            known.append(tidy)
        else:
            _do(connection, _FILL, old=name, new=tidy)
        _do(connection, "UPDATE sessions SET operator = :new WHERE operator = :old", name, tidy)
        _do(connection, "DELETE FROM operators WHERE pseudonym = :old", name, tidy)


_COPY = (
    "INSERT INTO operators (pseudonym, handed, stature_cm, loupes_declination_deg) "
    "SELECT :new, handed, stature_cm, loupes_declination_deg FROM operators WHERE pseudonym = :old"
)
_FILL = "UPDATE operators SET " + ", ".join(
    f"{column} = COALESCE({column}, (SELECT {column} FROM operators WHERE pseudonym = :old))"
    for column in ("handed", "stature_cm", "loupes_declination_deg")
) + " WHERE pseudonym = :new"  # fmt: skip


def _tags(connection: Connection) -> None:
    rows = [
        (row[0], row[1]) for row in connection.execute(text("SELECT session_id, tag FROM tags"))
    ]
    taken = set(rows)
    for session, tag in rows:
        tidy = _tidy(tag)
        if tidy == tag:
            continue
        order = "UPDATE tags SET tag = :new WHERE session_id = :session AND tag = :old"
        if (session, tidy) in taken:
            order = "DELETE FROM tags WHERE session_id = :session AND tag = :old AND tag <> :new"
        taken.add((session, tidy))
        connection.execute(text(order), {"session": session, "old": tag, "new": tidy})


def _names(connection: Connection) -> None:
    names = list(connection.scalars(text("SELECT name FROM sessions ORDER BY name")))
    for name in names:
        tidy = _tidy(name)
        if tidy == name:
            continue
        tried = (tidy, *(f"{tidy[:76]} {number}" for number in range(2, len(names) + 2)))
        new = next(each for each in tried if each not in names)
        names.append(new)
        _do(connection, "UPDATE sessions SET name = :new WHERE name = :old", name, new)


def _do(connection: Connection, order: str, old: str, new: str) -> None:
    connection.execute(text(order), {"old": old, "new": new})
