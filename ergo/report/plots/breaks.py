"""The plan of breaks as a timeline beside the real one."""

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FuncFormatter, MaxNLocator

from ergo.exposure.exposure import Exposure, HoldRecord
from ergo.exposure.microbreaks import BREAK_S, Break, BreakPlan, break_plan
from ergo.report.palette import INK, marks_for
from ergo.report.plots.canvas import (
    axes_on,
    fill_of,
    in_style,
    leads_to,
    legend_below,
    patch_of,
    sheet,
)
from ergo.report.text.tables import longest_holds
from ergo.report.text.words import Words

LANE_IN, REST_IN = 0.3, 0.6
WITHIN, _, PAST = marks_for(3)


@in_style
def breaks_figure(exposure: Exposure, words: Words, width_in: float) -> Figure | None:
    """Draw the holds of the recording with most breaks, as they were and with the breaks."""
    plan = break_plan(exposure.holds)
    source = source_shown(plan)
    if source is None:
        return None
    stretches = [each for each in plan.stretches if each.hold.source == source]
    names = list(dict.fromkeys(each.hold.angle.name for each in stretches))
    holds = list(dict.fromkeys(each.hold for each in stretches))
    breaks = [each for each in plan.breaks if each.source == source]
    figure = sheet(width_in, 2 * (len(names) * LANE_IN + REST_IN))
    real, planned = axes_on(figure, 2, 1, sharex=True)
    rows = {hold: row for row, hold in enumerate(longest_holds(exposure))}
    for hold in holds:
        _bar(real, names.index(hold.angle.name), (hold.start_s, hold.length_s), hold, rows)
    for each in stretches:
        lane = names.index(each.hold.angle.name)
        _bar(planned, lane, (each.start_s, each.length_s), each.hold, rows)
    _mark(planned, breaks, len(names))
    for axes, key in ((real, "as_recorded"), (planned, "with_breaks")):
        axes.set_title(words.say(f"breaks.{key}"))
        axes.set_yticks(range(len(names)), [words.name("angle", name) for name in names])
        axes.set_ylim(len(names) - 0.4, -0.6)
    planned.xaxis.set_major_locator(MaxNLocator(6, integer=True))
    planned.xaxis.set_major_formatter(FuncFormatter(lambda s, _: words.clock_time(max(s, 0.0))))
    planned.set_xlabel(words.say("plot.time_axis"))
    legend_below(figure, _legend(words))
    return figure


def source_shown(plan: BreakPlan) -> str | None:
    """Return the recording with most breaks; None where there is none."""
    most = Counter(each.source for each in plan.breaks).most_common(1)
    return most[0][0] if most else None


def _bar(
    axes: Any,
    lane: int,
    start_and_length_s: tuple[float, float],
    hold: HoldRecord,
    rows: Mapping[HoldRecord, int],
) -> None:
    """Draw a hold or a stretch of it; it leads where its row in the table of holds does."""
    start_s, length_s = start_and_length_s
    is_past = hold.limit_s is not None and length_s > hold.limit_s + 1e-6
    style = fill_of(PAST if is_past else WITHIN)
    if hold in rows:
        style |= leads_to(f"holds_table/{rows[hold]}")
    axes.barh(lane, length_s, 0.55, left=start_s, **style)


def _mark(axes: Any, breaks: Sequence[Break], lanes: int) -> None:
    """Draw each break where it lies in the time of the plan."""
    for number, each in enumerate(breaks):
        middle_s = each.at_s + (number + 0.5) * BREAK_S
        axes.plot([middle_s, middle_s], [-0.5, lanes - 0.5], color=INK, lw=1.5, ls=(0, (2, 1)))


def _legend(words: Words) -> list[Any]:
    line = Line2D([], [], color=INK, lw=1.5, ls=(0, (2, 1)), label=words.say("breaks.break_mark"))
    return [
        patch_of(WITHIN, words.say("breaks.hold_mark")),
        patch_of(PAST, words.say("breaks.past_mark")),
        line,
    ]
