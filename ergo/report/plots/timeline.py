"""Posture over time: one lane per angle, with uncertainty, limits, holds and what was not seen."""

from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FuncFormatter, MaxNLocator, MultipleLocator

from ergo.arrays import FloatArray, IndexArray
from ergo.exposure.exposure import Exposure, HoldRecord, LimitShares
from ergo.posture.time_segments import clip_runs
from ergo.report.moment_links import frame_at
from ergo.report.palette import INK, LIMIT, NOT_JUDGED, QUIET, STRAIN
from ergo.report.plots.canvas import (
    axes_on,
    fill_of,
    in_style,
    is_narrow,
    leads_to,
    legend_below,
    patch_of,
    sheet,
)
from ergo.report.text.words import Words
from ergo.session.session import Session
from ergo.timeline import Timeline

LANE_IN, CLOCK_IN, REST_IN = 1.1, 0.75, 0.5
BUCKETS = 300
"""Pieces into which a lane is cut; the lowest and highest value of each is drawn."""
SD_OF_90_PERCENT = 1.645
LANE_RULE = "iso11226"
TIME_STEPS_S = (0.5, 1, 2, 5, 10, 15, 20, 30, 60, 120, 180, 300, 600, 900, 1800, 3600, 7200)


@in_style
def timeline_figure(session: Session, exposure: Exposure, words: Words, width_in: float) -> Figure:
    """Draw the angles that ISO 11226 limits over the whole session, and the clock position."""
    lanes = [limits for limits in exposure.limits if limits.limits.rule == LANE_RULE]
    has_clock = bool(np.isfinite(session.clock.hours).any())
    heights = [LANE_IN] * len(lanes) + [CLOCK_IN] * has_clock
    figure = sheet(width_in, sum(heights) + REST_IN)
    axes = axes_on(figure, len(heights), 1, sharex=True, height_ratios=heights)
    x = places(session.recording.timeline)
    for lane, limits in zip(axes, lanes, strict=False):
        _angle_lane(lane, session, exposure, limits, x, words)
    if has_clock:
        _clock_lane(axes[-1], session, x, words)
    _time_axis(axes[-1], session.recording.timeline, x, words)
    legend_below(figure, _legend(words, exposure.unit == "second"))
    return figure


def places(timeline: Timeline) -> FloatArray:
    """Return where each frame lies on the time axis: clips one after the other.

    Returns
    -------
    array (frame,)
        Seconds since the first frame of the session, or the number of the
        picture from 1 when the session holds only stills.
    """
    if timeline.unit == "picture":
        return np.arange(1.0, len(timeline) + 1)
    x = np.empty(len(timeline))
    begin = 0.0
    for source in range(len(timeline.sources)):
        frames = timeline.frames_of(source)
        x[frames] = begin + timeline.time_s[frames]
        begin += float(timeline.held[frames].sum() + timeline.gap_after[frames].sum())
    return x


def peaks(y: FloatArray, buckets: int = BUCKETS) -> IndexArray:
    """Return the positions that a line needs so that no peak and no gap is lost.

    Parameters
    ----------
    y : array (frame,)
        NaN where not seen.
    buckets : int
        Pieces into which the frames are cut; of each the first, lowest,
        highest and first unseen position are kept.
    """
    if len(y) <= 4 * buckets:
        return np.arange(len(y))
    kept: list[int] = []
    for piece in np.array_split(np.arange(len(y)), buckets):
        values = y[piece]
        seen = np.flatnonzero(np.isfinite(values))
        chosen = {0}
        if seen.size:
            chosen |= {int(seen[np.argmin(values[seen])]), int(seen[np.argmax(values[seen])])}
        if seen.size < len(piece):
            chosen.add(int(np.flatnonzero(~np.isfinite(values))[0]))
        kept += [int(piece[position]) for position in sorted(chosen)]
    return np.asarray(kept)


def _angle_lane(
    lane: Any,
    session: Session,
    exposure: Exposure,
    limits: LimitShares,
    x: FloatArray,
    words: Words,
) -> None:
    angle = limits.limits.angle.name
    value, sd = session.posture.angle(angle), session.posture.angle_sd(angle)
    timeline = session.recording.timeline
    spread = SD_OF_90_PERCENT * sd
    least = 0.0 if "unsigned" in limits.limits.angle.positive else -np.inf
    low, high = np.maximum(value - spread, least), value + spread
    if timeline.unit == "picture":
        lane.errorbar(
            x,
            value,
            (value - low, high - value),
            fmt="o",
            ms=4,
            color=INK,
            ecolor=STRAIN[2].colour,
            elinewidth=2,
        )
    else:
        for run in clip_runs(timeline):
            _line(lane, np.arange(run.start, run.stop), x, value, (low, high))
    _unseen(lane, x, value, timeline)
    bottom, top = _range(low, high)
    _limits(lane, limits, top)
    _holds(lane, session, exposure, angle, x, top)
    lane.set_ylim(bottom, top + 0.16 * (top - bottom))
    lane.set_title(f"{words.name('angle', angle)} {words.say('plot.degrees')}")
    lane.yaxis.set_major_locator(MaxNLocator(4))


def _line(
    lane: Any,
    frames: IndexArray,
    x: FloatArray,
    value: FloatArray,
    interval: tuple[FloatArray, FloatArray],
) -> None:
    kept = frames[peaks(value[frames])]
    lane.fill_between(
        x[kept],
        interval[0][kept],
        interval[1][kept],
        color=STRAIN[1].colour,
        alpha=0.55,
        linewidth=0,
    )
    lane.plot(x[kept], value[kept], color=INK, linewidth=0.8)


def _range(low: FloatArray, high: FloatArray) -> tuple[float, float]:
    if not np.isfinite(low).any():
        return 0.0, 60.0
    return min(float(np.nanmin(low)), 0.0), max(float(np.nanmax(high)), 30.0)


def _limits(lane: Any, limits: LimitShares, high: float) -> None:
    for band in limits.limits.bands:
        if 0 < band.low < high:
            lane.axhline(band.low, color=LIMIT, linewidth=1, linestyle=(0, (5, 3)))


def _holds(
    lane: Any, session: Session, exposure: Exposure, angle: str, x: FloatArray, top: float
) -> None:
    """Draw strained holds as bars with ends at the top of the lane."""
    timeline = session.recording.timeline
    low = lane.get_ylim()[0]
    place = top + 0.07 * (top - min(low, 0.0))
    for hold in exposure.holds:
        if hold.angle.name != angle or not hold.is_strained:
            continue
        source = timeline.sources.index(hold.source)
        frames = timeline.frames_of(source)
        start = float(x[frames[0]] - timeline.time_s[frames[0]] + hold.start_s)
        is_long = is_longer_than_allowed(hold)
        bar = Line2D(
            [start, start + hold.length_s],
            [place, place],
            color=STRAIN[4].colour if is_long else STRAIN[3].colour,
            linewidth=4 if is_long else 1.6,
            marker="|",
            markersize=7 if is_long else 4,
            solid_capstyle="butt",
            gid=leads_to(f"frame/{frame_at(timeline, source, hold.start_s)}")["gid"],
        )
        lane.add_artist(bar)  # hundreds of them, none of which widens the axes: not by plot()


def is_longer_than_allowed(hold: HoldRecord) -> bool:
    """Return whether a hold passed its line, or held what is beyond the limit for any time."""
    return hold.is_beyond_line is True or (hold.is_beyond_line is None and hold.strain == 2)


def _unseen(lane: Any, x: FloatArray, value: FloatArray, timeline: Timeline) -> None:
    """Hatch the runs of frames in which the angle was not seen, and jumps in time."""
    if len(x) < 2:
        return
    step = float(np.median(np.diff(x)))
    unseen = np.concatenate([[False], ~np.isfinite(value), [False]]).astype(int)
    starts, ends = np.flatnonzero(np.diff(unseen) == 1), np.flatnonzero(np.diff(unseen) == -1)
    runs = [
        (float(x[a]) - step / 2, float(x[b - 1] - x[a]) + step)
        for a, b in zip(starts, ends, strict=True)
    ]
    gap_s = timeline.gap_after
    jumps = np.flatnonzero(gap_s > 0)
    middle = (x[jumps] + x[jumps + 1]) / 2
    runs += zip((middle - gap_s[jumps] / 2).tolist(), gap_s[jumps].tolist(), strict=True)
    shortest = (float(x[-1]) - float(x[0])) / (2 * BUCKETS)
    visible = [run for run in runs if run[1] >= shortest]
    style = fill_of(NOT_JUDGED) | {"linewidth": 0}
    if visible:
        lane.broken_barh(visible, (0, 1), transform=lane.get_xaxis_transform(), zorder=0, **style)


def _clock_lane(lane: Any, session: Session, x: FloatArray, words: Words) -> None:
    hours = session.clock.hours
    whole = np.where(hours >= 12.5, hours - 12, hours)
    timeline = session.recording.timeline
    if timeline.unit == "picture":
        lane.plot(x, whole, color=INK, marker="o", ls="", ms=4)
    for run in clip_runs(timeline):
        kept = run.start + peaks(whole[run.start : run.stop])
        lane.plot(x[kept], whole[kept], color=INK, drawstyle="steps-mid", lw=2)
    _unseen(lane, x, hours, timeline)
    seen = whole[np.isfinite(whole)]
    lane.set_ylim(max(0.0, float(seen.min()) - 1.5), min(13.0, float(seen.max()) + 1.5))
    lane.yaxis.set_major_locator(MaxNLocator(4, integer=True))
    lane.set_title(words.capital(words.say("plot.clock_lane")))


def _time_axis(lane: Any, timeline: Timeline, x: FloatArray, words: Words) -> None:
    if timeline.unit == "picture":
        lane.set_xlabel(words.say("plot.picture_axis"))
        lane.xaxis.set_major_locator(MaxNLocator(integer=True))
        return
    lane.set_xlim(float(x.min(initial=0.0)), float(x.max(initial=1.0)))
    lane.set_xlabel(words.say("plot.time_axis"))
    lane.xaxis.set_major_locator(MultipleLocator(_time_step_s(lane, x)))
    lane.xaxis.set_major_formatter(FuncFormatter(lambda seconds, _: words.clock_time(seconds)))
    for source in range(1, len(timeline.sources)):
        frames = timeline.frames_of(source)
        if frames.size:
            for each in lane.figure.axes:
                each.axvline(float(x[frames[0]]), color=QUIET, linewidth=0.8)


def _time_step_s(lane: Any, x: FloatArray) -> float:
    """Return a round step of time that gives at most 5 (narrow) or 9 ticks."""
    length = float(x.max(initial=1.0) - x.min(initial=0.0))
    most = 5 if is_narrow(lane.figure) else 9
    return next((step for step in TIME_STEPS_S if length / step <= most), TIME_STEPS_S[-1])


def _legend(words: Words, has_holds: bool) -> list[Any]:
    line = Line2D([], [], color=INK, label=words.say("plot.line"))
    limit = Line2D(
        [],
        [],
        color=LIMIT,
        linestyle=(0, (5, 3)),
        label=words.say("plot.limit", rule=words.name("rules", LANE_RULE)),
    )
    handles = [line, limit, patch_of(NOT_JUDGED, words.say("plot.unseen"))]
    if has_holds:
        for key, colour, width in (("hold", 3, 1.6), ("hold_beyond", 4, 4.0)):
            handles.append(
                Line2D(
                    [],
                    [],
                    color=STRAIN[colour].colour,
                    linewidth=width,
                    marker="|",
                    label=words.say(f"plot.{key}"),
                )
            )
    return handles
