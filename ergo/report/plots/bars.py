"""Stacked bars: shares of the recording by strain, the unjudged share always with them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from matplotlib.figure import Figure

from ergo.exposure.exposure import Exposure, LevelShares, LimitShares, Share
from ergo.report.palette import INK, NOT_JUDGED, STRAIN, StrainMark, marks_for
from ergo.report.plots.canvas import (
    axes_on,
    fill_of,
    in_style,
    leads_to,
    legend_below,
    patch_of,
    sheet,
)
from ergo.report.text.rounding import level_parts, limit_parts, strained_places
from ergo.report.text.words import Words

BAR_IN, HEADING_IN, REST_IN = 0.36, 0.26, 0.6
"""Heights of a bar with its label, of a heading, and of the axis below. [inch]"""
SHORT_NAME = 2
"""Names of levels up to this length stand inside the bars."""
LEAST_LABELLED = 0.09
"""Parts smaller than this share carry no figure inside."""


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar: its heading (shown where it changes), its label, and parts with short names.

    ``told`` are the shares of the parts and, last, of what was not judged, in words;
    ``lead`` is the address of the table's row that tells the same.
    """

    heading: str
    label: str
    parts: tuple[tuple[StrainMark, Share, str], ...]
    unjudged: Share
    told: tuple[str, ...]
    lead: str


@in_style
def strained_figure(exposure: Exposure, words: Words, width_in: float) -> Figure:
    """Draw the time in strained postures, one bar per angle, rule by rule."""
    shown = [limits for limits in exposure.limits if is_plotted(limits)]
    bars = [
        _limit_bar(limits, f"limits_table/{row}", exposure, words)
        for row, limits in enumerate(shown)
    ]
    names = ("within", "limited", "beyond")
    legend = [(mark, words.say(f"strain.{name}")) for mark, name in zip(MARKS, names, strict=True)]
    return _bars(bars, legend, words, width_in)


@in_style
def scores_figure(exposure: Exposure, words: Words, width_in: float) -> Figure:
    """Draw the time at every action level, one bar per method and side."""
    bars = [
        _level_bar(levels, f"scores_table/{row}", exposure, words)
        for row, levels in enumerate(exposure.scores)
    ]
    legend = [(mark, words.say(f"scores.rank.{mark.key}")) for mark in STRAIN]
    return _bars(bars, legend, words, width_in)


MARKS = marks_for(3)


def is_plotted(limits: LimitShares) -> bool:
    """Return whether a rule's bands of an angle belong into the figures, not only the tables."""
    return limits.limits.rule == "iso11226" or limits.limits.is_headline


def strain_parts(limits: LimitShares) -> tuple[tuple[StrainMark, Share], ...]:
    """Return the time within, limited and beyond, bands of equal strain added up."""
    parts = []
    for strain, mark in enumerate(MARKS):
        same = [
            held
            for band, held in zip(limits.limits.bands, limits.held, strict=True)
            if band.strain == strain
        ]
        of = limits.unjudged.of
        sums = (sum(getattr(held, name) for held in same) for name in ("share", "low", "high"))
        parts.append((mark, Share(of, *sums)))
    return tuple(parts)


def _limit_bar(limits: LimitShares, lead: str, exposure: Exposure, words: Words) -> Bar:
    told = limit_parts(limits, exposure)
    places = [*(strained_places(limits, strain) for strain in range(3)), [len(limits.held)]]
    return Bar(
        words.name("rules", limits.limits.rule),
        words.name("angle", limits.limits.angle.name),
        tuple((mark, share, "") for mark, share in strain_parts(limits)),
        limits.unjudged,
        tuple(told.share(place, words) for place in places),
        lead,
    )


def _level_bar(levels: LevelShares, lead: str, exposure: Exposure, words: Words) -> Bar:
    marks, told = marks_for(len(levels.levels)), level_parts(levels, exposure)
    return Bar(
        words.name("rules", levels.method),
        words.capital(words.name("scores.sides", levels.side)),
        tuple(
            (mark, held, level.printed if len(level.printed) <= SHORT_NAME else "")
            for mark, held, level in zip(marks, levels.held, levels.levels, strict=True)
        ),
        levels.unjudged,
        tuple(told.share([place], words) for place in range(len(told.shares))),
        lead,
    )


def _bars(
    bars: Sequence[Bar], legend: Sequence[tuple[StrainMark, str]], words: Words, width_in: float
) -> Figure:
    headings = sum(is_new for is_new in _is_new_heading(bars))
    height = len(bars) * BAR_IN + headings * HEADING_IN + REST_IN
    figure = sheet(width_in, height)
    (axes,) = axes_on(figure)
    place = 0.0
    for bar, is_new in zip(bars, _is_new_heading(bars), strict=True):
        if is_new:
            place += HEADING_IN
            axes.text(0, place, words.capital(bar.heading), va="bottom", weight="bold")
        place += BAR_IN
        _draw(axes, bar, place, words)
    axes.set(xlim=(0, 100), ylim=(place + 0.1, 0), yticks=[])
    axes.set_xlabel(words.say("plot.share_axis"))
    axes.spines["left"].set_visible(False)
    handles = [patch_of(mark, label) for mark, label in legend]
    legend_below(figure, [*handles, patch_of(NOT_JUDGED, words.say("strain.unjudged"))])
    return figure


def _is_new_heading(bars: Sequence[Bar]) -> list[bool]:
    return [i == 0 or bar.heading != bars[i - 1].heading for i, bar in enumerate(bars)]


def _draw(axes: Any, bar: Bar, place: float, words: Words) -> None:
    """Draw one bar whose lower edge lies at ``place``; its label stands above it."""
    height, left = 0.17, 0.0
    parts = (*bar.parts, (NOT_JUDGED, bar.unjudged, ""))
    for part, (mark, share, name) in enumerate(parts):
        width = 100 * share.share
        if not width > 0:
            continue
        leads = leads_to(f"{bar.lead}/{part}")
        axes.barh(place - height / 2, width, height, left=left, **fill_of(mark), **leads)
        if share.share >= LEAST_LABELLED:
            text = f"{name}: {bar.told[part]}" if name else bar.told[part]
            _inside(axes, left + width / 2, place - height / 2, text, mark)
        left += width
    axes.text(0, place - height - 0.015, bar.label, va="bottom", fontsize=8.5)
    unjudged = words.say("plot.unjudged", share=bar.told[-1])
    axes.text(100, place - height - 0.015, unjudged, va="bottom", ha="right", fontsize=7.5)


def _inside(axes: Any, x: float, y: float, text: str, mark: StrainMark) -> None:
    """Write into a bar, on a plain patch so that no pattern runs through the letters."""
    patch = {"facecolor": mark.colour, "edgecolor": "none", "boxstyle": "square,pad=0.1"}
    colour = INK if mark is NOT_JUDGED else mark.hatch_colour
    axes.text(x, y, text, ha="center", va="center", fontsize=7.5, color=colour, bbox=patch)
