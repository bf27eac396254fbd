"""Many sessions over time in words: which figures have a trend, and which only scatter."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

from ergo.comparison.trends import FigureTrend
from ergo.report.html import render
from ergo.report.pdf import write_pdf
from ergo.report.plots.trend import course_figure
from ergo.report.report import write_plots
from ergo.report.text.comparison import MARKS
from ergo.report.text.tables import Table, column_names
from ergo.report.text.words import Words, words


def course_lines(
    trends: Sequence[FigureTrend], days: Sequence[date], undated: Sequence[str], own: Words
) -> list[str]:
    """Return the course in a few lines of text."""
    said = [_sentence(each, own) for each in trends if each.trend.verdict in ("better", "worse")]
    left_out = [own.say("course.undated", names=", ".join(undated))] if undated else []
    return [
        _subtitle(days, own),
        *left_out,
        *(f"- {sentence}" for sentence in said),
        *([] if said else [own.say("course.none")]),
        *(
            f"- {figure_name(each, own)}: {own.say(f'course.{each.trend.verdict}')}"
            for each in trends
            if each.trend.verdict not in ("better", "worse")
        ),
    ]


def figure_name(each: FigureTrend, own: Words) -> str:
    """Return what a figure is, in words."""
    angle = own.name("angle", each.name)
    if each.limits is None:
        return own.say(f"compare.figure.{each.kind}", angle=angle)
    return own.say(
        "compare.figure.beyond",
        angle=angle,
        limit=own.measure(each.limits.limit, each.name),
        rule=own.name("rules", each.limits.rule),
    )


def _subtitle(days: Sequence[date], own: Words) -> str:
    first, last = days[0].isoformat(), days[-1].isoformat()
    return own.say("course.subtitle", n=len(days), first=first, last=last)


def _value(value: float, each: FigureTrend, own: Words) -> str:
    return own.share(value) if each.kind == "beyond" else own.measure(value, each.name)


def _change(value: float, each: FigureTrend, own: Words) -> str:
    sign = "+" if value > 0 else ""
    if each.kind == "beyond":
        return own.say("compare.points", n=sign + own.number(100 * value, 1))
    return own.say("number.degrees", n=sign + own.number(value, 1))


def _slope(each: FigureTrend, own: Words) -> dict[str, str]:
    slope = each.trend.slope
    return {
        "change": _change(slope.value, each, own),
        "low": _change(slope.low, each, own),
        "high": _change(slope.high, each, own),
    }


def _sentence(each: FigureTrend, own: Words) -> str:
    return own.say(
        "course.sentence",
        figure=figure_name(each, own),
        verdict=own.say(f"course.{each.trend.verdict}"),
        first=_value(float(each.trend.line[0]), each, own),
        last=_value(float(each.trend.line[-1]), each, own),
        **_slope(each, own),
    )


def _table(trends: Sequence[FigureTrend], own: Words) -> Table:
    names = column_names(own, "figure", "first", "last", "trend", "verdict")
    return Table(own.say("caption.course"), names, tuple(_row(each, own) for each in trends))


def _row(each: FigureTrend, own: Words) -> tuple[str, ...]:
    trend = each.trend
    ends = (trend.value[0], trend.value[-1]) if len(trend.days) else (float("nan"),) * 2
    is_known = trend.verdict != "too_little_seen"
    verdict = f"{MARKS[trend.verdict]} {own.say(f'course.{trend.verdict}')}"
    return (
        figure_name(each, own),
        *(_value(float(end), each, own) for end in ends),
        own.say("compare.change", **_slope(each, own)) if is_known else "",
        verdict,
    )


def course_page_content(
    trends: Sequence[FigureTrend],
    days: Sequence[date],
    names: Sequence[str],
    undated: Sequence[str],
    own: Words,
) -> dict[str, Any]:
    """Return all that the page of a course sets, already in words."""
    return {
        "words": own,
        "title": own.say("course.title"),
        "subtitle": f"{_subtitle(days, own)}: {', '.join(names)}",
        "lines": course_lines(trends, days, undated, own)[1:],
        "trend_table": _table(trends, own),
        "method": own.say("course.method", n=len(trends)),
    }


def write_course_page(
    trends: Sequence[FigureTrend],
    days: Sequence[date],
    names: Sequence[str],
    undated: Sequence[str],
    out: Path,
    language: str = "en",
) -> None:
    """Write ``trend.html``, ``trend.pdf`` and ``plots/`` into a folder.

    Parameters
    ----------
    trends : sequence of FigureTrend
    days : sequence of date
    names : sequence of str
        One per day.
    undated : sequence of str
        Names of sessions left out because nobody stated their day.
    out : Path
        An existing folder.
    language : str
        One of :data:`ergo.report.text.words.LANGUAGES`.
    """
    own = words(language)
    titles = [figure_name(each, own) for each in trends]
    drawn = {"course": lambda width: course_figure(trends, titles, own, width)}
    on_screen, in_print = write_plots(drawn, own, out / "plots")
    content = course_page_content(trends, days, names, undated, own)
    page = render(content, on_screen, for_print=False, template="trend.html")
    (out / "trend.html").write_text(page, encoding="utf-8")
    write_pdf(render(content, in_print, for_print=True, template="trend.html"), out / "trend.pdf")
