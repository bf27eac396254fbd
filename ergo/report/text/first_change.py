"""What to change first: the advice in sentences."""

from dataclasses import dataclass

from ergo.advice.advise import Advice, Advices, advise
from ergo.advice.measured import CLOCK, Measurement
from ergo.exposure.exposure import Exposure
from ergo.exposure.limits import limit_set
from ergo.exposure.microbreaks import BREAK_S
from ergo.report.text.tables import checked
from ergo.report.text.words import Words
from ergo.session.session import Session
from ergo.timeline import TimeUnit

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
    """What to change first, and what else could be tried.

    Attributes
    ----------
    first : Change or None
        The one that could remove most strained time; None where no rule fits.
    others : tuple of Change
        Shown on request, most strained time first.
    untested : str
        What could not be tested; "" where all could.
    """

    first: Change | None
    others: tuple[Change, ...]
    untested: str


def changes_of(session: Session, exposure: Exposure, words: Words) -> Changes:
    """Return what is worth changing, most strained time first, in words."""
    advices = advise(
        session.recording.timeline,
        session.posture,
        session.clock,
        session.notes,
        exposure,
        place=session.place,
        readings=session.recording.settings.readings,
    )
    return changes_text(advices, exposure.unit, words)


def changes_text(advices: Advices, unit: TimeUnit, words: Words) -> Changes:
    """Return advice in words."""
    untested = "; ".join(words.say(f"change.name.{key}") for key in advices.untested)
    changes = tuple(_change(each, unit, words) for each in advices.given[:MOST])
    return Changes(
        changes[0] if changes else None,
        changes[1:],
        words.say("change.untested", names=untested) if untested else "",
    )


def _change(advice: Advice, unit: TimeUnit, words: Words) -> Change:
    rule = advice.rule
    others = "; ".join(words.say(f"change.name.{key}") for key in advice.others)
    return Change(
        do=words.say(f"change.do.{rule.key}", length=words.duration(BREAK_S)),
        why=" ".join(
            [
                _why(advice, words),
                _time(advice, unit, words),
                *_measured(advice, words),
                *_declination(advice, words),
            ]
        ),
        also=words.say("change.others", others=others) if others else "",
        source=words.say(
            "change.source",
            evidence=words.say(f"change.evidence.{rule.evidence}"),
            source=rule.source,
            status=checked(rule.status),
        ),
    )


def _why(advice: Advice, words: Words) -> str:
    """Return what suggests the change: what was measured, else what was guessed from angles."""
    key = f"change.why.{advice.rule.key}"
    measured = f"change.why_measured.{advice.rule.key}"
    return words.say(measured if advice.measured and words.has(measured) else key)


def _measured(advice: Advice, words: Words) -> list[str]:
    """Return what was measured of the place in that time; nothing where nothing was."""
    parts = [
        words.say(
            f"change.{'stated' if each.is_stated else 'measured'}.{each.name}",
            value=_place(each, each.value, words),
            low=_place(each, each.low, words),
            high=_place(each, each.high, words),
        )
        for each in advice.measured
    ]
    return [words.say("change.measured_then", measured="; ".join(parts))] if parts else []


def _declination(advice: Advice, words: Words) -> list[str]:
    """Return what the loupes would have to look down by; nothing where that is not known."""
    found = advice.declination
    if found is None:
        return []
    limit = limit_set(advice.rule.limit, advice.angle.name).limit
    figures = {"stated": found.stated, "needed": found.needed, "low": found.low, "high": found.high}
    return [
        words.say(
            "change.declination",
            **{key: words.measure(each, advice.angle.name) for key, each in figures.items()},
            limit=words.measure(limit, advice.angle.name),
        )
    ]


def _place(measured: Measurement, value: float, words: Words) -> str:
    """Return a height, a distance or a clock position as it is read."""
    if measured.name == CLOCK:
        rounded = (round(2 * value) / 2 - 1) % 12 + 1
        return words.number(rounded, 0 if rounded.is_integer() else 1)
    centimetres = round(100 * value)
    if measured.name == "mouth_above_elbow_m":
        key = "above" if centimetres > 0 else "below" if centimetres < 0 else "level"
        return words.say(f"change.height.{key}", n=words.number(abs(centimetres)))
    return words.say("plan.centimetres", n=words.number(max(centimetres, 0)))


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
