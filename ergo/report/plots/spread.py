"""How the angles are spread over the judged time, with the published limits."""

from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from ergo.arrays import FloatArray
from ergo.exposure.assessed import unsigned
from ergo.exposure.bands import LimitSet
from ergo.exposure.exposure import Exposure
from ergo.posture.angle_names import ANGLES
from ergo.report.palette import INK, LIMIT, QUIET, STRAIN
from ergo.report.plots.bars import is_plotted
from ergo.report.plots.canvas import axes_on, in_style, leads_to, legend_below, sheet
from ergo.report.text.words import Words
from ergo.session.session import Session

PANEL_IN, REST_IN = 1.15, 0.25
BIN = 2.0
"""Width of a class of angles. [deg]"""
DASHES = {
    "iso11226": (0, (5, 2)),
    "dental_sitting": (0, (1, 1.5)),
    "side_bend": (0, (6, 2, 1, 2)),
}
OTHER_DASH = (0, (3, 2, 1, 2, 1, 2))


@in_style
def spread_figure(session: Session, exposure: Exposure, words: Words, width_in: float) -> Figure:
    """Draw one panel per angle: share of the judged time in classes of 2 degrees."""
    rules = [limits.limits for limits in exposure.limits if is_plotted(limits)]
    limited = {limits.angle.name for limits in rules}
    seen = {percentiles.angle.name: percentiles for percentiles in exposure.percentiles}
    names = [angle.name for angle in ANGLES if angle.name in limited & seen.keys()]
    leads = {name: f"spread_table/{row}" for row, name in enumerate(seen)}
    columns = 1 if width_in < 5 else 2
    rows = max(1, -(-len(names) // columns))
    figure = sheet(width_in, rows * PANEL_IN + REST_IN)
    panels = axes_on(figure, rows, columns)
    for panel, name in zip(panels, names, strict=False):
        own = [limits for limits in rules if limits.angle.name == name]
        _panel(panel, session, name, own, leads[name])
        middle = seen[name]
        panel.plot([middle.p10.value, middle.p90.value], [0, 0], color=INK, lw=3, clip_on=False)
        panel.plot(middle.p50.value, 0, "D", color=INK, markersize=5, clip_on=False)
        panel.set_title(f"{words.name('angle', name)} {words.say('plot.degrees')}")
    for unused in panels[len(names) :]:
        unused.set_axis_off()
    if not names:
        panels[0].text(0.5, 0.5, words.say("plot.nothing"), ha="center")
    legend_below(figure, _legend(rules, words))
    return figure


def _panel(panel: Any, session: Session, name: str, rules: list[LimitSet], lead: str) -> None:
    value = unsigned(session.assessed()).angle(name)
    held = session.recording.timeline.held
    edges, shares = weighted_classes(value, held)
    style: dict[str, Any] = {"color": STRAIN[2].colour, "edgecolor": INK, "linewidth": 0.5}
    panel.stairs(shares, edges, fill=True, **style, **leads_to(lead))
    top = 1.3 * float(shares.max(initial=0.01))
    for limits in rules:
        for band in limits.bands:
            if np.isfinite(band.low) and edges[0] - 15 <= band.low <= edges[-1] + 15:
                dash = DASHES.get(limits.rule, OTHER_DASH)
                panel.axvline(band.low, color=LIMIT, linewidth=1.3, linestyle=dash)
    panel.set(ylim=(0, top), yticks=[])
    panel.spines["left"].set_visible(False)
    panel.spines["bottom"].set_color(QUIET)
    panel.xaxis.set_major_locator(MaxNLocator(7, steps=[1, 2, 5, 10], integer=True))


def weighted_classes(value: FloatArray, held: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the share of the judged time in classes of 2 degrees.

    Parameters
    ----------
    value : array (frame,)
        An angle; NaN = not seen. [deg]
    held : array (frame,)
        What each frame stands for.

    Returns
    -------
    edges : array (class + 1,)
        [deg]
    shares : array (class,)
        Add up to 1; all 0 where nothing was judged.
    """
    seen = np.isfinite(value)
    if not seen.any():
        return np.array([0.0, BIN]), np.zeros(1)
    low = BIN * np.floor(np.min(value[seen]) / BIN)
    high = BIN * (np.floor(np.max(value[seen]) / BIN) + 1)
    edges = np.arange(low, high + BIN / 2, BIN)
    amounts, _ = np.histogram(value[seen], edges, weights=held[seen])
    return edges, amounts / amounts.sum() if amounts.sum() > 0 else amounts


def _legend(rules: list[LimitSet], words: Words) -> list[Any]:
    height = Patch(facecolor=STRAIN[2].colour, edgecolor=INK, label=words.say("plot.spread_note"))
    handles: list[Any] = [
        height,
        Line2D([], [], color=INK, linewidth=3, marker="D", label=words.say("plot.median")),
    ]
    for rule in dict.fromkeys(limits.rule for limits in rules):
        label = words.say("plot.limit", rule=words.name("rules", rule))
        dash = DASHES.get(rule, OTHER_DASH)
        handles.append(Line2D([], [], color=LIMIT, linewidth=1.3, linestyle=dash, label=label))
    return handles
