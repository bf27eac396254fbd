"""The report of one session: HTML, PDF and every figure as SVG and PNG."""

from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path

from matplotlib.figure import Figure

from ergo.session import Session
from ergo.stats.exposure import Exposure
from ergo.views.html import Plot, png_uri, render, report_content, svg_uri
from ergo.views.moments import moments
from ergo.views.pdf import write_pdf
from ergo.views.pictures import Fetch
from ergo.views.plots.figures import FIGURES
from ergo.views.plots.sheet import NARROW_IN, WIDE_IN, png_of, svg_of, themed
from ergo.views.words import Words, words


def write_report(
    session: Session,
    exposure: Exposure,
    fetch: Fetch,
    out: Path,
    language: str = "en",
    *,
    blur_operator: bool = False,
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
    """
    own_words = words(language)
    drawn = {key: partial(draw, session, exposure, own_words) for key, draw in FIGURES.items()}
    on_screen, in_print = write_plots(drawn, own_words, out / "plots")
    shown = moments(session, exposure, fetch, own_words, blur_operator=blur_operator)
    content = report_content(session, exposure, shown, own_words)
    page = render(content, on_screen, for_print=False)
    (out / "report.html").write_text(page, encoding="utf-8")
    write_pdf(render(content, in_print, for_print=True), out / "report.pdf")


DrawAt = Callable[[float], Figure | None]
"""Width [inch] to a figure; None where there is nothing to draw."""


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
        on_screen[key] = Plot(alt, svg_uri(themed(svg)), svg_uri(themed(svg_of(narrow))))
        in_print[key] = Plot(alt, png_uri(png), "")
    return on_screen, in_print
