"""What an assistant tells of the room: who works four-handed sits round the patient by convention.

An assistant sits at 2 to 4 o'clock beside a right-handed operator, who sits at 7 to 12, and
mirrored beside a left-handed one (``tables/clock_zones.csv``). Where the patient is seen,
rooms in which the two sit otherwise count less; where not, the convention and the operator's
hands at the mouth have to tell how the patient lies.
"""

from dataclasses import dataclass

import numpy as np

from ergo.arrays import BoolArray, FloatArray, IndexArray
from ergo.workplace.clock import HANDS, bearing_deg, hours_apart, zone_middle
from ergo.workplace.clock_track import Handed
from ergo.workplace.measured_clock import (
    FACING_ELSEWHERE,
    FACING_SD_DEG,
    HANDS_SD_M,
    HANDS_TO_MOUTH_M,
    MOUTH_ABOVE_HEAD_M,
    OUT_OF_REACH,
    clock_hours,
    on_patients_plan,
    turn_deg,
)
from ergo.workplace.sampled_rooms import Cameras, Rooms, SeatErrors, seat_errors
from ergo.workplace.seat import SeenPerson, seat_of

SHARES = {"right": 0.9, "left": 0.1}
"""Handedness of people of whom nothing else is known (common knowledge, no source)."""
SEAT_SD_HOURS, ASSISTANT_SD_HOURS = 1.5, 0.6
"""Spread of operators and assistants round the middle of their zones: that of an even spread over
the printed hours. [h]"""
UNUSUAL = 0.1
"""How much of the belief is left for pairs that sit in any other way (ours)."""
ASSISTANT_REACH_M, ASSISTANT_REACH_SD_M = 0.65, 0.12
"""Hips of a seated assistant from the patient's head (0.58-0.73 m in our training scenes; ours)."""
MOST_FRAMES = 20
TRIED = 4
"""So many times more rooms are tried than kept."""


@dataclass(frozen=True, slots=True, eq=False)
class Pair:
    """An operator and an assistant who are seen at the same time.

    Attributes
    ----------
    operator, assistant : SeenPerson
    frames : array (frame,)
        In which both are seen.
    handed : str or None
        The operator's handedness, where it is stated.
    """

    operator: SeenPerson
    assistant: SeenPerson
    frames: IndexArray
    handed: Handed | None

    def share(self, handed: Handed) -> float:
        """Return the belief in a handedness before anything is seen."""
        return SHARES[handed] if self.handed is None else float(handed == self.handed)


def usual(hours: FloatArray, zone: str, handed: Handed) -> FloatArray:
    """Return how usual places are for a role, of an operator of this handedness, 0..1."""
    sd = ASSISTANT_SD_HOURS if zone == "assistant" else SEAT_SD_HOURS
    likely: FloatArray = np.exp(-0.5 * (hours_apart(hours, zone_middle(zone, handed)) / sd) ** 2)
    return likely


def some_frames(is_seen: BoolArray) -> IndexArray:
    """Return at most :data:`MOST_FRAMES` of the frames that are True, evenly spread."""
    frames = np.flatnonzero(is_seen)
    return frames[:: max(1, -(-len(frames) // MOST_FRAMES))]


def pair_of(
    operator: SeenPerson, assistant: SeenPerson | None, handed: Handed | None
) -> Pair | None:
    """Return operator and assistant; None where they are never seen at the same time."""
    if assistant is None:
        return None
    is_seen = np.isfinite(operator.hands_m).all(axis=-1) & np.isfinite(assistant.depth_m)
    frames = some_frames(is_seen)
    return Pair(operator, assistant, frames, handed) if len(frames) else None


def with_assistant(rooms: Rooms, pair: Pair, numbers: np.random.Generator) -> Rooms:
    """Return the rooms drawn anew, those in which both sit as usual more often."""
    seats = _Seats(rooms, pair, seat_errors(len(rooms.feet), 3))
    likely = sum((pair.share(each) * seats.usual(each) for each in HANDS), UNUSUAL / 12)
    return rooms.some(_chosen(likely * seats.likely, len(rooms.feet), numbers))


def rooms_by_assistant(cameras: Cameras, pair: Pair, numbers: np.random.Generator) -> Rooms:
    """Return rooms as the convention and the operator's hands tell them.

    Parameters
    ----------
    cameras : Cameras
        Their height is known.
    pair : Pair
    numbers : Generator
    """
    tried = cameras.some(np.tile(np.arange(len(cameras.focal_px)), TRIED))
    draws = len(tried.focal_px)
    own = seat_of(pair.operator, tried, seat_errors(draws), pair.frames)
    hands = np.median(own.hips_m + pair.operator.hands_m[pair.frames] * own.size, axis=1)
    head = hands - HANDS_TO_MOUTH_M + HANDS_SD_M * numbers.standard_normal((draws, 3))
    head[:, 2] -= MOUTH_ABOVE_HEAD_M
    unturned = Rooms(tried, head, np.tile([0.0, -1.0], (draws, 1)), seat_errors(draws))
    seats = _Seats(unturned, pair, seat_errors(draws, 3))
    is_right = numbers.random(draws) < pair.share("right")
    middle = np.where(is_right, zone_middle("assistant", "right"), zone_middle("assistant", "left"))
    hours = middle + ASSISTANT_SD_HOURS * numbers.standard_normal(draws)
    turned = np.radians(bearing_deg(seats.assistant_hours) - bearing_deg(hours))
    rooms = Rooms(
        tried, head, -np.stack([np.sin(turned), np.cos(turned)], axis=-1), unturned.errors
    )
    seats = _Seats(rooms, pair, seat_errors(draws, 3))
    likely = np.where(is_right, *(usual(seats.operator_hours, "operator", each) for each in HANDS))
    return rooms.some(_chosen(likely * seats.likely, len(cameras.focal_px), numbers))


def _chosen(likely: FloatArray, count: int, numbers: np.random.Generator) -> IndexArray:
    """Return draws chosen as often as they are likely, array (count,)."""
    if not likely.sum() > 0:
        likely = np.ones(len(likely))
    chosen: IndexArray = numbers.choice(len(likely), count, p=likely / likely.sum())
    return chosen


class _Seats:
    """Where the two sit in every drawn room, on the whole.

    Attributes
    ----------
    operator_hours, assistant_hours : array (draw,)
        [h]
    likely : array (draw,)
        How well the assistant's distance and facing fit in with the patient's head.
    """

    def __init__(self, rooms: Rooms, pair: Pair, errors: SeatErrors) -> None:
        own, other = (
            np.median(
                on_patients_plan(
                    seat_of(person, rooms.cameras, each, pair.frames).hips_m[..., :2], rooms
                ),
                axis=1,
            )
            for person, each in ((pair.operator, rooms.errors), (pair.assistant, errors))
        )
        self.operator_hours, self.assistant_hours = clock_hours(own), clock_hours(other)
        off = (np.hypot(*other.T) - ASSISTANT_REACH_M) / ASSISTANT_REACH_SD_M
        forward = np.median(pair.assistant.trunk_forward[pair.frames], axis=0)
        ahead = on_patients_plan(forward + rooms.head_m[:, None, :2], rooms)[:, 0]
        facing = turn_deg(-other, ahead) / FACING_SD_DEG
        self.likely = (np.exp(-0.5 * off**2) + OUT_OF_REACH) * (
            np.exp(-0.5 * facing**2) + FACING_ELSEWHERE
        )

    def usual(self, handed: Handed) -> FloatArray:
        """Return how usual the pair sits round an operator of this handedness, array (draw,)."""
        return usual(self.operator_hours, "operator", handed) * usual(
            self.assistant_hours, "assistant", handed
        )
