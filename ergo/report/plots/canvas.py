"""The sheet every figure is drawn on, and how it becomes SVG and PNG. No pyplot."""

import io
from collections.abc import Callable, Sequence
from functools import wraps
from math import ceil
from typing import Any, ParamSpec, TypeVar

import matplotlib
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from PIL import Image

from ergo.arrays import PictureArray
from ergo.report.palette import INK, LIMIT, PAPER, QUIET, StrainMark

WIDE_IN, NARROW_IN = 7.4, 3.75
"""Widths for desks and print, and for phones; the size of letters is the same. [inch]"""

DOTS_PER_INCH = 200
"""Of figures as pictures."""

LETTER_IN, SAMPLE_IN, LEGEND_ROW_IN = 0.068, 0.45, 0.19
"""Widths of a letter and of a sample in a legend, and height of its rows. [inch]"""

STYLE: Any = {
    "font.family": ["DejaVu Sans"],
    "font.size": 9,
    "axes.labelsize": 9,
    "axes.titlesize": 9,
    "axes.titlelocation": "left",
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.facecolor": "none",
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": 8,
    "ytick.labelsize": 8,
    "legend.frameon": False,
    "legend.fontsize": 8,
    "legend.labelcolor": INK,
    "hatch.linewidth": 0.6,
    "svg.fonttype": "path",
    "svg.hashsalt": "ergo",
    "path.simplify": True,
}

_THEMED = {INK: "ink", QUIET: "quiet", LIMIT: "limit", PAPER: "paper"}
_THEME = (
    f"<style>:root{{--ink:{INK};--quiet:{QUIET};--limit:{LIMIT};--paper:{PAPER}}}"
    "@media (prefers-color-scheme:dark){"
    ":root{--ink:#eceef4;--quiet:#a8aebd;--limit:#f0b270;--paper:#171b24}}</style>"
)

LEADS_TO = "at/"
"""Begins the identifiers, in an SVG, of what leads to the moments behind it."""


P = ParamSpec("P")
R = TypeVar("R")


def in_style(draw: Callable[P, R]) -> Callable[P, R]:
    """Make everything a function draws follow our style, without changing it for others."""

    @wraps(draw)
    def styled(*args: P.args, **kwargs: P.kwargs) -> R:
        with matplotlib.rc_context(STYLE):
            return draw(*args, **kwargs)

    return styled


def sheet(width_in: float, height_in: float) -> Figure:
    """Return an empty figure that lays itself out so that nothing is clipped."""
    return Figure(figsize=(width_in, height_in), layout="constrained")


def axes_on(figure: Figure, rows: int = 1, columns: int = 1, **options: Any) -> list[Any]:
    """Return the axes of a grid on the sheet, row after row."""
    return list(figure.subplots(rows, columns, squeeze=False, **options).flat)


def is_narrow(figure: Figure) -> bool:
    """Return whether the sheet is meant for a phone."""
    return float(figure.get_figwidth()) < (WIDE_IN + NARROW_IN) / 2


def patch_of(mark: StrainMark, label: str = "") -> Patch:
    """Return a sample of a strain mark for a legend."""
    return Patch(label=label, **fill_of(mark))


def fill_of(mark: StrainMark) -> dict[str, Any]:
    """Return the options with which matplotlib fills an area with a mark."""
    return {
        "facecolor": mark.colour,
        "hatch": mark.hatch,
        "hatchcolor": mark.hatch_colour,
        "edgecolor": QUIET,
        "linewidth": 0.6,
    }


def leads_to(address: str) -> dict[str, str]:
    """Return the option by which an artist of matplotlib tells its address (see ``inline``)."""
    return {"gid": f"{LEADS_TO}{address}"}


def legend_below(figure: Figure, handles: Sequence[Any]) -> None:
    """Put a legend under the axes, in as many columns as fit; the sheet grows by its height."""
    longest = max(len(str(handle.get_label())) for handle in handles)
    fitting = int(figure.get_figwidth() / (LETTER_IN * longest + SAMPLE_IN))
    columns = max(1, min(fitting, len(handles)))
    rows = ceil(len(handles) / columns)
    figure.set_figheight(figure.get_figheight() + rows * LEGEND_ROW_IN + 0.15)
    figure.legend(handles=list(handles), loc="outside lower left", ncols=columns)


def settle(figure: Figure) -> None:
    """Lay the figure out once and for all, so that saving it twice does not do so again."""
    engine = figure.get_layout_engine()
    if engine is not None:
        engine.execute(figure)
        figure.set_layout_engine("none")


def svg_of(figure: Figure) -> str:
    """Return the figure as SVG text without paper, the same bytes for the same figure."""
    kept = io.StringIO()
    with matplotlib.rc_context(STYLE):
        settle(figure)
        figure.patch.set_visible(False)
        canvas: Any = FigureCanvasSVG(figure)  # not savefig(), which draws everything twice
        canvas.print_svg(kept, metadata={"Date": None, "Creator": None})
        figure.patch.set_visible(True)
    return kept.getvalue()


def on_paper(figure: Figure) -> PictureArray:
    """Return the figure as a picture on white paper."""
    with matplotlib.rc_context(STYLE):
        settle(figure)
        figure.set_dpi(DOTS_PER_INCH)
        canvas: Any = FigureCanvasAgg(figure)
        canvas.draw()
    return np.asarray(canvas.buffer_rgba())[..., :3]


def png_of(paper: PictureArray) -> bytes:
    """Return a picture by :func:`on_paper` as PNG."""
    kept = io.BytesIO()
    Image.fromarray(paper).save(kept, format="PNG", dpi=(DOTS_PER_INCH, DOTS_PER_INCH))
    return kept.getvalue()


def themed(svg: str) -> str:
    """Return the SVG with its ink and paper following the reader's light or dark screen."""
    for colour, name in _THEMED.items():
        svg = svg.replace(f": {colour}", f": var(--{name})")
        svg = svg.replace(f'fill="{colour}"', f'style="fill: var(--{name})"')
    end_of_tag = svg.index(">", svg.index("<svg")) + 1
    return svg[:end_of_tag] + _THEME + svg[end_of_tag:]
