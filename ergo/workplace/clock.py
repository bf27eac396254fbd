"""Clock positions round the patient's head: bearings, zones, and what the notes state."""

from collections.abc import Sequence
from typing import cast

import numpy as np

from ergo.arrays import FloatArray
from ergo.notes.notes import Notes
from ergo.published_tables import rows
from ergo.timeline import Timeline
from ergo.workplace.clock_track import ClockOrigin, ClockTrack, Handed, Zone

HANDS: tuple[Handed, Handed] = ("right", "left")

NOTED_SD_HOURS = 0.3
"""Spread of a clock position that a person states, usually to the half hour (ours)."""

_DEG_PER_HOUR = 30.0


def bearing_deg(hours: FloatArray) -> FloatArray:
    """Return the bearing of a clock position.

    Parameters
    ----------
    hours : array (...,)
        1 <= hours < 13; 12.5 is half past twelve [h].

    Returns
    -------
    array (...,)
        0 = behind the top of the patient's head, clockwise seen from above,
        0 <= bearing < 360; NaN where ``hours`` is NaN [deg].
    """
    return _DEG_PER_HOUR * (hours - 12.0 * np.floor(hours / 12.0))


def hours_from_bearing(bearing: FloatArray) -> FloatArray:
    """Return the clock position, array (...,), 1 <= hours < 13, of a bearing in degrees [h]."""
    hours = bearing / _DEG_PER_HOUR
    hours = hours - 12.0 * np.floor(hours / 12.0)
    hours = np.where(hours >= 12.0, 0.0, hours)  # a tiny negative bearing rounds up to 12
    return np.where(hours < 1.0, hours + 12.0, hours)


def zone_of(hours: float, handed: Handed | None) -> Zone:
    """Return the zone of activity at a clock position.

    ``"not judged"`` where the position (NaN) or the handedness (None) is not
    known. An hour on a border belongs to the zone named first in
    ``tables/clock_zones.csv``.
    """
    if handed is None or not np.isfinite(hours):
        return "not judged"
    for row in rows("workplace", "clock_zones"):
        if row["handed"] == handed and row["zone"] != "seat" and _holds(row, hours):
            return cast(Zone, row["zone"])
    return "not judged"


def zone_middle(zone: str, handed: Handed) -> float:
    """Return the middle of a zone as printed, 1 <= hours < 13 [h]."""
    zones = rows("workplace", "clock_zones")
    row = next(row for row in zones if (row["handed"], row["zone"]) == (handed, zone))
    start, end = float(row["from_hour"]), float(row["to_hour"])
    return float(np.mod(start + np.mod(end - start, 12.0) / 2 - 1.0, 12.0) + 1.0)


def hours_apart(hours: FloatArray, others: FloatArray | float) -> FloatArray:
    """Return how far clock positions are from others, -6 <= apart < 6 [h]."""
    return np.mod(hours - others + 6.0, 12.0) - 6.0


def is_operator_seat(hours: float, handed: Handed | None) -> bool:
    """Return whether operators of this handedness are taught to sit there."""
    return any(
        row["handed"] == handed and row["zone"] == "seat" and _holds(row, hours)
        for row in rows("workplace", "clock_zones")
    )


def clock_from_notes(timeline: Timeline, notes: Sequence[Notes]) -> ClockTrack:
    """Return the operator's clock position of every frame as the notes state it.

    Parameters
    ----------
    timeline : Timeline
    notes : sequence of Notes
        One per source. Where spans overlap, the later one in the notes holds.
    """
    hours = np.full(len(timeline), np.nan)
    for source, note in enumerate(notes):
        frames = timeline.frames_of(source)
        time_s = timeline.time_s[frames]
        for span in note.clock:
            until = np.inf if span.to_s is None else span.to_s
            hours[frames[(time_s >= span.from_s) & (time_s <= until)]] = span.hours
    sd = np.where(np.isfinite(hours), NOTED_SD_HOURS, np.nan)
    origin: ClockOrigin = "notes" if np.isfinite(hours).any() else "not judged"
    handed = tuple(note.handed for note in notes)
    return ClockTrack(hours, sd, zones_of(timeline, hours, handed), origin, handed)


def zones_of(
    timeline: Timeline, hours: FloatArray, handed: Sequence[Handed | None]
) -> tuple[Zone, ...]:
    """Return the zone of every frame, for the operator's handedness in each source."""
    zones = np.empty(len(timeline), dtype=object)
    for source, hand in enumerate(handed):
        frames = timeline.frames_of(source)
        different, which = np.unique(hours[frames], return_inverse=True)
        zones[frames] = np.array([zone_of(hour, hand) for hour in different.tolist()], object)[
            which
        ]
    return tuple(zones.tolist())


def _holds(row: dict[str, str], hours: float) -> bool:
    start, end = float(row["from_hour"]), float(row["to_hour"])
    return bool(np.mod(hours - start, 12.0) <= np.mod(end - start, 12.0))
