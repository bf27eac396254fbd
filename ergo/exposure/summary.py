"""From angles, places and scores of every frame to the exposure of the session."""

from collections.abc import Mapping, Sequence
from math import isfinite

import numpy as np

from ergo.exposure.assessed import assessed, backward_beyond, unsigned
from ergo.exposure.exposure import Exposure, Group, HoldRecord, LevelShares, LimitShares
from ergo.exposure.groups import (
    Part,
    hour_labels,
    mouth_area_labels,
    parts_of,
    task_labels,
)
from ergo.exposure.holding_lines import holding_line
from ergo.exposure.key_facts import Seen, first_three
from ergo.exposure.limits import limit_sets
from ergo.exposure.moments import worst_moments
from ergo.exposure.percentiles import angle_percentiles
from ergo.exposure.shares import level_shares, limit_shares, share_of
from ergo.exposure.static_postures import hold_records
from ergo.notes.excluded import is_excluded
from ergo.notes.notes import Notes
from ergo.posture.posture_track import PostureTrack
from ergo.scores.method_score import MethodScore
from ergo.timeline import Timeline
from ergo.workplace.clock_track import ClockTrack


def exposure_of(
    timeline: Timeline,
    posture: PostureTrack,
    clock: ClockTrack,
    scores: Sequence[MethodScore],
    notes: Sequence[Notes],
    readings: Mapping[str, str] | None = None,
) -> Exposure:
    """Sum up one session.

    Parameters
    ----------
    timeline : Timeline
    posture : PostureTrack
    clock : ClockTrack
    scores : sequence of MethodScore
    notes : sequence of Notes
        One per source.
    readings : mapping of str to str, optional
        As for :func:`ergo.scores.methods.score_all`.

    Returns
    -------
    Exposure
        Parts that the notes exclude, and jumps in time, count as not judged.
    """
    excluded = is_excluded(timeline, notes)
    counted = assessed(timeline, posture, notes, readings)
    posture, clock = posture.without(excluded), clock.without(excluded)
    scores = [each.without(excluded) for each in scores]
    hours, tasks = hour_labels(clock), task_labels(timeline, notes)
    areas = mouth_area_labels(timeline, notes)
    by_clock = parts_of("clock", hours, timeline)
    by_task = parts_of("task", tasks, timeline)
    by_area = parts_of("mouth_area", areas, timeline)
    parts = (*by_clock, *by_task, *by_area)
    held = np.array([timeline.held, *(part.held for part in parts)])
    gap = np.array([np.sum(timeline.gap_after), *(part.gap for part in parts)])
    limits = limit_shares(counted, held, limit_sets(), gap)
    levels = level_shares(scores, held, gap)
    groups = _groups(timeline.total, parts, limits[1:], levels[1:])
    beyond = backward_beyond(readings)
    holds = hold_records(timeline, counted, holding_line, hours, tasks, beyond)
    headline = [each for each in limit_sets() if each.is_headline]
    return Exposure(
        unit=timeline.unit,
        total=timeline.total,
        seen=share_of(float(np.sum(timeline.held[posture.person_found])), timeline.total),
        limits=limits[0],
        scores=levels[0],
        percentiles=angle_percentiles(unsigned(counted), timeline.held),
        holds=holds,
        by_clock=groups[: len(by_clock)],
        by_task=groups[len(by_clock) : len(by_clock) + len(by_task)],
        by_mouth_area=groups[len(by_clock) + len(by_task) :],
        worst_moments=worst_moments(timeline, counted, headline),
        first_three=first_three(Seen(counted, timeline.held, hours, limits[0], holds)),
    )


def _groups(
    total: float,
    parts: Sequence[Part],
    limits: Sequence[tuple[LimitShares, ...]],
    levels: Sequence[tuple[LevelShares, ...]],
) -> tuple[Group, ...]:
    return tuple(
        Group(part.kind, part.name, share_of(part.total, total), limit, level)
        for part, limit, level in zip(parts, limits, levels, strict=True)
    )


EPISODE_COLUMNS = (
    "source",
    "angle",
    "start_s",
    "length_s",
    "mean",
    "sd",
    "strain",
    "limit_s",
    "is_beyond_line",
    "beyond_probability",
    "clock_hour",
    "task",
    "rest_after_s",
)

Cell = str | float | int | bool | None


def episode_rows(exposure: Exposure) -> tuple[tuple[str, ...], tuple[tuple[Cell, ...], ...]]:
    """Return the static holds as a table: its header, and one row per hold.

    Parameters
    ----------
    exposure : Exposure

    Returns
    -------
    tuple of str, tuple of tuple
        None where not known or where no limit applies; angles in the unit of
        their name, times in seconds.
    """
    return EPISODE_COLUMNS, tuple(_episode(hold) for hold in exposure.holds)


def _episode(hold: HoldRecord) -> tuple[Cell, ...]:
    cells: dict[str, Cell] = {name: getattr(hold, name) for name in EPISODE_COLUMNS}
    cells["angle"] = hold.angle.name
    known = (None if isinstance(c, float) and not isfinite(c) else c for c in cells.values())
    return tuple(known)
