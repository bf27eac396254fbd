"""Where mouth and operator were, as measured: what a rule may not speak against."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from ergo.advice.rules import Claim, Rule
from ergo.arrays import BoolArray, FloatArray
from ergo.timeline import Timeline
from ergo.workplace.clock import hours_apart
from ergo.workplace.clock_track import ClockTrack
from ergo.workplace.place_track import PlaceTrack

CLOCK = "clock_hours"
SURE = 0.9
"""Chance from which a measurement alone tells what else is guessed from joint angles (ours)."""
SD_OF_90_PERCENT = 1.645


@dataclass(frozen=True, slots=True)
class Measurement:
    """What was measured while a rule was fulfilled.

    Attributes
    ----------
    name : str
        ``"mouth_above_elbow_m"``, ``"eye_to_mouth_m"`` [m] or ``"clock_hours"`` [h],
        1 <= hours < 13, as the operator really sat.
    value, low, high : float
        Median over the time and its 90 % interval. The error of a place is that of
        camera and set-up, the same in every frame: more frames do not shrink it.
    is_stated : bool
        The notes state it; nothing measured it.
    """

    name: str
    value: float
    low: float
    high: float
    is_stated: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """What was measured of the operator's place, per frame; NaN = not measured.

    Attributes
    ----------
    value, sd : mapping of str to array (frame,)
        By the names of :class:`Measurement`.
    hours : array (frame,)
        Clock position as of a right-handed operator; NaN also where the hand is
        not known. [h]
    is_clock_stated : bool
        The notes state the clock position; nothing measured it.
    """

    value: Mapping[str, FloatArray]
    sd: Mapping[str, FloatArray]
    hours: FloatArray
    is_clock_stated: bool


def measured_place(timeline: Timeline, clock: ClockTrack, place: PlaceTrack | None) -> Place:
    """Return what was measured of the operator's place."""
    measured = {} if place is None else place.measured
    measured_sd = {} if place is None else place.measured_sd
    return Place(
        {**measured, CLOCK: clock.hours},
        {**measured_sd, CLOCK: clock.sd_hours},
        _as_right_handed(timeline, clock),
        clock.origin == "notes",
    )


def _as_right_handed(timeline: Timeline, clock: ClockTrack) -> FloatArray:
    """Return the clock hours, those of left-handed operators mirrored, array (frame,). [h]."""
    mirrored = (12 - clock.hours - 1) % 12 + 1
    handed = clock.handed or (None,) * len(timeline.sources)
    is_left = np.array([each == "left" for each in handed], dtype=bool)
    is_known = np.array([each is not None for each in handed], dtype=bool)
    hours = np.where(is_left[timeline.source_index], mirrored, clock.hours)
    return np.where(is_known[timeline.source_index], hours, np.nan)


def claims_told(rule: Rule, place: Place, frames: int) -> tuple[BoolArray, BoolArray, BoolArray]:
    """Return what the measurements say to what a rule claims, three arrays (frame,).

    Returns
    -------
    is_contradicted : array (frame,)
        One claim is more likely wrong than right.
    is_sure : array (frame,)
        Every claim was measured, and holds with 90 %.
    is_known : array (frame,)
        Every claim was measured.
    """
    is_contradicted = np.zeros(frames, dtype=bool)
    is_sure = np.full(frames, bool(rule.claims))
    is_known = is_sure.copy()
    for claim in rule.claims:
        chance = _chance(claim, place, frames)
        is_contradicted |= chance < 0.5  # False where NaN
        is_sure &= chance >= SURE
        is_known &= np.isfinite(chance)
    return is_contradicted, is_sure, is_known


def _chance(claim: Claim, place: Place, frames: int) -> FloatArray:
    """Return how likely a claim is by what was measured, array (frame,); NaN = not measured."""
    unknown = np.full(frames, np.nan)
    if claim.measure == CLOCK:
        assert claim.outside is not None
        inside = chance_within(place.hours, place.sd[CLOCK], *claim.outside)
        return 1 - inside
    value, sd = place.value.get(claim.measure, unknown), place.sd.get(claim.measure, unknown)
    least_sd = np.maximum(sd, 1e-6)
    if np.isfinite(claim.below):
        below: FloatArray = ndtr((claim.below - value) / least_sd)
        return below
    above: FloatArray = ndtr((value - claim.above) / least_sd)
    return above


def chance_within(hours: FloatArray, sd: FloatArray, low: float, high: float) -> FloatArray:
    """Return how likely clock positions lie from one hour to a later one, array (frame,)."""
    half = ((high - low) % 12) / 2
    away = hours_apart(hours, low + half)
    least_sd = np.maximum(sd, 1e-6)
    chance: FloatArray = ndtr((half - away) / least_sd) - ndtr((-half - away) / least_sd)
    return chance


def measurements(rule: Rule, place: Place, frames: BoolArray) -> tuple[Measurement, ...]:
    """Return what was measured in some frames of what a rule is about, in the rule's order."""
    wanted = [claim.measure for claim in rule.claims]
    if rule.clock is not None:
        wanted.append(CLOCK)
    found = (_measurement(name, place, frames) for name in dict.fromkeys(wanted))
    return tuple(each for each in found if each is not None)


def _measurement(name: str, place: Place, frames: BoolArray) -> Measurement | None:
    if name not in place.value:
        return None
    value, sd = place.value[name][frames], place.sd[name][frames]
    is_known = np.isfinite(value)
    if not is_known.any():
        return None
    value, half = value[is_known], SD_OF_90_PERCENT * float(np.median(sd[is_known]))
    if name != CLOCK:
        middle = float(np.median(value))
        return Measurement(name, middle, middle - half, middle + half)
    middle = float(value[0] + np.median(hours_apart(value, float(value[0]))))
    low, high = _on_the_dial(middle - half), _on_the_dial(middle + half)
    return Measurement(name, _on_the_dial(middle), low, high, place.is_clock_stated)


def _on_the_dial(hours: float) -> float:
    return (hours - 1) % 12 + 1
