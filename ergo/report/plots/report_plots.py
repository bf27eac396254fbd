"""All figures of a report, by key and in order."""

from collections.abc import Callable, Mapping

from matplotlib.figure import Figure

from ergo.exposure.exposure import Exposure
from ergo.report.plots.bars import scores_figure, strained_figure
from ergo.report.plots.breaks import breaks_figure
from ergo.report.plots.dial import dial_figure
from ergo.report.plots.plan import plan_figure
from ergo.report.plots.spread import spread_figure
from ergo.report.plots.timeline import timeline_figure
from ergo.report.plots.variation import variation_figure
from ergo.report.text.words import Words
from ergo.session.session import Session

Draw = Callable[[Session, Exposure, Words, float], Figure | None]
"""Session, exposure, words and width [inch] to a figure; None where there is nothing to draw."""

FIGURES: Mapping[str, Draw] = {
    "strained": lambda _, exposure, words, width: strained_figure(exposure, words, width),
    "timeline": timeline_figure,
    "variation": variation_figure,
    "breaks": lambda _, exposure, words, width: breaks_figure(exposure, words, width),
    "spread": spread_figure,
    "dial": lambda _, exposure, words, width: dial_figure(exposure, words, width),
    "plan": plan_figure,
    "scores": lambda _, exposure, words, width: scores_figure(exposure, words, width),
}
