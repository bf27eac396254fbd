"""The report of one session: HTML, PDF and every figure as SVG and PNG."""

from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

from matplotlib.figure import Figure

from ergo.exposure.exposure import Exposure
from ergo.report.html import Links, Plot, png_uri, render, report_content, svg_uri
from ergo.report.inline import titles_of, with_links
from ergo.report.moment_links import leads_of, links_of
from ergo.report.pdf import typesetting
from ergo.report.pictures.moment_pictures import Fetch
from ergo.report.plots.canvas import NARROW_IN, WIDE_IN, on_paper, png_of, svg_of, themed
from ergo.report.plots.report_plots import FIGURES
from ergo.report.text.moments import moments
from ergo.report.text.words import Words, words
from ergo.session.session import Session

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
    all_changes: bool = False,
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
        One of :data:`ergo.report.text.words.LANGUAGES`.
    blur_operator : bool
        Whether the operator's own face is blurred too.
    page : str, optional
        Address of the session's page: rows and bars of ``report.html`` lead there.
    all_changes : bool
        Whether ``report.pdf`` too lists the changes after the first.
    """
    own_words, folder = words(language), out / "plots"
    session = session.without_excluded()
    with typesetting(out / "report.pdf") as set_html:
        shown = moments(session, exposure, fetch, own_words, blur_operator=blur_operator)
        content = report_content(session, exposure, shown, own_words, all_changes=all_changes)
        drawn = {key: partial(draw, session, exposure, own_words) for key, draw in FIGURES.items()}
        wide = drawn_wide(drawn)
        set_html(render(content, write_pngs(wide, own_words, folder), for_print=True))
        links, set_in = _leading(session, exposure, content, page, own_words)
        on_screen = write_svgs(wide, drawn, own_words, folder, set_in)
        html = render(content, on_screen, for_print=False, links=links)
        (out / "report.html").write_text(html, encoding="utf-8")


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
    drawn: Mapping[str, DrawAt], own_words: Words, folder: Path
) -> tuple[dict[str, Plot], dict[str, Plot]]:
    """Write every figure into the folder; return them for the screen and for print.

    Parameters
    ----------
    drawn : mapping of str to callable
        By key; ``plot.alt.KEY`` describes it to who cannot see it.
    own_words : Words
    folder : Path
        Made if it is not there.
    """
    wide = drawn_wide(drawn)
    in_print = write_pngs(wide, own_words, folder)
    return write_svgs(wide, drawn, own_words, folder), in_print


def drawn_wide(drawn: Mapping[str, DrawAt]) -> dict[str, Figure]:
    """Return the figures for desks and print, without those in which nothing is drawn."""
    figures = {key: draw(WIDE_IN) for key, draw in drawn.items()}
    return {key: figure for key, figure in figures.items() if figure is not None}


def write_pngs(wide: Mapping[str, Figure], own_words: Words, folder: Path) -> dict[str, Plot]:
    """Write every wide figure as PNG into the folder; return them for print."""
    folder.mkdir(exist_ok=True)
    with ThreadPoolExecutor(1) as beside:  # packs one picture while the next is drawn
        packed = {key: beside.submit(png_of, on_paper(figure)) for key, figure in wide.items()}
    in_print = {}
    for key, png in packed.items():
        (folder / f"{key}.png").write_bytes(png.result())
        in_print[key] = Plot(own_words.say(f"plot.alt.{key}"), png_uri(png.result()), "")
    return in_print


def write_svgs(
    wide: Mapping[str, Figure],
    drawn: Mapping[str, DrawAt],
    own_words: Words,
    folder: Path,
    set_in: SetIn | None = None,
) -> dict[str, Plot]:
    """Write every wide figure as SVG into the folder; return them for the screen.

    Parameters
    ----------
    wide : mapping of str to Figure
    drawn : mapping of str to callable
        Draws the same for phones.
    own_words : Words
    folder : Path
        Made if it is not there.
    set_in : callable, optional
        For figures that are to be part of the page, not pictures in it.
    """
    folder.mkdir(exist_ok=True)
    on_screen = {}
    for key, figure in wide.items():
        svg, narrow = svg_of(figure), drawn[key](NARROW_IN)
        (folder / f"{key}.svg").write_text(svg, encoding="utf-8")
        alt, small = own_words.say(f"plot.alt.{key}"), svg if narrow is None else svg_of(narrow)
        on_screen[key] = _on_screen(key, alt, (themed(svg), themed(small)), set_in)
    return on_screen


def _on_screen(key: str, alt: str, svgs: tuple[str, str], set_in: SetIn | None) -> Plot:
    if set_in is None:
        return Plot(alt, svg_uri(svgs[0]), svg_uri(svgs[1]))
    return Plot(alt, set_in(key, svgs[0]), set_in(f"{key}-narrow", svgs[1]), is_inline=True)
