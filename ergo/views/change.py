"""What to change first: the advice in sentences."""

from dataclasses import dataclass

from ergo.advice.advise import Advice, Advices, advise
from ergo.session import Session
from ergo.stats.exposure import Exposure
from ergo.stats.limits import limit_set
from ergo.stats.microbreaks import BREAK_S
from ergo.timeline import TimeUnit
from ergo.views.words import Words

MOST = 6
"""More pieces of advice than this are not shown (ours)."""


@dataclass(frozen=True, slots=True)
class Change:
    """One change as it is read.

    Attributes
    ----------
    do : str
        What to try.
    why : str
        What was seen that suggests it, with its figures.
    also : str
        What else could explain the same time; "" where nothing does.
    source : str
        Where the rule comes from and how far that was checked.
    """

    do: str
    why: str
    also: str
    source: str


@dataclass(frozen=True, slots=True)
class Changes:
    """What to change first, and what could not be tested ("" where all could)."""

    changes: tuple[Change, ...]
    untested: str


def changes_of(session: Session, exposure: Exposure, words: Words) -> Changes:
    """Return what is worth changing, most strained time first, in words."""
    advices = advise(
        session.recording.timeline, session.posture, session.clock, session.notes, exposure
    )
    return changes_text(advices, exposure.unit, words)


def changes_text(advices: Advices, unit: TimeUnit, words: Words) -> Changes:
    """Return advice in words."""
    untested = "; ".join(words.say(f"change.name.{key}") for key in advices.untested)
    return Changes(
        tuple(_change(each, unit, words) for each in advices.given[:MOST]),
        words.say("change.untested", names=untested) if untested else "",
    )


def _change(advice: Advice, unit: TimeUnit, words: Words) -> Change:
    rule = advice.rule
    others = "; ".join(words.say(f"change.name.{key}") for key in advice.others)
    return Change(
        do=words.say(f"change.do.{rule.key}", length=words.duration(BREAK_S)),
        why=f"{words.say(f'change.why.{rule.key}')} {_time(advice, unit, words)}",
        also=words.say("change.others", others=others) if others else "",
        source=words.say(
            "change.source",
            evidence=words.say(f"change.evidence.{rule.evidence}"),
            source=rule.source,
            status=rule.status,
        ),
    )


def _time(advice: Advice, unit: TimeUnit, words: Words) -> str:
    name, removable = advice.angle.name, advice.removable
    places = {
        "amount": words.amount(removable.amount, unit),
        "of": words.amount(advice.of, unit),
        "subject": words.say(f"subject.{name}"),
        "typical": words.measure(advice.typical, name),
    }
    if advice.rule.holds:
        return words.say("change.holds_time", **places)
    limit = limit_set(advice.rule.limit, name).limit
    between = words.between(removable.low, removable.high, unit)
    return words.say(
        "change.time",
        state=words.say(f"state.{name}", limit=words.measure(limit, name)),
        between=between if removable.low == removable.low else words.say("change.without_interval"),
        **places,
    )
