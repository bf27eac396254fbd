"""A figure set into a page as SVG whose bars lead to the moments behind them.

Addresses are those of :mod:`ergo.report.moment_links`, or ``frame/NUMBER``.
"""

import re
from collections.abc import Mapping
from html import escape
from typing import Any

from ergo.exposure.exposure import Exposure
from ergo.report.moment_links import FIRST_PART, Lead, frame_at
from ergo.report.plots.canvas import LEADS_TO
from ergo.report.text.tables import STRAIN_NAMES, Table
from ergo.report.text.words import Words
from ergo.session.session import Session

_LEADING = re.compile(rf'<g id="{LEADS_TO}([^"]+)">')
_GROUP = re.compile(r"<g\b[^>]*?(/)?>|</g>")
_OWN_NAME = re.compile(r'(\bid="|url\(#|xlink:href="#)')


def with_links(svg: str, name: str, page: str, titles: Mapping[str, str]) -> str:
    """Return an SVG to be set into HTML, with links where it leads somewhere.

    Parameters
    ----------
    svg : str
        A whole SVG document.
    name : str
        Unique in the page; begins every identifier of the figure.
    page : str
        Address of the session's page.
    titles : mapping of str to str
        What is read out for each address; others get no link.
    """
    text = svg[svg.index("<svg") :]
    done, place = [], 0
    while (found := _LEADING.search(text, place)) is not None:
        end = _end_of_group(text, found.start())
        done.append(_named(text[place : found.start()], name))
        inside = _named(text[found.end() : end - len("</g>")], name)
        address = found.group(1)
        if address in titles:
            done.append(
                f'<a href="{escape(page)}#{address}" target="_top" '
                f'aria-label="{escape(titles[address])}">{inside}</a>'
            )
        else:
            done.append(f"<g>{inside}</g>")
        place = end
    return "".join((*done, _named(text[place:], name)))


def _end_of_group(text: str, start: int) -> int:
    """Return the place behind the end of the group that begins at ``start``."""
    depth = 0
    for tag in _GROUP.finditer(text, start):
        if tag.group(1) is None:
            depth += -1 if tag.group().startswith("</") else 1
        if depth == 0:
            return tag.end()
    return len(text)


def _named(text: str, name: str) -> str:
    return _OWN_NAME.sub(rf"\g<1>{name}-", text)


def titles_of(
    leads: Mapping[str, tuple[Lead, ...]],
    content: Mapping[str, Any],
    session: Session,
    exposure: Exposure,
    words: Words,
) -> dict[str, str]:
    """Return what is read out for every address that has moments behind it."""
    titles: dict[str, str] = {}
    for name, rows in leads.items():
        table: Table | None = content[name]
        if table is None:
            continue
        for at, (lead, row) in enumerate(zip(rows, table.rows, strict=True)):
            if lead.spans:
                titles[f"{name}/{at}"] = row[0]
            for part, spans in enumerate(lead.parts):
                if spans:
                    own = _part_title(name, table, row, part, words)
                    titles[f"{name}/{at}/{part}"] = f"{row[0]}: {own}"
    return titles | _holds(session, exposure, words)


def _part_title(name: str, table: Table, row: tuple[str, ...], part: int, words: Words) -> str:
    if name in FIRST_PART:
        column = FIRST_PART[name] + part
        return f"{table.columns[column]}, {row[column]}".replace("\n", "; ")
    if name == "scores_table":
        levels = row[2].split("\n")
        return levels[part] if part < len(levels) else words.say("strain.unjudged")
    return words.say(f"strain.{STRAIN_NAMES[part]}")


def _holds(session: Session, exposure: Exposure, words: Words) -> dict[str, str]:
    timeline = session.recording.timeline
    return {
        f"frame/{frame_at(timeline, timeline.sources.index(hold.source), hold.start_s)}": (
            f"{words.name('angle', hold.angle.name)}: {words.duration(hold.length_s)}"
        )
        for hold in exposure.holds
        if hold.is_strained
    }
