"""Exposure round the clock: a dial seen from above, 12 behind the patient's head."""

from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Ellipse, Wedge

from ergo.exposure.exposure import UNKNOWN, Exposure, LimitShares
from ergo.report.palette import INK, NOT_JUDGED, QUIET
from ergo.report.plots.bars import MARKS, strain_parts
from ergo.report.plots.canvas import (
    axes_on,
    fill_of,
    in_style,
    leads_to,
    legend_below,
    patch_of,
    sheet,
)
from ergo.report.text.rounding import parts_of_whole
from ergo.report.text.words import Words

INNER, OUTER, RING, NUMERALS = 0.24, 1.0, 1.28, 1.4
"""Radius of the patient's head, of the longest field, of the ring, and of the hours round it."""
HALF_FIELD_DEG = 13.0


@in_style
def dial_figure(exposure: Exposure, words: Words, width_in: float) -> Figure | None:
    """Draw the time at each clock hour, divided by strain; None where no hour is known."""
    known = [group for group in exposure.by_clock if group.name != UNKNOWN]
    limits = dial_limits(exposure)
    if not known or limits is None:
        return None
    side = min(width_in, 4.6)
    figure = sheet(side, side)
    (axes,) = axes_on(figure)
    axes.set(xlim=(-1.75, 1.75), ylim=(-1.65, 1.55), aspect="equal")
    axes.set_axis_off()
    longest = max(group.held.share for group in known)
    rows = [group.name for group in exposure.by_clock]
    times = parts_of_whole(
        [group.held for group in exposure.by_clock], exposure.total, exposure.unit
    )
    for group in known:
        own = next(shares for shares in group.limits if shares.limits == limits.limits)
        lead = f"clock_table/{rows.index(group.name)}"
        _field(axes, int(group.name), group.held.share / longest, own, lead)
        told = times.share([rows.index(group.name)], words)
        _amount(axes, int(group.name), group.held.share, longest, told)
    _room(axes, words)
    names = ("within", "limited", "beyond")
    handles = [
        patch_of(m, words.say(f"strain.{name}")) for m, name in zip(MARKS, names, strict=True)
    ]
    legend_below(figure, [*handles, patch_of(NOT_JUDGED, words.say("strain.unjudged"))])
    return figure


def dial_limits(exposure: Exposure) -> LimitShares | None:
    """Return the angle and rule that the dial shows: the first of the things that matter."""
    for fact in exposure.first_three:
        for limits in exposure.limits:
            if limits.limits.angle == fact.angle and limits.limits.rule == fact.rule:
                return limits
    return next((limits for limits in exposure.limits if limits.limits.is_headline), None)


def _field(axes: Any, hour: int, share: float, limits: LimitShares, lead: str) -> None:
    """Draw one hour's field; its area is the time spent there, its parts the strain."""
    angle = 90 - 30 * hour  # matplotlib: counter-clockwise from the right
    parts = [(mark, part.share) for mark, part in strain_parts(limits)]
    done = 0.0
    for at, (mark, part) in enumerate([*parts, (NOT_JUDGED, limits.unjudged.share)]):
        if not part > 0:
            continue
        inner, outer = _radius(share * done), _radius(share * (done + part))
        done += part
        axes.add_patch(
            Wedge(
                (0, 0),
                outer,
                angle - HALF_FIELD_DEG,
                angle + HALF_FIELD_DEG,
                width=outer - inner,
                **fill_of(mark),
                **leads_to(f"{lead}/{at}"),
            )
        )


def _radius(share: float) -> float:
    return float(np.sqrt(INNER**2 + share * (OUTER**2 - INNER**2)))


def _amount(axes: Any, hour: int, share: float, longest: float, told: str) -> None:
    x, y = _place(hour, _radius(share / longest) + 0.13)
    if share >= 0.005:
        axes.text(x, y, told, ha="center", va="center", fontsize=7.5, color=INK)


def _place(hour: float, radius: float) -> tuple[float, float]:
    bearing = np.radians(30 * hour)
    return float(radius * np.sin(bearing)), float(radius * np.cos(bearing))


def _room(axes: Any, words: Words) -> None:
    """Draw the patient from above and the hours round the dial."""
    style: dict[str, Any] = {"facecolor": "none", "edgecolor": QUIET, "linewidth": 1.0}
    axes.add_patch(Ellipse((0, -0.72), 0.44, 1.0, zorder=0, linestyle=":", **style))
    axes.add_patch(Circle((0, 0), INNER * 0.8, **style))
    axes.add_patch(Circle((0, 0), RING, facecolor="none", edgecolor=QUIET, lw=0.5))
    axes.text(0, 0, words.say("clock.head").replace(" ", "\n"), ha="center", va="center", size=6)
    for hour in range(1, 13):
        x, y = _place(hour, NUMERALS)
        weight = "bold" if hour % 3 == 0 else "normal"
        axes.text(x, y, str(hour), ha="center", va="center", color=INK, weight=weight)
    for side, key in ((1, "left"), (-1, "right")):
        label = words.say(f"clock.{key}").replace(" ", "\n")
        away = "left" if side > 0 else "right"
        axes.text(side * (RING + 0.03), -0.22, label, ha=away, va="center", size=7, color=QUIET)
    axes.text(0, -1.53, words.say("clock.feet"), ha="center", va="center", size=7, color=QUIET)
