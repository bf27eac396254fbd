"""Figures of many sessions over their days, each with its uncertainty, and the fitted line."""

from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from ergo.comparison.trends import FigureTrend
from ergo.report.palette import INK, QUIET, STRAIN
from ergo.report.plots.canvas import axes_on, in_style, legend_below, sheet
from ergo.report.text.words import Words

PANEL_IN, REST_IN = 1.5, 0.4
SD_OF_95_PERCENT = 1.96


@in_style
def course_figure(
    trends: Sequence[FigureTrend], titles: Sequence[str], words: Words, width_in: float
) -> Figure | None:
    """Draw one panel per figure that was seen at least once; None where none was.

    Parameters
    ----------
    trends : sequence of FigureTrend
    titles : sequence of str
        One per trend.
    words : Words
    width_in : float
        [inch]
    """
    seen = [(each, title) for each, title in zip(trends, titles, strict=True)
            if len(each.trend.days)]  # fmt: skip
    if not seen:
        return None
    columns = 1 if width_in < 5 else 2
    rows = -(-len(seen) // columns)
    figure = sheet(width_in, rows * PANEL_IN + REST_IN)
    panels = axes_on(figure, rows, columns, sharex=True)
    for panel, (each, title) in zip(panels, seen, strict=False):
        _panel(panel, each, words)
        panel.set_title(title, fontsize=8)
    for unused in panels[len(seen) :]:
        unused.set_axis_off()
    legend_below(figure, _legend(words))
    return figure


def _panel(panel: Any, each: FigureTrend, words: Words) -> None:
    trend, scale = each.trend, 100.0 if each.kind == "beyond" else 1.0
    days = [date.fromordinal(int(day)) for day in trend.days]
    spread = SD_OF_95_PERCENT * scale * trend.error
    panel.errorbar(
        days, scale * trend.value, spread, fmt="o", color=INK, markersize=4, linewidth=1, capsize=2
    )
    if np.isfinite(trend.line).all():
        is_trend = trend.verdict in ("better", "worse")
        panel.plot(days, scale * trend.line, **_line(is_trend))
    if each.kind == "beyond":
        panel.set_ylim(-5, 105)
        panel.set_ylabel("[%]")
    else:
        panel.set_ylabel(words.say("plot.degrees"))
    panel.set_xticks(sorted({days[0], days[len(days) // 2], days[-1]}))
    panel.tick_params(axis="x", labelsize=7)


def _line(is_trend: bool) -> dict[str, Any]:
    if is_trend:
        return {"color": STRAIN[3].colour, "linewidth": 2}
    return {"color": QUIET, "linewidth": 1, "linestyle": (0, (4, 3))}


def _legend(words: Words) -> list[Any]:
    return [
        Line2D([], [], color=INK, marker="o", linewidth=1, label=words.say("plot.session_error")),
        Line2D([], [], label=words.say("plot.trend_line"), **_line(True)),
        Line2D([], [], label=words.say("plot.no_trend_line"), **_line(False)),
    ]
