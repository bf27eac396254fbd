"""How the operator sat to the patient, in words and as a table."""

import numpy as np

from ergo.posture.moves import moves
from ergo.posture.place_track import MEASURES
from ergo.session import Session
from ergo.views.tables import Table
from ergo.views.words import Words


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
    """Return one sentence per clip with measured places: the moves and their times."""
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
    return sentences


def _hour(hours: float, words: Words) -> str:
    rounded = round(2 * hours) / 2
    rounded = rounded - 12 if rounded >= 13 else rounded
    return words.number(rounded, 0 if rounded.is_integer() else 1)
