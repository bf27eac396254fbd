"""Before and after in words: what speaks against comparing, then what differs, then all figures."""

from collections.abc import Callable, Sequence
from math import ceil
from pathlib import Path
from typing import Any

from ergo.comparison.comparable import Doubt
from ergo.comparison.compare import Comparison, Difference, Verdict
from ergo.exposure.limits import limit_set
from ergo.report.html import render
from ergo.report.pdf import write_pdf
from ergo.report.plots.differences import differences_figure
from ergo.report.report import write_plots
from ergo.report.text.tables import Table, column_names
from ergo.report.text.words import Words, words

MARKS: dict[str, str] = {
    "better": "▽",
    "worse": "▲",
    "no_evidence": "◇",
    "too_short": "◌",
    "too_little_seen": "◌",
}
"""Beside the verdict in words, never alone."""

NOT_TOLD = ("too_short", "too_little_seen")
"""Verdicts on figures that have no interval."""


def comparison_lines(
    comparison: Comparison, before: Sequence[str], after: Sequence[str], own: Words
) -> list[str]:
    """Return the comparison in a few lines of text, doubts first."""
    doubts = [doubt_text(doubt, own) for doubt in comparison.doubts]
    key = "compare.comparable" if are_comparable(comparison) else "compare.not_comparable"
    return [
        own.say("compare.subtitle", before=", ".join(before), after=", ".join(after)),
        own.say(key),
        *(f"- {doubt}" for doubt in doubts),
        overall(comparison, own),
        *(f"- {sentence}" for sentence in sentences(comparison, own)),
    ]


def overall(comparison: Comparison, own: Words) -> str:
    """Return the verdict on the whole sessions in one sentence."""
    counts = {verdict: 0 for verdict in MARKS}
    for each in _whole(comparison):
        counts[each.verdict] += 1
    better, worse = counts["better"], counts["worse"]
    judged = better + worse + counts["no_evidence"]
    if better and worse:
        return own.say("compare.overall_mixed", better=better, worse=worse, judged=judged)
    if better or worse:
        key = "compare.overall_better" if better else "compare.overall_worse"
        return own.say(key, n=better or worse, judged=judged)
    if judged:
        return own.say("compare.overall_no_evidence", judged=judged)
    if counts["too_short"]:
        return own.say("compare.overall_too_short", **_how_short(_whole(comparison), own))
    return own.say("compare.overall_too_little_seen")


def _how_short(differences: Sequence[Difference], own: Words) -> dict[str, str]:
    """Return how long was judged and what the usual figure that is too short needs, in words.

    Minutes are told whole: how long postures last is itself hardly known.
    """
    short = sorted(
        (each for each in differences if each.verdict == "too_short"), key=lambda x: x.needs_s
    )
    usual = short[len(short) // 2]
    return {
        "judged": own.duration(usual.judged_s),
        "needs": own.duration(60 * ceil(usual.needs_s / 60)),
    }


def sentences(comparison: Comparison, own: Words) -> list[str]:
    """Return one sentence for each figure that really differs, and how many were not seen."""
    said = [
        _sentence(each, own)
        for each in comparison.differences
        if each.verdict in ("better", "worse")
    ]
    unseen = sum(each.verdict == "too_little_seen" for each in _whole(comparison))
    short = [each for each in _whole(comparison) if each.verdict == "too_short"]
    if short:
        places = _how_short(short, own)
        said.append(own.say("compare.too_short_needs", n=len(short), **places))
    return said + ([own.say("compare.unseen", n=unseen)] if unseen else [])


def doubt_text(doubt: Doubt, own: Words) -> str:
    """Return one reason why a difference may not come from the change that was made."""
    write = _writer(doubt.key, own)
    key = f"compare.doubt.{doubt.key}"
    return own.say(key, before=write(doubt.before), after=write(doubt.after))


def _writer(key: str, own: Words) -> Callable[[float], str]:
    """Return how the figures of a doubt are written."""
    if key in ("other_tasks", "other_share_seen"):
        return own.share
    if key == "other_camera_height":
        return lambda x: own.say("compare.metres", n=own.number(x, 2))
    return lambda x: own.say("number.degrees", n=own.number(x))


def are_comparable(comparison: Comparison) -> bool:
    """Return whether nothing speaks against comparing but that there is one session each."""
    return all(doubt.key == "single_sessions" for doubt in comparison.doubts)


def figure_name(each: Difference, own: Words) -> str:
    """Return what a figure is, in words."""
    if each.kind == "level":
        return own.say(
            "compare.figure.level",
            method=own.name("rules", each.name),
            side=own.name("scores.sides", each.rule),
        )
    angle = own.name("angle", each.name)
    if each.kind != "beyond":
        return own.say(f"compare.figure.{each.kind}", angle=angle)
    limit = limit_set(each.rule, each.name).limit
    return own.say(
        "compare.figure.beyond",
        angle=angle,
        limit=own.measure(limit, each.name),
        rule=own.name("rules", each.rule),
    )


def value_text(value: float, each: Difference, own: Words) -> str:
    """Return a figure with its unit."""
    if each.kind in ("beyond", "level"):
        return own.share(value)
    return own.number(value, 1) if each.kind == "holds" else own.measure(value, each.name)


def change_text(value: float, each: Difference, own: Words) -> str:
    """Return a change with its sign and unit."""
    sign = "+" if value > 0 else ""
    if each.kind in ("beyond", "level"):
        return own.say("compare.points", n=sign + own.number(100 * value))
    digits = 1 if each.kind == "holds" else 0
    shown = sign + own.number(value, digits)
    if each.kind == "holds":
        return shown
    return own.say("number.millimetres" if "_mm" in each.name else "number.degrees", n=shown)


def verdict_text(verdict: Verdict, own: Words) -> str:
    """Return a verdict with its mark."""
    return f"{MARKS[verdict]} {own.say(f'compare.{verdict}')}"


def where_text(each: Difference, own: Words) -> str:
    """Return the part of the sessions that a figure is about; "" for all."""
    if each.where == "session":
        return ""
    return own.say("clock.hour", h=each.part) if each.where == "clock" else each.part


def _sentence(each: Difference, own: Words) -> str:
    where = where_text(each, own)
    return own.say(
        "compare.sentence",
        figure=f"{where}: {figure_name(each, own)}" if where else figure_name(each, own),
        before=value_text(each.before, each, own),
        after=value_text(each.after, each, own),
        verdict=own.say(f"compare.{each.verdict}"),
        change=change_text(each.change.value, each, own),
        low=change_text(each.change.low, each, own),
        high=change_text(each.change.high, each, own),
    )


def _whole(comparison: Comparison) -> list[Difference]:
    return [each for each in comparison.differences if each.where == "session"]


def _table(differences: Sequence[Difference], caption: str, own: Words) -> Table | None:
    seen = [each for each in differences if each.verdict not in NOT_TOLD]
    rows = tuple(_row(each, own) for each in seen)
    names = column_names(own, "figure", "where", "before", "after", "change", "verdict")
    return Table(own.say(f"caption.{caption}"), names, rows) if rows else None


def _row(each: Difference, own: Words) -> tuple[str, ...]:
    low, high = (change_text(x, each, own) for x in (each.change.low, each.change.high))
    change = change_text(each.change.value, each, own)
    return (
        figure_name(each, own),
        where_text(each, own),
        value_text(each.before, each, own),
        value_text(each.after, each, own),
        own.say("compare.change", change=change, low=low, high=high),
        verdict_text(each.verdict, own),
    )


def comparison_page_content(
    comparison: Comparison, before: Sequence[str], after: Sequence[str], own: Words
) -> dict[str, Any]:
    """Return all that the page of a comparison sets, already in words."""
    parts = [each for each in comparison.differences if each.where != "session"]
    return {
        "words": own,
        "title": own.say("compare.title"),
        "subtitle": own.say("compare.subtitle", before=", ".join(before), after=", ".join(after)),
        "is_comparable": are_comparable(comparison),
        "doubts": [doubt_text(doubt, own) for doubt in comparison.doubts],
        "overall": overall(comparison, own),
        "sentences": sentences(comparison, own),
        "whole_table": _table(_whole(comparison), "differences", own),
        "parts_table": _table(parts, "difference_parts", own),
    }


def write_comparison_page(
    comparison: Comparison,
    before: Sequence[str],
    after: Sequence[str],
    out: Path,
    language: str = "en",
) -> None:
    """Write ``comparison.html``, ``comparison.pdf`` and ``plots/`` into a folder.

    Parameters
    ----------
    comparison : Comparison
    before, after : sequence of str
        Names of the sessions.
    out : Path
        An existing folder.
    language : str
        One of :data:`ergo.report.text.words.LANGUAGES`.
    """
    own = words(language)
    drawn = {"differences": lambda width: differences_figure(comparison, own, width)}
    on_screen, in_print = write_plots(drawn, own, out / "plots")
    content = comparison_page_content(comparison, before, after, own)
    page = render(content, on_screen, for_print=False, template="comparison.html")
    (out / "comparison.html").write_text(page, encoding="utf-8")
    printed = render(content, in_print, for_print=True, template="comparison.html")
    write_pdf(printed, out / "comparison.pdf")
