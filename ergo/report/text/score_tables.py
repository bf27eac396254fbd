"""Tables about the methods: which reading was used, what it changes, what was not measured."""

from importlib.resources import files

import numpy as np

from ergo.arrays import BoolArray
from ergo.report.text.tables import Table, checked
from ergo.report.text.words import Words
from ergo.scores.interpretations import READINGS
from ergo.scores.method_score import NOT_SEEN, MethodScore
from ergo.scores.methods import METHODS, Difference, minutes_scored_differently
from ergo.scores.table import origin_of
from ergo.session.session import Session

METHODS_WITH_MODIFIERS = ("RULA", "REBA")
"""Methods that share the tables of modifiers (abducted, twisted, bent)."""
MOST_INFLUENTIAL = (
    "static_after",
    "rula_table_a",
    "score_shown",
    "abduction_by",
    "dental_forearm",
)
"""Readings for which we work out what the other choice would change."""
BY_TABLES = "score_of_measured_angles"
WORSE = "score_if_assumed_worse"
EASED = "score_if_not_strained"


def readings_table(session: Session, words: Words) -> Table:
    """Return the open points that touch these scores, the reading used and its weight."""
    used: dict[str, str] = {}
    for score in session.scores:
        used.update(score.reading)
    differs = _differs(session, words)
    rows = tuple(
        (
            words.name("readings", option),
            words.name("choices", choice),
            words.name("reading_changes", option),
            " ".join(differs.get(option, ())),
        )
        for option, choice in used.items()
        if option in READINGS
    )
    columns = tuple(words.say(f"column.{key}") for key in ("reading", "used", "changes", "differ"))
    return Table(words.say("caption.readings"), columns, rows)


def _differs(session: Session, words: Words) -> dict[str, list[str]]:
    """Return what the other choice of the most influential readings would change, in words."""
    differences = minutes_scored_differently(
        session.recording.timeline,
        session.posture,
        session.notes,
        session.recording.settings.readings,
        MOST_INFLUENTIAL,
    )
    said: dict[str, list[str]] = {}
    for each in differences:
        said.setdefault(each.option, []).append(_difference_text(each, session, words))
    return said


def _difference_text(difference: Difference, session: Session, words: Words) -> str:
    unit = session.recording.timeline.unit
    return words.say(
        "scores.differ",
        method=words.name("rules", difference.method),
        side=words.say(f"scores.sides.{difference.side}"),
        score=words.amount(difference.score_differs, unit),
        level=words.amount(difference.level_differs, unit),
        judged=words.amount(difference.judged, unit),
        other=words.name("choices", difference.other),
    )


def assumed_table(session: Session, words: Words) -> Table | None:
    """Return the inputs taken as neutral and how much one step more would change."""
    rows = tuple(
        (
            words.name("rules", score.method),
            words.say(f"scores.sides.{score.side}"),
            ", ".join(words.name("inputs", name) for name in score.assumed),
            _effect(score, session, words),
        )
        for score in session.scores
        if score.assumed
    )
    if not rows:
        return None
    columns = tuple(words.say(f"column.{key}") for key in ("method", "side", "input", "effect"))
    return Table(words.say("caption.assumed"), columns, rows)


def _effect(score: MethodScore, session: Session, words: Words) -> str:
    """Return how long the final score would be higher if what was assumed were worse."""
    if WORSE not in score.steps:
        return words.say("number.unknown")
    worse, judged = score.steps[WORSE], score.score != NOT_SEEN
    return words.say(
        "scores.higher",
        amount=_held(session, judged & (worse > score.steps[BY_TABLES]), words),
        judged=_held(session, judged, words),
    )


def promise(session: Session, words: Words) -> str | None:
    """Return how often the scores shown are expected within 1 of those of the true angles."""
    held = session.recording.timeline.held
    each = []
    for score in session.scores:
        judged = score.score != NOT_SEEN
        if score.within_one is None or not np.any(held[judged]):
            continue
        share = float(np.average(score.within_one[judged], weights=held[judged]))
        name = f"{words.name('rules', score.method)} {words.say(f'scores.sides.{score.side}')}"
        each.append(f"{name} {words.share(share)}")
    return words.say("scores.promise", each=", ".join(each)) if each else None


def strained_table(session: Session, words: Words) -> Table | None:
    """Return the inputs counted as strained, for how long, and what that changes."""
    held = session.recording.timeline.held
    rows = []
    for score in session.scores:
        counted = [
            words.say(
                "scores.counted",
                input=words.name("inputs", name),
                amount=_held(session, frames, words),
                judged=_held(session, score.score != NOT_SEEN, words),
            )
            for name, frames in score.strained.items()
            if np.any(held[frames])
        ]
        if counted:
            method = words.name("rules", score.method)
            side = words.say(f"scores.sides.{score.side}")
            rows.append((method, side, ", ".join(counted), _eased(score, session, words)))
    if not rows:
        return None
    columns = tuple(words.say(f"column.{key}") for key in ("method", "side", "input", "without"))
    return Table(words.say("caption.strained"), columns, tuple(rows))


def _eased(score: MethodScore, session: Session, words: Words) -> str:
    """Return how long the final score would be lower if nothing were counted as strained."""
    judged = score.score != NOT_SEEN
    return words.say(
        "scores.eased",
        amount=_held(session, judged & (score.steps[EASED] < score.steps[BY_TABLES]), words),
        judged=_held(session, judged, words),
    )


def _held(session: Session, frames: BoolArray, words: Words) -> str:
    timeline = session.recording.timeline
    return words.amount(float(np.sum(timeline.held[frames])), timeline.unit)


def method_sources_table(words: Words) -> Table:
    """Return where every printed table that is used by default comes from."""
    rows: dict[tuple[str, str, str], None] = {}
    for file in sorted(path.name for path in (files("ergo.scores") / "tables").iterdir()):
        name = file.removesuffix(".csv")
        origin = origin_of(name)
        if " = " not in origin.reading or "(default)" in origin.reading:
            rows[(_method_of(name, words), origin.source, checked(origin.status))] = None
    columns = tuple(words.say(f"column.{key}") for key in ("method", "source", "checked"))
    return Table(words.say("caption.method_sources"), columns, tuple(sorted(rows)))


def _method_of(table: str, words: Words) -> str:
    method = next((name for name in METHODS if table.startswith(name.split("_")[0])), None)
    return ", ".join(METHODS_WITH_MODIFIERS) if method is None else words.name("rules", method)
