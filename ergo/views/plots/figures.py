"""All figures of a report, by key and in order."""

from collections.abc import Callable, Mapping

from matplotlib.figure import Figure

from ergo.session import Session
from ergo.stats.exposure import Exposure
from ergo.views.plots.bars import scores_figure, strained_figure
from ergo.views.plots.breaks import breaks_figure
from ergo.views.plots.dial import dial_figure
from ergo.views.plots.plan import plan_figure
from ergo.views.plots.spread import spread_figure
from ergo.views.plots.timeline import timeline_figure
from ergo.views.plots.variation import variation_figure
from ergo.views.words import Words

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
