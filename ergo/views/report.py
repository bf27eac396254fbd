"""The report of one session: HTML, PDF and every figure as SVG and PNG."""

from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import Any

from matplotlib.figure import Figure

from ergo.session import Session
from ergo.stats.exposure import Exposure
from ergo.views.html import Links, Plot, png_uri, render, report_content, svg_uri
from ergo.views.inline import titles_of, with_links
from ergo.views.leads import leads_of, links_of
from ergo.views.moments import moments
from ergo.views.pdf import write_pdf
from ergo.views.pictures import Fetch
from ergo.views.plots.figures import FIGURES
from ergo.views.plots.sheet import NARROW_IN, WIDE_IN, png_of, svg_of, themed
from ergo.views.words import Words, words

DrawAt = Callable[[float], Figure | None]
"""Width [inch] to a figure; None where there is nothing to draw."""
SetIn = Callable[[str, str], str]
"""Name of a figure and its SVG to the SVG as it is set into a page."""


def write_report(
    session: Session,
    exposure: Exposure,
    fetch: Fetch,
    out: Path,
    language: str = "en",
    *,
    blur_operator: bool = False,
    page: str | None = None,
) -> None:
    """Write ``report.html``, ``report.pdf`` and ``plots/`` into a folder.

    Parameters
    ----------
    session : Session
    exposure : Exposure
        Of the same session.
    fetch : callable
        Source name and time [s] to the upright picture, array (row, column, rgb).
    out : Path
        An existing folder.
    language : str
        One of :data:`ergo.views.words.LANGUAGES`.
    blur_operator : bool
        Whether the operator's own face is blurred too.
    page : str, optional
        Address of the session's page: rows and bars of ``report.html`` lead there.
    """
    own_words = words(language)
    shown = moments(session, exposure, fetch, own_words, blur_operator=blur_operator)
    content = report_content(session, exposure, shown, own_words)
    links, set_in = _leading(session, exposure, content, page, own_words)
    drawn = {key: partial(draw, session, exposure, own_words) for key, draw in FIGURES.items()}
    on_screen, in_print = write_plots(drawn, own_words, out / "plots", set_in)
    html = render(content, on_screen, for_print=False, links=links)
    (out / "report.html").write_text(html, encoding="utf-8")
    write_pdf(render(content, in_print, for_print=True), out / "report.pdf")


def _leading(
    session: Session,
    exposure: Exposure,
    content: Mapping[str, Any],
    page: str | None,
    own_words: Words,
) -> tuple[Links, SetIn | None]:
    """Return the links of the tables, and how figures are set in so that they lead too."""
    if page is None:
        return {}, None
    leads = leads_of(session, exposure)
    titles = titles_of(leads, content, session, exposure, own_words)
    return (
        links_of(leads, content, page),
        lambda name, svg: with_links(svg, name, page, titles),
    )


def write_plots(
    drawn: Mapping[str, DrawAt], own_words: Words, folder: Path, set_in: SetIn | None = None
) -> tuple[dict[str, Plot], dict[str, Plot]]:
    """Write every figure into the folder; return them for the screen and for print.

    Parameters
    ----------
    drawn : mapping of str to callable
        By key; ``plot.alt.KEY`` describes it to who cannot see it.
    own_words : Words
    folder : Path
        Made if it is not there.
    set_in : callable, optional
        For figures that are to be part of the page, not pictures in it.
    """
    folder.mkdir(exist_ok=True)
    on_screen, in_print = {}, {}
    for key, draw in drawn.items():
        wide, narrow = draw(WIDE_IN), draw(NARROW_IN)
        if wide is None or narrow is None:
            continue
        svg = svg_of(wide)
        (folder / f"{key}.svg").write_text(svg, encoding="utf-8")
        png = png_of(wide)
        (folder / f"{key}.png").write_bytes(png)
        alt = own_words.say(f"plot.alt.{key}")
        on_screen[key] = _on_screen(key, alt, (themed(svg), themed(svg_of(narrow))), set_in)
        in_print[key] = Plot(alt, png_uri(png), "")
    return on_screen, in_print


def _on_screen(key: str, alt: str, svgs: tuple[str, str], set_in: SetIn | None) -> Plot:
    if set_in is None:
        return Plot(alt, svg_uri(svgs[0]), svg_uri(svgs[1]))
    return Plot(alt, set_in(key, svgs[0]), set_in(f"{key}-narrow", svgs[1]), is_inline=True)
