"""Exposure variation: circles by range and by length of the uninterrupted stay in it."""

from typing import Any

import numpy as np
from matplotlib.figure import Figure

from ergo.exposure.exposure import Exposure
from ergo.exposure.variation import STAY_EDGES_S, Variation, variation_of
from ergo.report.palette import INK, QUIET, marks_for
from ergo.report.plots.canvas import axes_on, in_style, is_narrow, sheet
from ergo.report.text.tables import band_text
from ergo.report.text.words import Words
from ergo.session.session import Session

ROW_IN, PANEL_REST_IN, REST_IN = 0.34, 0.55, 0.4
RULE = "iso11226"
LEAST_SHOWN, LEAST_LABELLED = 0.002, 0.015
"""Smaller shares of the recording get no circle, no figure beside it."""
LARGEST_POINTS = 420.0
"""Area of the circle of the whole recording. [points²]"""


@in_style
def variation_figure(
    session: Session, exposure: Exposure, words: Words, width_in: float
) -> Figure | None:
    """Draw one panel per angle that ISO 11226 limits and that was seen; None for stills."""
    shown = variations(session, exposure)
    if exposure.unit != "second" or not shown:
        return None
    heights = [len(each.limits.bands) * ROW_IN + PANEL_REST_IN for each in shown]
    figure = sheet(width_in, sum(heights) + REST_IN)
    panels = axes_on(figure, len(shown), 1, sharex=True, height_ratios=heights)
    for panel, each in zip(panels, shown, strict=True):
        _panel(panel, each, words)
    edges = STAY_EDGES_S
    labels = [
        words.say("variation.class_over", low=f"{low:.0f}")
        if high == np.inf
        else words.say("variation.class_between", low=f"{low:.0f}", high=f"{high:.0f}")
        for low, high in zip(edges, edges[1:], strict=False)
    ]
    turn = {"rotation": 45, "ha": "right"} if is_narrow(figure) else {}
    panels[-1].set_xticks(range(len(labels)), labels, **turn)
    panels[-1].set_xlabel(words.say("plot.stay_axis"))
    return figure


def variations(session: Session, exposure: Exposure) -> list[Variation]:
    """Return the exposure variation of every angle that ISO 11226 limits, as far as seen."""
    timeline = session.recording.timeline
    kept = session.assessed()
    found = [
        variation_of(timeline, kept, shares.limits)
        for shares in exposure.limits
        if shares.limits.rule == RULE
    ]
    return [each for each in found if each.unjudged < 1]


def _panel(panel: Any, each: Variation, words: Words) -> None:
    angle, marks = each.limits.angle, marks_for(3)
    for row, (band, shares) in enumerate(zip(each.limits.bands, each.share, strict=True)):
        for column, share in enumerate(shares):
            if share < LEAST_SHOWN:
                continue
            mark = marks[band.strain]
            panel.scatter(
                column,
                row,
                LARGEST_POINTS * share,
                color=mark.colour,
                edgecolor=INK,
                linewidth=0.7,
                clip_on=False,
            )
            if share >= LEAST_LABELLED:
                panel.annotate(
                    words.share(float(share)),
                    (column, row),
                    xytext=(3 + np.sqrt(LARGEST_POINTS * share) / 2, 0),
                    textcoords="offset points",
                    va="center",
                    fontsize=7,
                )
    labels = [
        f"{marks[band.strain].symbol} {band_text(band, angle, words)}" for band in each.limits.bands
    ]
    panel.set_yticks(range(len(labels)), labels)
    panel.set(xlim=(-0.5, each.share.shape[1] - 0.3), ylim=(-0.6, len(labels) - 0.4))
    panel.set_title(words.name("angle", angle.name))
    panel.grid(color=QUIET, linewidth=0.3, alpha=0.5, clip_on=False)
    panel.set_axisbelow(True)
