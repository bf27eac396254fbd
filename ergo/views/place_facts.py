"""How the operator sat to the patient, in words and as a table."""

import numpy as np

from ergo.arrays import FloatArray
from ergo.posture.handedness import handed_by
from ergo.posture.moves import moves
from ergo.posture.place_track import MEASURES, PlaceTrack
from ergo.session import Session
from ergo.views.tables import Table
from ergo.views.words import Words

SURE, LEAST_TOLD = 0.9, 0.05
"""Probability from which knees are told, and the share of time from which it is worth a word
(ours)."""


def place_table(session: Session, words: Words) -> Table | None:
    """Return turns and distances to the patient; None where none was measured."""
    place = session.place
    if place is None:
        return None
    rows = []
    for name in MEASURES:
        value, sd = place.measured[name], place.measured_sd[name]
        if np.isfinite(value).any():
            low, middle, high = np.nanpercentile(value, (10, 50, 90))
            numbers = (middle, low, high, float(np.nanmedian(sd)))
            rows.append(
                (words.say(f"plan.{name}"), *(_shown(name, each, words) for each in numbers))
            )
    columns = tuple(words.say(f"plan.column_{key}") for key in ("what", "middle", "low", "high"))
    caption = words.say("plan.table")
    if not rows:
        return None
    return Table(caption, (*columns, words.say("plan.column_sd")), tuple(rows))


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
        found = moves(timeline.time_s[frames], place.hours[frames])
        listed = ", ".join(
            words.say(
                "plan.move",
                start=_hour(each.from_hours, words),
                end=_hour(each.to_hours, words),
                time=words.clock_time(each.time_s),
            )
            for each in found
        )
        key = "plan.moves" if found else "plan.no_moves"
        sentences.append(words.say(key, source=name, moves=listed))
    knees = _knees_sentence(place, timeline.held, words)
    return [*sentences, *knees, *_sides_sentences(session, place, words), *_level(place, words)]


def _knees_sentence(place: PlaceTrack, held: FloatArray, words: Words) -> list[str]:
    """Return how long the knees were under the backrest or beside it; none where not told."""
    weight = held if held.any() else np.ones(len(held))
    parts = (place.knees_under >= SURE, place.knees_under <= 1 - SURE)
    under, beside = (float(weight[part].sum() / weight.sum()) for part in parts)
    if under + beside < LEAST_TOLD:
        return []
    shares = {"under": under, "beside": beside, "rest": 1 - under - beside}
    return [words.say("plan.knees", **{key: words.share(each) for key, each in shares.items()})]


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


def _hour(hours: float, words: Words) -> str:
    rounded = round(2 * hours) / 2
    rounded = rounded - 12 if rounded >= 13 else rounded
    return words.number(rounded, 0 if rounded.is_integer() else 1)
