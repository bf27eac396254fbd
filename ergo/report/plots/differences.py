"""Changes between sessions with their 95 % intervals, a line where nothing changed."""

from collections.abc import Sequence
from typing import Any

from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from ergo.comparison.compare import Comparison, Difference
from ergo.exposure.limits import limit_set
from ergo.report.palette import INK, QUIET, STRAIN
from ergo.report.plots.canvas import axes_on, in_style, legend_below, sheet
from ergo.report.text.words import Words

ROW_IN, REST_IN = 0.36, 0.55
SHAPES = {"better": "v", "worse": "^", "no_evidence": "D"}
FILLS = {"better": STRAIN[0].colour, "worse": STRAIN[4].colour, "no_evidence": "none"}


@in_style
def differences_figure(comparison: Comparison, words: Words, width_in: float) -> Figure | None:
    """Draw the change of shares, and below it that of angles; None where none was judged."""
    seen = [
        each
        for each in comparison.differences
        if each.where == "session" and each.verdict in SHAPES
    ]
    shares = [each for each in seen if each.kind in ("beyond", "level")]
    angles = [each for each in seen if each.kind in ("p50", "p90") and "_mm" not in each.name]
    both = ((shares, "plot.change_points", 100.0), (angles, "plot.change_degrees", 1.0))
    panels = [panel for panel in both if panel[0]]
    if not panels:
        return None
    heights = [len(rows) * ROW_IN + REST_IN for rows, _, _ in panels]
    figure = sheet(width_in, sum(heights))
    axes = axes_on(figure, len(panels), 1, height_ratios=heights)
    for panel, (rows, key, scale) in zip(axes, panels, strict=True):
        _draw(panel, rows, scale, words)
        panel.set_xlabel(words.say(key))
    legend_below(figure, _legend(seen, words))
    return figure


def _draw(panel: Any, rows: Sequence[Difference], scale: float, words: Words) -> None:
    for place, each in enumerate(rows):
        low, value, high = (
            scale * x for x in (each.change.low, each.change.value, each.change.high)
        )
        panel.plot([low, high], [place, place], color=INK, linewidth=1.4)
        panel.plot(
            value,
            place,
            SHAPES[each.verdict],
            markersize=7,
            markerfacecolor=FILLS[each.verdict],
            markeredgecolor=INK,
        )
    panel.axvline(0, color=QUIET, linewidth=1)
    reach = 1.1 * max(1.0, *(scale * abs(x) for e in rows for x in (e.change.low, e.change.high)))
    panel.set(xlim=(-reach, reach), ylim=(len(rows) - 0.4, -0.9), yticks=[])
    panel.spines["left"].set_visible(False)
    for place, each in enumerate(rows):
        label = short_name(each, words)
        panel.text(-reach, place - 0.28, label, va="bottom", fontsize=7.5, color=INK)


def short_name(each: Difference, words: Words) -> str:
    """Return what a figure is, short enough for a drawing."""
    if each.kind == "level":
        return f"{words.name('rules', each.name)}, {words.name('scores.sides', each.rule)}"
    angle = words.name("angle", each.name)
    if each.kind == "beyond":
        limit = words.measure(limit_set(each.rule, each.name).limit, each.name)
        return f"{angle} > {limit} ({words.name('rules', each.rule)})"
    return f"{angle}, {each.kind.upper()}"


def _legend(seen: Sequence[Difference], words: Words) -> list[Any]:
    return [
        Line2D(
            [],
            [],
            color=INK,
            linewidth=1.4,
            marker=SHAPES[verdict],
            markerfacecolor=FILLS[verdict],
            markeredgecolor=INK,
            label=words.say(f"compare.{verdict}"),
        )
        for verdict in SHAPES
        if any(each.verdict == verdict for each in seen)
    ]
