"""Tables of what was recorded: sources, what was seen in them, cameras, changes of place."""

import math

import numpy as np

from ergo.arrays import IndexArray
from ergo.camera.camera import Camera
from ergo.exposure.exposure import (
    Exposure,
)
from ergo.posture.upright import WITHIN_SD
from ergo.report.text.cameras import filmed, view_shares
from ergo.report.text.key_findings import unjudged_shares
from ergo.report.text.reasons import in_words
from ergo.report.text.tables import Table, column_names
from ergo.report.text.words import Words
from ergo.session.session import Recording, Session


def seen_table(session: Session, words: Words) -> Table:
    """Return how much of every recording could be used."""
    rows = tuple(_seen_row(session, *each, words) for each in filmed(session))
    columns = column_names(words, "recording", "length", "pictures", "seen", "remarks")
    return Table(words.say("caption.seen"), columns, rows)


def _seen_row(
    session: Session, recording: Recording, source: int, camera: Camera, words: Words
) -> tuple[str, ...]:
    facts, frames = recording.sources[source], recording.timeline.frames_of(source)
    length = "" if facts.duration_s is None else words.duration(facts.duration_s)
    share = _share(_share_seen(recording, frames), words)
    remarks = _remarks(session, recording, source, camera, words)
    return (facts.name, length, str(frames.size), share, remarks)


def _share_seen(recording: Recording, frames: IndexArray) -> float:
    """Return the share of one source's time, jumps included, or of its pictures; NaN without."""
    found, timeline = recording.tracks["operator"].found[frames], recording.timeline
    held = np.where(timeline.is_still[frames], 1.0, timeline.held[frames])
    total = float(np.sum(held) + np.sum(timeline.gap_after[frames]))
    return float(np.sum(held[found])) / total if total > 0 else math.nan


def _remarks(
    session: Session, recording: Recording, source: int, camera: Camera, words: Words
) -> str:
    name, gap_s = recording.sources[source].name, recording.timeline.gap_of(source)
    remarks = []
    if name in recording.damage:
        reason = in_words(recording.damage[name], words)
        remarks += [reason, words.say("seen.cut")]
    if gap_s > 0:
        remarks.append(words.say("seen.gap", amount=words.duration(gap_s)))
    if name in recording.doubt:
        reason = in_words(recording.doubt[name], words)
        remarks.append(words.say("seen.doubt", reason=reason))
    if name in session.moments_left_out:
        reason = in_words(session.moments_left_out[name], words)
        remarks.append(words.say("seen.moment_left_out", reason=reason))
    origin = words.name("seen.level_origins", camera.level_origin)
    remarks.append(words.say("seen.level", origin=origin))
    return " ".join(remarks)


def _share(share: float, words: Words) -> str:
    return words.share(share) if math.isfinite(share) else words.say("number.unknown")


def together_table(session: Session, exposure: Exposure, words: Words) -> Table | None:
    """Return which view every limited angle came from; None with one camera."""
    if session.joined is None:
        return None
    rows = tuple(
        (words.name("angle", name), *(_share(each, words) for each in view_shares(session, name)))
        for name in unjudged_shares(exposure)
    )
    columns = (*column_names(words, "angle"), *session.joined.names, words.say("together.both"))
    return Table(words.say("together.caption"), columns, rows)


def moments_table(session: Session, words: Words) -> Table | None:
    """Return what the neutral moments changed, angle by angle; None where none was used."""
    rows = tuple(
        (
            f"{each.source}, {words.clock_time(each.time_s)}",
            words.name("angle", each.angle),
            _measured(each.before, each.sd_before, each.angle, words),
            _measured(each.after, each.sd_after, each.angle, words),
        )
        for each in session.moments
    )
    if not rows:
        return None
    columns = column_names(words, "moment", "angle", "before_moment", "after_moment")
    return Table(words.say("caption.moments"), columns, rows)


def _measured(value: float, sd: float, name: str, words: Words) -> str:
    """Return a value with half of its 90 % interval."""
    return words.say(
        "number.plus_minus",
        value=words.measure(value, name),
        spread=words.measure(WITHIN_SD * sd, name),
    )
