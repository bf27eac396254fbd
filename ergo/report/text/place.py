"""How the operator sat to the patient, in words and as a table."""

import numpy as np

from ergo.arrays import FloatArray
from ergo.exposure.exposure import Share
from ergo.exposure.groups import nearest_hours
from ergo.exposure.percentiles import weighted_quantiles
from ergo.report.text.rounding import parts_of_whole
from ergo.report.text.tables import Table
from ergo.report.text.words import Words
from ergo.session.session import Session
from ergo.timeline import Timeline
from ergo.workplace.handedness import handed_by
from ergo.workplace.place_track import MEASURES, PlaceTrack
from ergo.workplace.position_changes import Move, moves

SURE, LEAST_TOLD = 0.9, 0.05
"""Probability from which knees are told, and the share of time from which it is worth a word
(ours)."""


def place_table(session: Session, words: Words) -> Table | None:
    """Return turns and distances to the patient; None where none was measured."""
    place = session.place
    if place is None:
        return None
    rows, weight = [], counted_weight(session.recording.timeline)
    for name in MEASURES:
        value, sd = place.measured[name], place.measured_sd[name]
        seen = np.isfinite(value) & (weight > 0)
        if seen.any():
            shares = np.array([0.5, 0.1, 0.9])
            middles = weighted_quantiles(value[seen], weight[seen], shares).tolist()
            usual_sd = weighted_quantiles(sd[seen], weight[seen], shares[:1]).tolist()
            numbers = (*middles, *usual_sd)
            rows.append(
                (words.say(f"plan.{name}"), *(_shown(name, each, words) for each in numbers))
            )
    columns = tuple(words.say(f"plan.column_{key}") for key in ("what", "middle", "low", "high"))
    caption = words.say("plan.table")
    if not rows:
        return None
    return Table(caption, (*columns, words.say("plan.column_sd")), tuple(rows))


def counted_weight(timeline: Timeline) -> FloatArray:
    """Return what each frame counts for wherever places are told, array (frame,).

    The same as for angles: time, stills beside a clip nothing; a picture each where there is
    no time at all.
    """
    return timeline.held if timeline.held.any() else np.ones(len(timeline))


def _shown(name: str, value: float, words: Words) -> str:
    if name.endswith("_deg"):
        return words.say("number.degrees", n=words.number(value))
    return words.say("plan.centimetres", n=words.number(100 * value))


def moves_sentences(session: Session, words: Words) -> list[str]:
    """Return what the places tell in sentences: moves with their times, knees, sides, level."""
    timeline, place = session.recording.timeline, session.place
    if place is None:
        return []
    sentences = [
        words.say("plan.moved", source=name)
        for name, is_moved in zip(timeline.sources, place.is_moved, strict=True)
        if is_moved
    ]
    for source, name in enumerate(timeline.sources):
        frames = timeline.frames_of(source)
        if timeline.is_still[frames].all() or not np.isfinite(place.hours[frames]).any():
            continue
        found = [
            (hours, each.time_s)
            for each in moves(timeline.time_s[frames], place.hours[frames])
            if len(set(hours := _hours(each))) > 1
        ]
        listed = ", ".join(
            words.say("plan.move", start=start, end=end, time=words.clock_time(time_s))
            for (start, end), time_s in found
        )
        key = "plan.moves" if found else "plan.no_moves"
        sentences.append(words.say(key, source=name, moves=listed))
    knees = _knees_sentence(place, counted_weight(timeline), words)
    return [*sentences, *knees, *_sides_sentences(session, place, words), *_level(place, words)]


def _knees_sentence(place: PlaceTrack, weight: FloatArray, words: Words) -> list[str]:
    """Return how long the knees were under the backrest or beside it; none where not told."""
    parts = (place.knees_under >= SURE, place.knees_under <= 1 - SURE)
    under, beside = (float(weight[part].sum() / weight.sum()) for part in parts)
    if under + beside < LEAST_TOLD:
        return []
    shares = [Share(1.0, each, each, each) for each in (under, beside, 1 - under - beside)]
    parts_told = parts_of_whole(shares, 1.0, "picture")
    told = {
        key: parts_told.share([at], words) for at, key in enumerate(("under", "beside", "rest"))
    }
    return [words.say("plan.knees", **told)]


def _sides_sentences(session: Session, place: PlaceTrack, words: Words) -> list[str]:
    """Return handedness as the places tell it, where the notes do not say or say otherwise."""
    timeline, sentences = session.recording.timeline, []
    for name, note, belief in zip(
        timeline.sources, session.notes, place.right_handed, strict=False
    ):
        told = handed_by(belief)
        if told is None or told == note.handed:
            continue
        key = "plan.handed" if note.handed is None else "plan.handed_otherwise"
        handed = words.name("plan.hands", told)
        share = words.share(max(belief, 1 - belief))
        sentences.append(words.say(key, source=name, handed=handed, share=share))
    return sentences


def _level(place: PlaceTrack, words: Words) -> list[str]:
    is_used = [
        level == "people" and origin != "not judged"
        for level, origin in zip(place.level_origins, place.origins, strict=False)
    ]
    return [words.say("plan.level_people")] if any(is_used) else []


def _hours(move: Move) -> tuple[int, int]:
    """Return from which full hour to which a move led, by the hours of tables and figures."""
    start, end = nearest_hours(np.array([move.from_hours, move.to_hours])).astype(int).tolist()
    return start, end
