"""A correction in the reader's words."""

from typing import Any

from ergo.report.text.words import Words
from ergo.session.session import Session
from ergo.session.several_cameras import all_sources
from ergo.web.session.corrections import Change, Step


def step_text(step: Step, session: Session, words: Words) -> str:
    """Return what a step stated: what, where, and its value."""
    texts = dict.fromkeys(_change_text(change, words) for change in step.changes)
    sources = {change.source for change in step.changes}
    every = all_sources(session.recording)
    everywhere = len(sources) == len(every)
    names = [every[source].name for source in sorted(sources)]
    where = "" if everywhere else f"{', '.join(names)}: "
    return where + "; ".join(texts)


def _change_text(change: Change, words: Words) -> str:
    value = change.after
    if isinstance(value, list) and isinstance(change.before, list | None):
        value = value[-1] if len(value) > len(change.before or []) else value
    what = words.name("page.key", change.key)
    return words.say("page.stated", what=what, value=_value(value, words))


def _value(value: Any, words: Words) -> str:
    if value is None:
        return words.say("page.not_stated")
    if isinstance(value, dict):
        span = _span(value, words) if "from_s" in value or "to_s" in value else ""
        rest = [_pair(k, v, words) for k, v in value.items() if k not in ("from_s", "to_s")]
        return ", ".join(part for part in (*rest, span) if part)
    if isinstance(value, list):  # of numbers: a place in the picture, in px
        return ", ".join(
            _value(round(each) if isinstance(each, float) else each, words) for each in value
        )
    if isinstance(value, bool):
        return words.say("holds.yes" if value else "holds.no")
    if isinstance(value, int | float):
        return words.number(value, next((n for n in (0, 1) if round(value, n) == value), 2))
    return words.name("page", str(value))


def _pair(key: str, value: Any, words: Words) -> str:
    return f"{words.name('page.key', key)} {_value(value, words)}"


def _span(span: dict[str, Any], words: Words) -> str:
    start = words.clock_time(span.get("from_s", 0.0))
    end = span.get("to_s")
    return words.say(
        "page.marked",
        start=start,
        end=words.say("page.the_end") if end is None else words.clock_time(end),
    )
