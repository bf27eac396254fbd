"""What the browser is told of a session, in the reader's language: names, places, figures."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from ergo.landmarks.names import INDEX, LANDMARKS
from ergo.posture.angle_names import NAMES
from ergo.session import Session
from ergo.stats.exposure import Exposure, Group, LimitShares
from ergo.stats.groups import hour_labels, mouth_area_labels, task_labels
from ergo.timeline import Timeline
from ergo.views.facts import film_next, first_sentences
from ergo.views.html import report_content
from ergo.views.moments import Moment, moments
from ergo.views.pictures import BONES
from ergo.views.plots.bars import is_plotted
from ergo.views.plots.timeline import is_longer_than_allowed
from ergo.views.tables import LONGEST_HOLDS, Table
from ergo.views.words import Words
from ergo.web.lanes import LANES, frame_at, labels_of, lane_limits
from ergo.web.opened import Opened

HOLD_ANGLES = (*LANES, "head_inclination_deg", "trunk_inclination_deg")


def description(opened: Opened, words: Words) -> dict[str, Any]:
    """Return what goes with the arrays of a session."""
    session = opened.session
    return {
        "id": opened.entry.id,
        "name": opened.entry.name,
        "unit": session.recording.timeline.unit,
        "sources": _sources(session),
        "angles": [
            {"name": name, "label": words.name("angle", name), "unit": _unit(name)}
            for name in NAMES
        ],
        "lanes": [_lane(name, words) for name in LANES],
        "labels": labels_of(session),
        "methods": [
            {
                "method": score.method,
                "side": score.side,
                "label": words.name("rules", score.method),
                "levels": [words.name("printed", level.printed) for level in score.levels],
            }
            for score in session.scores
        ],
        "holds": _holds(session, opened.exposure, words),
        "moments": [
            {"frame": moment.frame, "lane": moment.reason}
            for moment in opened.exposure.worst_moments
        ],
        "landmarks": LANDMARKS,
        "bones": [[INDEX[start], INDEX[end]] for start, end in BONES],
        "notes": [notes.model_dump(mode="json", exclude_defaults=True) for notes in session.notes],
    }


def _unit(name: str) -> str:
    return "mm" if "_mm" in name else "°"


def _sources(session: Session) -> list[dict[str, Any]]:
    timeline = session.recording.timeline
    frames = [timeline.frames_of(source) for source in range(len(timeline.sources))]
    return [
        {
            "name": facts.name,
            "kind": facts.kind,
            "width": facts.width_px,
            "height": facts.height_px,
            "first": int(own[0]) if len(own) else 0,
            "count": len(own),
        }
        for facts, own in zip(session.recording.sources, frames, strict=True)
    ]


def _lane(name: str, words: Words) -> dict[str, Any]:
    limits = lane_limits(name)
    return {
        "angle": NAMES.index(name),
        "label": words.name("angle", name),
        "rule": words.name("rules", limits.rule),
        "limit": limits.limit if np.isfinite(limits.limit) else None,
    }


def _holds(session: Session, exposure: Exposure, words: Words) -> list[dict[str, Any]]:
    timeline = session.recording.timeline
    found = []
    for hold in exposure.holds:
        if hold.is_strained and hold.angle.name in HOLD_ANGLES:
            source = timeline.sources.index(hold.source)
            found.append(
                {
                    "angle": NAMES.index(hold.angle.name),
                    "first": frame_at(timeline, source, hold.start_s),
                    "last": frame_at(timeline, source, hold.start_s + hold.length_s),
                    "length_s": hold.length_s,
                    "is_long": is_longer_than_allowed(hold),
                    "label": words.name("angle", hold.angle.name),
                    "length": words.duration(hold.length_s),
                }
            )
    return sorted(found, key=lambda each: each["first"])


def figures(opened: Opened, words: Words) -> dict[str, Any]:
    """Return the figures beside the picture: sentences, tables and where their rows lead.

    ``frames`` of a table has one frame per row, the moment behind it; None where
    there is no single one.
    """
    session, exposure = opened.session, opened.exposure
    shown: tuple[Moment, ...] = moments(
        session, exposure, lambda *_: None, words, blur_operator=False
    )
    content = report_content(session, exposure, shown, words)
    return {
        "first": first_sentences(exposure, words),
        "seen": content["seen_summary"],
        "next": film_next(session, exposure, words),
        "moments": [
            {"title": moment.title, "values": moment.values, "frame": worst.frame}
            for moment, worst in zip(shown, exposure.worst_moments, strict=False)
        ],
        "tables": [table for table in _tables(opened, content) if table is not None],
    }


def _tables(opened: Opened, content: dict[str, Any]) -> list[dict[str, Any] | None]:
    session, exposure = opened.session, opened.exposure
    timeline = session.recording.timeline
    plotted = [each for each in exposure.limits if is_plotted(each)]
    rest = [each for each in exposure.limits if not is_plotted(each)]
    return [
        _with_frames(content["holds_table"], _hold_frames(exposure, timeline)),
        _with_frames(content["limits_table"], _limit_frames(session, plotted)),
        _with_frames(
            content["scores_table"], [_worst_score(score.score) for score in session.scores]
        ),
        _with_frames(content["clock_table"], _group_frames(session, exposure.by_clock)),
        _with_frames(content["task_table"], _group_frames(session, exposure.by_task)),
        _with_frames(content["mouth_table"], _group_frames(session, exposure.by_mouth_area)),
        _with_frames(content["more_limits_table"], _limit_frames(session, rest)),
        _with_frames(content["readings_table"], []),
        _with_frames(
            content["seen_table"],
            [
                int(frames[0]) if len(frames) else None
                for frames in map(timeline.frames_of, range(len(timeline.sources)))
            ],
        ),
    ]


def _with_frames(table: Table | None, frames: Sequence[int | None]) -> dict[str, Any] | None:
    if table is None or not table.rows:
        return None
    return {
        "caption": table.caption,
        "columns": table.columns,
        "rows": table.rows,
        "frames": [*frames, *[None] * len(table.rows)][: len(table.rows)],
    }


def _hold_frames(exposure: Exposure, timeline: Timeline) -> list[int | None]:
    strained = sorted((h for h in exposure.holds if h.is_strained), key=lambda h: -h.length_s)
    return [
        frame_at(timeline, timeline.sources.index(hold.source), hold.start_s)
        for hold in strained[:LONGEST_HOLDS]
    ]


def _limit_frames(session: Session, limits: Sequence[LimitShares]) -> list[int | None]:
    values = [session.posture.angle(each.limits.angle.name) for each in limits]
    return [
        int(np.nanargmax(np.abs(value))) if np.any(np.isfinite(value)) else None for value in values
    ]


def _worst_score(score: Any) -> int | None:
    return int(np.argmax(score)) if np.any(score > 0) else None


def _group_frames(session: Session, groups: Sequence[Group]) -> list[int | None]:

    timeline = session.recording.timeline
    labels = {
        "clock": lambda: hour_labels(session.clock),
        "task": lambda: task_labels(timeline, session.notes),
        "mouth_area": lambda: mouth_area_labels(timeline, session.notes),
    }
    return [
        next((i for i, label in enumerate(labels[group.kind]()) if label == group.name), None)
        for group in groups
    ]
