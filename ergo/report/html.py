"""The report as one self-contained HTML text."""

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from ergo.exposure.exposure import UNKNOWN, Exposure
from ergo.report.palette import NOT_JUDGED, marks_for
from ergo.report.plots.dial import dial_limits
from ergo.report.text.cameras import together_sentences
from ergo.report.text.first_change import changes_of
from ergo.report.text.key_findings import film_next, first_sentences
from ergo.report.text.moments import Moment
from ergo.report.text.place import moves_sentences, place_table
from ergo.report.text.published_norms import break_sentences, breaks_table, norms_table
from ergo.report.text.recording_tables import moments_table, seen_table, together_table
from ergo.report.text.rounding import rounded_whole
from ergo.report.text.score_tables import (
    assumed_table,
    method_sources_table,
    promise,
    readings_table,
    strained_table,
)
from ergo.report.text.tables import (
    Table,
    group_table,
    holds_table,
    judged_table,
    levels_table,
    limits_table,
    marks_legend,
    scores_table,
    sources_table,
    spread_table,
    texts_table,
)
from ergo.report.text.words import Words
from ergo.session.session import Session


@dataclass(frozen=True, slots=True)
class Plot:
    """One figure as data URIs, or as SVG with links in it.

    Attributes
    ----------
    alt : str
    wide, narrow : str
        For desks and print, and for phones.
    is_inline : bool
        Whether ``wide`` and ``narrow`` are SVG texts to be set into the page.
    """

    alt: str
    wide: str
    narrow: str
    is_inline: bool = False


Links = Mapping[str, Sequence[Mapping[int, str]]]
"""Address behind a cell, by caption of its table, row and column."""


def svg_uri(svg: str) -> str:
    """Return an SVG as a data URI."""
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode("utf-8")).decode("ascii")


def png_uri(png: bytes) -> str:
    """Return a PNG as a data URI."""
    return "data:image/png;base64," + base64.b64encode(png).decode("ascii")


def render(
    content: Mapping[str, Any],
    plots: Mapping[str, Plot],
    *,
    for_print: bool,
    template: str = "report.html",
    links: Links | None = None,
) -> str:
    """Return the report, or another page of ours, as HTML.

    Parameters
    ----------
    content : mapping
        For the report as :func:`report_content` makes it.
    plots : mapping of str to Plot
    for_print : bool
        True for typesetting: one figure each, no reader's dark screen.
    template : str
        Name of the page's template.
    links : mapping, optional
        As :func:`ergo.report.moment_links.links_of` makes them.
    """
    environment = Environment(
        loader=PackageLoader("ergo.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    page = environment.get_template(template)
    return page.render(content, plots=plots, for_print=for_print, links=links or {})


def report_content(
    session: Session,
    exposure: Exposure,
    moments: tuple[Moment, ...],
    words: Words,
    *,
    all_changes: bool = False,
) -> dict[str, Any]:
    """Return all that the template sets: sentences, tables and pictures, already in words.

    ``all_changes`` sets in print too what is folded on the screen: the changes after the first.
    """
    unit, session = exposure.unit, session.without_excluded()
    return {
        "words": words,
        "unit": unit,
        "subtitle": _subtitle(session, exposure, words),
        "first": first_sentences(exposure, words),
        "seen_summary": _seen_summary(exposure, words),
        "skipped": ", ".join(session.recording.skipped),
        **_tables(session, exposure, words),
        "together": together_sentences(session, words),
        "place_table": place_table(session, words),
        "moves": moves_sentences(session, words),
        "clock_note": _clock_note(session, exposure, words),
        "moments": moments,
        "breaks": break_sentences(exposure, words),
        "change": changes_of(session, exposure, words),
        "all_changes": all_changes,
        "next": film_next(session, exposure, words),
        "angles": _angle_lines(exposure, words),
        "sampling": words.say(
            "uncertainty.sampling", rate=words.rate(session.recording.settings.rate_hz)
        ),
        "profile_note": _profile_note(session, words),
        "promise": promise(session, words),
        "versions": ", ".join(f"{k} {v}" for k, v in session.recording.versions.items()),
        "legend": _legend(words),
        "marks_legend": marks_legend(words),
    }


def _seen_summary(exposure: Exposure, words: Words) -> str:
    total, unit = exposure.total, exposure.unit
    return words.say(
        "seen.summary",
        amount=rounded_whole(exposure.seen.amount, total, unit, words),
        total=rounded_whole(total, total, unit, words),
        share=words.share(exposure.seen.share),
    )


def _tables(session: Session, exposure: Exposure, words: Words) -> dict[str, Table | None]:
    shown = dial_limits(exposure)
    return {
        "seen_table": seen_table(session, words),
        "together_table": together_table(session, exposure, words),
        "moments_table": moments_table(session, words),
        "judged_table": judged_table(exposure, words),
        "limits_table": limits_table(exposure, words, headline=True),
        "more_limits_table": limits_table(exposure, words, headline=False),
        "holds_table": holds_table(exposure, words),
        "breaks_table": breaks_table(exposure, words),
        "spread_table": spread_table(exposure, words),
        "norms_table": norms_table(session, words),
        "clock_table": group_table(exposure.by_clock, shown, exposure, words),
        "task_table": group_table(exposure.by_task, shown, exposure, words),
        "mouth_table": group_table(exposure.by_mouth_area, shown, exposure, words),
        "scores_table": scores_table(exposure, words),
        "levels_table": levels_table(exposure, words),
        "readings_table": readings_table(session, words),
        "assumed_table": assumed_table(session, words),
        "strained_table": strained_table(session, words),
        "sources_table": sources_table(exposure, words),
        "texts_table": texts_table(words),
        "method_sources_table": method_sources_table(words),
    }


def _subtitle(session: Session, exposure: Exposure, words: Words) -> str:
    names = session.recording.timeline.sources
    shown = names[0] if names else ""
    if len(names) > 1:
        shown = words.say("report.and_more", first=shown, n=len(names) - 1)
    key = "report.subtitle_clip" if exposure.unit == "second" else "report.subtitle_stills"
    return words.say(
        key,
        sources=shown,
        total=rounded_whole(exposure.total, exposure.total, exposure.unit, words),
        rate=words.rate(session.recording.settings.rate_hz),
    )


def _profile_note(session: Session, words: Words) -> str | None:
    """Return what was taken from the operator's profile; None where the notes state it all."""
    settings = session.recording.settings
    taken = [
        words.say(f"profile.{key}.{value}")
        if isinstance(value, str)
        else words.say(f"profile.{key}", value=words.rate(value))
        for key, value in settings.profile.items()
        if any(getattr(notes, key) == value for notes in session.notes)
    ]
    if not taken:
        return None
    return words.say("profile.note", operator=settings.operator, taken=", ".join(taken))


def _clock_note(session: Session, exposure: Exposure, words: Words) -> str:
    shown = dial_limits(exposure)
    if shown is None or all(group.name == UNKNOWN for group in exposure.by_clock):
        return words.say("clock.none")
    note = words.say(
        "clock.note",
        angle=words.name("angle", shown.limits.angle.name),
        rule=words.name("rules", shown.limits.rule),
    )
    origin = words.name("clock.origins", session.clock.origin)
    return f"{note} {words.say('clock.origin', origin=origin)}"


def _angle_lines(exposure: Exposure, words: Words) -> list[str]:
    angles = dict.fromkeys(limits.limits.angle for limits in exposure.limits)
    return [
        words.say(
            "methods.zero",
            angle=words.name("angle", angle.name),
            zero=words.name("zero", angle.zero),
            positive=words.name("positive", angle.positive),
        )
        for angle in angles
    ]


def _legend(words: Words) -> list[tuple[str, str, str]]:
    """Return CSS class, symbol and meaning of every strain mark."""
    names = ("within", "limited", "beyond", "unjudged")
    marks = (*marks_for(3), NOT_JUDGED)
    return [
        (mark.key, mark.symbol, words.say(f"strain.{name}"))
        for mark, name in zip(marks, names, strict=True)
    ]
