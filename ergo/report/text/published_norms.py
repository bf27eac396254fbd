"""Breaks and published figures in words and tables."""

from ergo.exposure.exposure import Estimate, Exposure
from ergo.exposure.microbreaks import BREAK_S, Break, BreakPlan, break_plan
from ergo.exposure.published_norms import Norm, OwnBesideNorm, beside_norms
from ergo.report.plots.breaks import source_shown
from ergo.report.text.tables import Table, checked, column_names
from ergo.report.text.words import Words
from ergo.session.session import Session

MOST_BREAKS = 20
"""Further breaks are counted but not listed (ours)."""


def break_sentences(exposure: Exposure, words: Words) -> list[str]:
    """Return what breaks could do, in sentences."""
    if exposure.unit != "second":
        return [words.say("breaks.stills")]
    plan = break_plan(exposure.holds)
    said = [_plan_sentence(plan, words)]
    if plan.not_by_breaks:
        said.append(words.say("breaks.not_by_breaks", n=len(plan.not_by_breaks)))
    source = source_shown(plan)
    if source is not None:
        said.append(words.say("breaks.rest"))
        if len({each.source for each in plan.breaks}) > 1:
            said.append(words.say("breaks.shown", source=source))
    return said


def _plan_sentence(plan: BreakPlan, words: Words) -> str:
    if not plan.breaks:
        return words.say("breaks.none")
    length = words.duration(BREAK_S)
    if len(plan.breaks) == 1:
        return words.say("breaks.one", length=length)
    return words.say("breaks.plan", n=len(plan.breaks), length=length)


def breaks_table(exposure: Exposure, words: Words) -> Table | None:
    """Return where to put the breaks; None where there are none."""
    breaks = break_plan(exposure.holds).breaks[:MOST_BREAKS]
    if not breaks:
        return None
    names = column_names(words, "recording", "at", "held_angle", "allowed", "rest_after")
    rows = tuple(_break_row(each, words) for each in breaks)
    return Table(words.say("caption.breaks"), names, rows)


def _break_row(each: Break, words: Words) -> tuple[str, ...]:
    held = "\n".join(
        f"{words.name('angle', hold.angle.name)}, {words.measure(hold.mean, hold.angle.name)}"
        for hold in each.holds
    )
    allowed = "\n".join(words.duration(hold.limit_s or 0.0) for hold in each.holds)
    low, high = (words.duration(rest) for rest in each.rest_s)
    rest = words.say("number.range", low=low, high=high)
    return each.source, words.clock_time(each.at_s), held, allowed, rest


def norms_table(session: Session, words: Words) -> Table | None:
    """Return the session's figures beside published ones; None where none was judged."""
    rows = tuple(
        _norm_row(each, words)
        for each in beside_norms(session.assessed(), session.recording.timeline.held)
        if each.own.value == each.own.value
    )
    names = column_names(words, "figure", "own", "published", "group", "source")
    return Table(words.say("caption.norms"), names, rows) if rows else None


def _norm_row(each: OwnBesideNorm, words: Words) -> tuple[str, ...]:
    norm = each.norm
    name = words.say(
        f"norms.figure.{norm.measure}",
        **{"angle": words.name("angle", each.angle.name)}
        | (
            {"limit": words.measure(norm.threshold, each.angle.name)}
            if norm.measure == "share_over"
            else {}
        ),
    )
    return (
        name,
        _own(each.own, norm, each.angle.name, words),
        words.say(f"norms.{norm.relation}", value=_value(norm.value, norm, each.angle.name, words)),
        f"{norm.group}, {norm.over}",
        f"{norm.source} {checked(norm.status)}",
    )


def _own(own: Estimate, norm: Norm, angle: str, words: Words) -> str:
    value, low, high = (_value(x, norm, angle, words) for x in (own.value, own.low, own.high))
    return words.say("norms.own", value=value, low=low, high=high)


def _value(value: float, norm: Norm, angle: str, words: Words) -> str:
    if norm.measure == "share_over":
        return words.share(value)
    return words.measure(value, angle)
