"""Plan of the work place, to scale: chair, patient, and where the operator and assistant sat."""

from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Ellipse, FancyBboxPatch

from ergo.arrays import FloatArray
from ergo.exposure.exposure import Exposure
from ergo.exposure.percentiles import weighted_quantiles
from ergo.report.palette import INK, QUIET, STRAIN
from ergo.report.plots.canvas import axes_on, in_style, legend_below, sheet
from ergo.report.text.place import counted_weight
from ergo.report.text.words import Words
from ergo.session.session import Session
from ergo.workplace.place_track import PlaceTrack

HEAD_M, NUMERALS_M, SMOOTH_M, GRID_M = 0.10, 1.05, 0.06, 0.025
USUAL_LENGTH_M, USUAL_WIDTH_M, HEAD_FROM_END_M = 1.75, 0.55, 0.10
LEVELS = (0.08, 0.35, 0.75, 1.01)
"""Contours, as shares of the densest place (ours)."""


@in_style
def plan_figure(session: Session, _: Exposure, words: Words, width_in: float) -> Figure | None:
    """Draw the plan; None where no place was measured."""
    place = session.place
    weight = counted_weight(session.recording.timeline)
    if place is None or not np.isfinite(place.seat_m[weight > 0]).any():
        return None
    side = min(width_in, 5.2)
    figure = sheet(side, side * 1.12)
    (axes,) = axes_on(figure)
    axes.set(xlim=(-1.3, 1.3), ylim=(-1.75, 1.25), aspect="equal")
    axes.set_axis_off()
    _room(axes, place, words)
    _density(axes, place.seat_m, weight)
    own, other = words.say("plan.operator"), words.say("plan.assistant")
    handles = [_usual_place(axes, place.seat_m, place.seat_sd_m, weight, own, marker="o")]
    if np.isfinite(place.assistant_m[weight > 0]).any():
        beside = (place.assistant_m, place.assistant_sd_m, weight)
        handles.append(_usual_place(axes, *beside, other, marker="s", fillstyle="none"))
    legend_below(figure, handles)
    return figure


def _room(axes: Any, place: PlaceTrack, words: Words) -> None:
    """Draw chair, patient, hours and a scale."""
    lengths = [length for length in place.chair_length_m if length is not None]
    widths = [width for width in place.chair_width_m if width is not None]
    length, width = (lengths or [USUAL_LENGTH_M])[0], (widths or [USUAL_WIDTH_M])[0]
    axes.add_patch(
        FancyBboxPatch(
            (-width / 2, HEAD_FROM_END_M - length),
            width,
            length,
            boxstyle="round,pad=0,rounding_size=0.12",
            facecolor="none",
            edgecolor=QUIET,
            linestyle="-" if lengths else ":",
        )
    )
    axes.add_patch(Circle((0, 0), HEAD_M, facecolor="none", edgecolor=INK))
    axes.add_patch(Ellipse((0, -0.5), 0.40, 0.62, facecolor="none", edgecolor=QUIET, lw=0.6))
    for hour in range(1, 13):
        bearing = np.radians(30 * hour)
        x, y = NUMERALS_M * np.sin(bearing), NUMERALS_M * np.cos(bearing)
        axes.text(x, y, str(hour), ha="center", va="center", color=INK, size=8)
    axes.plot([0.7, 1.2], [-1.6, -1.6], color=INK, lw=1.5)
    scale = words.say("plan.metres", m=words.number(0.5, 1))
    axes.text(0.95, -1.58, scale, ha="center", va="bottom", size=8)
    axes.text(0, HEAD_FROM_END_M - length - 0.03, words.say("clock.feet"), ha="center", va="top")


def _density(axes: Any, seat_m: FloatArray, weight: FloatArray) -> None:
    """Shade where the operator sat; each step is outlined, so that it shows in grey too."""
    known = np.isfinite(seat_m).all(axis=1)
    x = np.arange(-1.3, 1.3 + GRID_M, GRID_M)
    y = np.arange(-1.75, 1.25 + GRID_M, GRID_M)
    held, _, _ = np.histogram2d(
        seat_m[known, 0], seat_m[known, 1], bins=[_edges(x), _edges(y)], weights=weight[known]
    )
    if not held.any():
        return
    spread_x = np.exp(-0.5 * ((x[:, None] - x) / SMOOTH_M) ** 2)
    spread_y = np.exp(-0.5 * ((y[:, None] - y) / SMOOTH_M) ** 2)
    density = spread_x @ held @ spread_y
    density /= density.max()
    colours = [mark.colour for mark in STRAIN[1:4]]
    axes.contourf(x, y, density.T, levels=LEVELS, colors=colours, zorder=2, alpha=0.85)
    axes.contour(x, y, density.T, levels=LEVELS[:-1], colors=QUIET, linewidths=0.6, zorder=3)


def _edges(centres: FloatArray) -> FloatArray:
    return np.append(centres, centres[-1] + GRID_M) - GRID_M / 2


def _usual_place(
    axes: Any, seat_m: FloatArray, sd_m: FloatArray, weight: FloatArray, label: str, **mark: Any
) -> Any:
    """Mark the middle of a person's places, array (frame, xy), with the usual uncertainty."""
    middle, sd = (_middle(each, weight) for each in (seat_m, sd_m))
    error = Ellipse(
        tuple(middle), *(2 * sd), facecolor="none", edgecolor=INK, linestyle="--", lw=0.9, zorder=4
    )
    axes.add_patch(error)
    axes.plot(*middle, color=INK, markersize=5, zorder=5, linestyle="none", **mark)
    return Line2D([], [], color=INK, linestyle="--", label=label, **mark)


def _middle(values: FloatArray, weight: FloatArray) -> FloatArray:
    """Return the weighted median of each column of what is known, array (xy,)."""
    known = np.isfinite(values).all(axis=1)
    half = np.array([0.5])
    return np.concatenate(
        [weighted_quantiles(column[known], weight[known], half) for column in values.T]
    )
