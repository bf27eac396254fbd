"""Turn a refusal of the notes' models into one line that says what is allowed."""

import difflib
from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from ergo.notes.notes import Notes
from ergo.printable import MOST_SHOWN, shortened

_UNREADABLE = 10**18
Place = tuple[int | str, ...]
Schema = Mapping[str, Any]


def as_one_line(refusal: ValidationError) -> str:
    """Return what is wrong with the first refused key, and what is allowed there.

    Parameters
    ----------
    refusal : ValidationError
        Raised by :class:`~ergo.notes.notes.Notes`.

    Returns
    -------
    str
        For example ``camera.pitch_deg = 100 is not possible; allowed: -89 to 89.``
    """
    schema = Notes.model_json_schema()
    first, *others = refusal.errors(include_url=False)
    place, kind = first["loc"], first["type"]
    if kind == "extra_forbidden":
        line = _unknown_key(place, schema)
    elif kind == "value_error":
        line = f"{_dotted(place)} is not possible: {first['ctx']['error']}."
    else:
        line = _impossible_value(place, kind, first["input"], schema)
    return f"{line} ({len(others)} more to correct.)" if others else line


def _unknown_key(place: Place, schema: Schema) -> str:
    keys = sorted(_schema_at(place[:-1], schema)["properties"])
    near = difflib.get_close_matches(str(place[-1])[:MOST_SHOWN], keys, n=1, cutoff=0.5)
    hint = f" did you mean {near[0]}?" if near else ""
    return f"unknown key {_dotted(place)};{hint} Allowed: {', '.join(keys)}."


def _impossible_value(place: Place, kind: str, given: Any, schema: Schema) -> str:
    allowed = _allowed(_schema_at(place, schema))
    if kind == "missing":
        return f"{_dotted(place)} is missing; allowed: {allowed}."
    return f"{_dotted(place)} = {_shown(given)} is not possible; allowed: {allowed}."


def _shown(given: Any) -> str:
    """Return a value about as TOML writes it, on one line and short."""
    if isinstance(given, bool):
        return str(given).lower()
    if isinstance(given, dict):
        return "a table"
    if isinstance(given, list | tuple):
        return f"[{', '.join(_shown(each) for each in given[:4])}]"
    if isinstance(given, int) and abs(given) >= _UNREADABLE:
        return "a number of many digits"
    return shortened(f'"{given}"' if isinstance(given, str) else str(given))


def _dotted(place: Place) -> str:
    """Return a place as people count: ``clock[2].hours`` is in the second ``[[clock]]``."""
    words = [f"[{step + 1}]" if isinstance(step, int) else f".{step}" for step in place]
    return shortened("".join(words).lstrip("."))


def _schema_at(place: Place, schema: Schema) -> Schema:
    here = schema
    for step in place:
        here = _resolved(here, schema)
        if isinstance(step, str):
            here = here["properties"][step]
        else:
            here = here["prefixItems"][step % 2] if "prefixItems" in here else here["items"]
    return _resolved(here, schema)


def _resolved(here: Schema, schema: Schema) -> Schema:
    """Follow a reference; of "this or nothing" take this."""
    if "anyOf" in here:
        here = next(choice for choice in here["anyOf"] if choice.get("type") != "null")
    if "$ref" in here:
        here = schema["$defs"][here["$ref"].rsplit("/", 1)[1]]
    return here


def _allowed(here: Schema) -> str:
    if "enum" in here:
        return " or ".join(f'"{value}"' for value in here["enum"])
    kind = here["type"]
    if kind == "object":
        return f"a table with the keys {', '.join(sorted(here['properties']))}"
    if kind == "array":
        return "two numbers [x, y]" if "prefixItems" in here else "a list of tables [[...]]"
    if kind == "string":
        longest = here.get("maxLength")
        without = r", none of them / \ : or a line break" if "pattern" in here else ""
        least = here.get("minLength", 0)
        return f"text of {least} to {longest} characters{without}" if longest else "text"
    if kind == "boolean":
        return "true or false"
    return ("whole numbers " if kind == "integer" else "") + _range(here)


def _range(here: Schema) -> str:
    edges = {
        "minimum": "at least",
        "exclusiveMinimum": "above",
        "maximum": "at most",
        "exclusiveMaximum": "below",
    }
    stated = [f"{word} {here[key]:g}" for key, word in edges.items() if key in here]
    allowed = " and ".join(stated) or "a number"
    return f'{allowed} s, or a time as "0:05"' if here.get("format") == "time" else allowed
