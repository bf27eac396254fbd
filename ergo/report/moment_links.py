"""Which moments lie behind every row of the report's tables and every bar of its figures.

An address names a table, a row of it and perhaps a part of that row, as in
``limits_table/3/2``: the parts of a row are those of its bar. The page follows it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ergo.arrays import BoolArray
from ergo.exposure.assessed import unsigned
from ergo.exposure.bands import NOT_KNOWN, strain_of
from ergo.exposure.exposure import (
    UNKNOWN,
    Exposure,
    Group,
    HoldRecord,
    LimitShares,
    Percentiles,
)
from ergo.exposure.groups import hour_labels, mouth_area_labels, task_labels
from ergo.exposure.microbreaks import break_plan
from ergo.report.plots.bars import is_plotted
from ergo.report.plots.dial import dial_limits
from ergo.report.text.key_findings import unjudged_shares
from ergo.report.text.published_norms import MOST_BREAKS
from ergo.report.text.tables import Table, longest_holds
from ergo.session.session import Session
from ergo.timeline import Timeline

MOST_SPANS = 40
"""Moments told of one row; the longest (ours)."""
FIRST_PART = {"limits_table": 2, "more_limits_table": 2}
"""Tables whose cells, from this column on, are the parts of the row."""

Span = tuple[int, int]
"""First and last frame."""


@dataclass(frozen=True, slots=True)
class Lead:
    """The moments behind a row or a bar.

    Attributes
    ----------
    spans : tuple of Span
        The longest first; empty where there are none.
    parts : tuple of tuple of Span
        The same for each part of the row's bar, in its order.
    """

    spans: tuple[Span, ...] = ()
    parts: tuple[tuple[Span, ...], ...] = ()


def leads_of(session: Session, exposure: Exposure) -> dict[str, tuple[Lead, ...]]:
    """Return the leads of every table that has any, one per row, by the table's name."""
    plotted = [each for each in exposure.limits if is_plotted(each)]
    rest = [each for each in exposure.limits if not is_plotted(each)]
    seen = _Seen(session.without_excluded())
    return {
        "holds_table": tuple(seen.of_hold(hold) for hold in longest_holds(exposure)),
        "limits_table": tuple(seen.of_limits(each) for each in plotted),
        "more_limits_table": tuple(seen.of_limits(each) for each in rest),
        "scores_table": tuple(seen.of_score(at) for at in range(len(session.scores))),
        "clock_table": seen.of_groups(exposure.by_clock, dial_limits(exposure)),
        "task_table": seen.of_groups(exposure.by_task, dial_limits(exposure)),
        "mouth_table": seen.of_groups(exposure.by_mouth_area, dial_limits(exposure)),
        "judged_table": tuple(seen.of_angle(name) for name in unjudged_shares(exposure)),
        "spread_table": tuple(seen.of_spread(each) for each in exposure.percentiles),
        "breaks_table": tuple(
            seen.of_moment(each.source, each.at_s)
            for each in break_plan(exposure.holds).breaks[:MOST_BREAKS]
        ),
        "seen_table": (
            *(seen.of_source(at) for at in range(len(session.recording.sources))),
            *(Lead() for _ in session.recording.beside),  # the page shows the first view alone
        ),
    }


def frame_at(timeline: Timeline, source: int, time_s: float) -> int:
    """Return the frame of a source nearest to a time [s]; -1 if the source has none."""
    frames = timeline.frames_of(source)
    if not len(frames):
        return -1
    return int(frames[np.argmin(np.abs(timeline.time_s[frames] - time_s))])


def spans_of(where: BoolArray, timeline: Timeline) -> tuple[Span, ...]:
    """Return the runs of frames in which ``where`` holds, the longest first.

    A run lies within one source and ends at a jump in time.

    Parameters
    ----------
    where : array (frame,)
    timeline : Timeline
    """
    is_cut = (np.diff(timeline.source_index) != 0) | (timeline.gap_after[:-1] > 0)
    begins = where & np.concatenate([[True], ~where[:-1] | is_cut])
    ends = where & np.concatenate([~where[1:] | is_cut, [True]])
    firsts, lasts = np.flatnonzero(begins), np.flatnonzero(ends)
    until = np.concatenate([[0.0], np.cumsum(timeline.held)])
    length = until[lasts + 1] - until[firsts]
    order = np.argsort(-length, kind="stable")[:MOST_SPANS]
    return tuple((int(firsts[at]), int(lasts[at])) for at in order)


class _Seen:
    """Finds the moments of one session."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._timeline = session.recording.timeline
        self._counted = session.assessed()

    def _spans(self, where: BoolArray) -> tuple[Span, ...]:
        return spans_of(where, self._timeline)

    def of_hold(self, hold: HoldRecord) -> Lead:
        source = self._timeline.sources.index(hold.source)
        ends = (hold.start_s, hold.start_s + hold.length_s)
        first, last = (frame_at(self._timeline, source, time_s) for time_s in ends)
        return Lead(((first, last),))

    def of_moment(self, source: str, time_s: float) -> Lead:
        frame = frame_at(self._timeline, self._timeline.sources.index(source), time_s)
        return Lead(((frame, frame),))

    def of_source(self, source: int) -> Lead:
        frames = self._timeline.frames_of(source)
        return Lead(((int(frames[0]), int(frames[-1])),) if len(frames) else ())

    def of_limits(self, limits: LimitShares, within: BoolArray | None = None) -> Lead:
        """Return the moments within, limited, beyond and not judged; the row leads to the worst."""
        strain = strain_of(limits.limits, self._counted)
        here = np.ones(len(strain), dtype=bool) if within is None else within
        parts = tuple(self._spans((strain == each) & here) for each in (0, 1, 2, NOT_KNOWN))
        worst = next((spans for spans in (parts[2], parts[1], parts[0]) if spans), ())
        return Lead(worst, parts)

    def of_score(self, at: int) -> Lead:
        score = self._session.scores[at]
        levels = [self._spans(score.level == n + 1) for n in range(len(score.levels))]
        worst = next((spans for spans in reversed(levels) if spans), ())
        return Lead(worst, (*levels, self._spans(score.level == 0)))

    def of_groups(self, groups: Sequence[Group], limits: LimitShares | None) -> tuple[Lead, ...]:
        if not groups or limits is None:
            return ()
        labels = {
            "clock": lambda: hour_labels(self._session.clock),
            "task": lambda: task_labels(self._timeline, self._session.notes),
            "mouth_area": lambda: mouth_area_labels(self._timeline, self._session.notes),
        }[groups[0].kind]()
        found = []
        for group in groups:
            wanted = None if group.name == UNKNOWN else group.name
            here = np.array([label == wanted for label in labels], dtype=bool)
            found.append(Lead(self._spans(here), self.of_limits(limits, here).parts))
        return tuple(found)

    def of_angle(self, name: str) -> Lead:
        """Return where an angle was judged."""
        return Lead(self._spans(np.isfinite(self._session.posture.angle(name))))

    def of_spread(self, each: Percentiles) -> Lead:
        """Return where an angle was beyond what it passes in a tenth of the time."""
        value = unsigned(self._counted).angle(each.angle.name)
        return Lead(self._spans(value >= each.p90.value))


def links_of(
    leads: Mapping[str, Sequence[Lead]], content: Mapping[str, Any], page: str
) -> dict[str, list[dict[int, str]]]:
    """Return the address behind every cell that has one: by caption, row and column.

    Parameters
    ----------
    leads : mapping of str to sequence of Lead
    content : mapping
        Of the report, with the tables by name.
    page : str
        Address of the session's page.
    """
    links = {}
    for name, rows in leads.items():
        table: Table | None = content[name]
        if table is not None:
            links[table.caption] = [
                {
                    column: f"{page}#{address}"
                    for column, address in addresses(name, at, lead).items()
                }
                for at, lead in enumerate(rows)
            ]
    return links


def addresses(name: str, row: int, lead: Lead) -> dict[int, str]:
    """Return the addresses of a row's cells, by column; none where there is no moment."""
    found = {0: f"{name}/{row}"} if lead.spans else {}
    if name in FIRST_PART:
        for part, spans in enumerate(lead.parts):
            if spans:
                found[FIRST_PART[name] + part] = f"{name}/{row}/{part}"
    return found
