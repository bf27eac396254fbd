"""Right- or left-handed, as the places of operator and assistant tell it.

A right-handed operator sits at 7 to 12 o'clock and the assistant at 2 to 4, left-handed
ones mirrored (``tables/clock_zones.csv``). Which hand is nearer to the mouth tells
nothing: both work there.
"""

import numpy as np

from ergo.arrays import BoolArray, FloatArray, IndexArray
from ergo.posture.clock import HANDS, hours_apart, zone_middle
from ergo.posture.clock_track import Handed
from ergo.posture.measured_clock import clock_hours, on_patients_plan
from ergo.posture.rooms import Rooms, SeatErrors, seat_errors
from ergo.posture.seat import SeenPerson, seat_of

SHARES = {"right": 0.9, "left": 0.1}
"""Handedness of people of whom nothing else is known (common knowledge, no source)."""
SEAT_SD_HOURS, ASSISTANT_SD_HOURS = 1.5, 0.6
"""Spread of operators and assistants round the middle of their zones: that of an even spread over
the printed hours. [h]"""
UNUSUAL = 0.02
"""How much of the belief is left for operators and assistants who sit anywhere (ours)."""
TOLD_FROM = 0.95
"""Belief from which handedness is told (ours)."""
RIGHT_PERSON_ODDS = 1.8
"""So many times the odds of the stated belief in the operator are those of being right: of 815
training stills, each judged by a fit without it."""
MOST_FRAMES = 20


def seat_hours(
    person: SeenPerson, rooms: Rooms, errors: SeatErrors, frames: IndexArray
) -> FloatArray:
    """Return where a person sits on the whole of some frames, array (draw,). [h]."""
    hips_m = seat_of(person, rooms.cameras, errors, frames).hips_m[..., :2]
    return clock_hours(np.median(on_patients_plan(hips_m, rooms), axis=1))


def usual(hours: FloatArray, zone: str, handed: Handed) -> FloatArray:
    """Return how usual places are for a role, of an operator of this handedness, 0..1."""
    sd = ASSISTANT_SD_HOURS if zone == "assistant" else SEAT_SD_HOURS
    likely: FloatArray = np.exp(-0.5 * (hours_apart(hours, zone_middle(zone, handed)) / sd) ** 2)
    return likely


def some_frames(is_seen: BoolArray) -> IndexArray:
    """Return at most :data:`MOST_FRAMES` of the frames that are True, evenly spread."""
    frames = np.flatnonzero(is_seen)
    return frames[:: max(1, -(-len(frames) // MOST_FRAMES))]


def belief_in_right(
    rooms: Rooms, operator: SeenPerson, assistant: SeenPerson | None, identity: float
) -> float:
    """Return the belief, 0..1, that the operator is right-handed; NaN where nobody is seen.

    Who was taken for the operator may be the assistant, who sits where an operator of
    the other hand would.

    Parameters
    ----------
    rooms : Rooms
    operator : SeenPerson
    assistant : SeenPerson or None
    identity : float
        Stated belief that it is the operator, 0..1.
    """
    believed = {each: np.full(len(rooms.feet), SHARES[each]) for each in HANDS}
    for zone, person, errors in (
        ("operator", operator, rooms.errors),
        ("assistant", assistant, seat_errors(len(rooms.feet), 3)),
    ):
        frames = _frames_of(person)
        if person is None or not len(frames):
            continue
        hours = seat_hours(person, rooms, errors, frames)
        for each in HANDS:
            believed[each] *= usual(hours, zone, each) + UNUSUAL
    if not len(_frames_of(operator)):
        return float("nan")
    by_places = float(np.mean(believed["right"] / (believed["right"] + believed["left"])))
    right_person = right_person_belief(identity)
    return right_person * by_places + (1 - right_person) * (1 - by_places)


def right_person_belief(identity: float) -> float:
    """Return how surely the operator is who was taken for one, 0..1, from the stated belief."""
    return RIGHT_PERSON_ODDS * identity / (RIGHT_PERSON_ODDS * identity + 1 - identity)


def _frames_of(person: SeenPerson | None) -> IndexArray:
    if person is None:
        return np.zeros(0, dtype=np.int64)
    return some_frames(np.isfinite(person.depth_m))


def handed_by(belief: float) -> Handed | None:
    """Return the handedness that a belief in right-handed tells; None where it is not known."""
    if belief >= TOLD_FROM:
        return "right"
    return "left" if belief <= 1 - TOLD_FROM else None
