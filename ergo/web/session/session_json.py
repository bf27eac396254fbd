"""What the browser is told of a session, in the reader's language: names, places, figures."""

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from ergo.exposure.exposure import Exposure
from ergo.landmarks.names import INDEX, LANDMARKS
from ergo.notes.notes import Notes
from ergo.posture.angle_names import NAMES
from ergo.report.html import report_content
from ergo.report.moment_links import FIRST_PART, Lead, frame_at, leads_of
from ergo.report.pictures.moment_pictures import BONES
from ergo.report.plots.timeline import is_longer_than_allowed
from ergo.report.text.cameras import together_sentences
from ergo.report.text.effect import moving_figures
from ergo.report.text.first_change import Changes
from ergo.report.text.key_findings import film_next, first_sentences
from ergo.report.text.moments import Moment, moments
from ergo.report.text.tables import Table
from ergo.report.text.words import Words
from ergo.session.session import Beside, Session
from ergo.storage.choices import sources_to_watch
from ergo.web.session.session_cache import OpenSession
from ergo.web.session.timeline_arrays import LANES, labels_of, lane_limits

TABLES = (
    "holds_table",
    "limits_table",
    "scores_table",
    "clock_table",
    "task_table",
    "mouth_table",
    "more_limits_table",
    "readings_table",
    "together_table",
    "moments_table",
    "judged_table",
    "spread_table",
    "breaks_table",
    "seen_table",
)
"""Tables of the report that stand beside the picture, the most asked for first."""
HOLD_ANGLES = (*LANES, "head_inclination_deg", "trunk_inclination_deg")


def description(opened: OpenSession, words: Words) -> dict[str, Any]:
    """Return what goes with the arrays of a session."""
    session = opened.session
    return {
        "id": opened.entry.id,
        "name": opened.entry.name,
        "tags": opened.entry.tags,
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
        "notes": [_stated(notes) for notes in session.notes],
        "beside": [_beside(each) for each in session.recording.beside],
        "to_watch": [
            opened.sources[source].name for source in sources_to_watch(opened.folder, opened.notes)
        ],
    }


def _stated(notes: Notes) -> dict[str, Any]:
    return notes.model_dump(mode="json", exclude_defaults=True)


def _beside(each: Beside) -> dict[str, Any]:
    (facts,) = each.recording.sources
    return {
        "name": facts.name,
        "kind": facts.kind,
        "width": facts.width_px,
        "height": facts.height_px,
        "start_s": each.start.offset_s,
        "is_stated": each.start.origin == "notes",
        "notes": _stated(each.notes),
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


def figures(opened: OpenSession, words: Words) -> dict[str, Any]:
    """Return the figures beside the picture: sentences, tables and where their rows lead.

    ``leads`` of a table has one entry per row: the moments behind it as first and
    last frames, the longest first, and those behind each part of its bar. From
    column ``first_part`` on the cells of a row are such parts. ``moving`` are the
    figures that are compared before and after a correction, ``none`` is no time at all.
    """
    session, exposure = opened.session, opened.exposure
    shown: tuple[Moment, ...] = moments(
        session, exposure, lambda *_: None, words, blur_operator=False
    )
    content = report_content(session, exposure, shown, words)
    leads = leads_of(session, exposure)
    return {
        "first": first_sentences(exposure, words),
        "seen": content["seen_summary"],
        "moving": [asdict(each) for each in moving_figures(exposure, words)],
        "none": words.amount(0.0, exposure.unit),
        "together": together_sentences(session, words),
        "change": _changes(content["change"], words),
        "next": film_next(session, exposure, words),
        "moments": [
            {"title": moment.title, "values": moment.values, "frame": worst.frame}
            for moment, worst in zip(shown, exposure.worst_moments, strict=False)
        ],
        "tables": [
            _table(name, content[name], leads.get(name, ()))
            for name in TABLES
            if content[name] is not None and content[name].rows
        ],
    }


def _changes(changes: Changes, words: Words) -> dict[str, Any]:
    """Return the first change, and the others under their line to unfold them."""
    said = [f"{each.do} {each.why}" for each in changes.others]
    first = changes.first
    return {
        "first": words.say("change.none") if first is None else f"{first.do} {first.why}",
        "source": "" if first is None else first.source,
        "more": words.say("change.more", n=len(said)) if said else "",
        "others": said,
    }


def _table(name: str, table: Table, leads: Sequence[Lead]) -> dict[str, Any]:
    return {
        "name": name,
        "caption": table.caption,
        "columns": table.columns,
        "rows": table.rows,
        "leads": [asdict(lead) for lead in leads],
        "first_part": FIRST_PART.get(name),
    }
