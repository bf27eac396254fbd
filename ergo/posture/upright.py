"""Whether a stated neutral moment is one, and what it changed."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ergo.arrays import IndexArray
from ergo.errors import NotesError
from ergo.notes.notes import NeutralMoment, Notes
from ergo.posture.angle_names import ANGLES, COLUMN
from ergo.posture.neutral import neutral_frames
from ergo.posture.posture_track import PostureTrack
from ergo.timeline import Timeline

UPRIGHT = {
    "trunk_flexion_deg": 15.0,
    "trunk_side_bend_deg": 15.0,
    "trunk_twist_deg": 20.0,
    "head_inclination_deg": 15.0,
    "neck_side_bend_deg": 15.0,
    "neck_rotation_deg": 25.0,
    "upper_arm_elevation_deg_left": 25.0,
    "upper_arm_elevation_deg_right": 25.0,
}
"""How far off neutral trunk, head and arms may be in a neutral moment: people's own neutral
postures differ, hands may lie on the thighs (ours). [deg]"""

WITHIN_SD = 1.645
"""Half of a 90 % interval; an angle whose interval lies beyond its limit is surely so. [sd]"""


@dataclass(frozen=True, slots=True)
class MomentEffect:
    """What a neutral moment changed in one angle of one source.

    Attributes
    ----------
    source : str
    time_s : float
        The moment. [s]
    angle : str
    before, after : float
        Median of the angle over the source, against an average body and against this person.
        Unit of the angle.
    sd_before, sd_after : float
        Medians of its standard deviation.
    """

    source: str
    time_s: float
    angle: str
    before: float
    after: float
    sd_before: float
    sd_after: float


def refusal(
    timeline: Timeline, source: int, moment: NeutralMoment, posture: PostureTrack
) -> NotesError | None:
    """Return why a moment cannot be neutral: which parts are off by how much; None if it may be.

    Parameters
    ----------
    timeline : Timeline
    source : int
        Whose notes state the moment.
    moment : NeutralMoment
    posture : PostureTrack
        Measured against an average body.
    """
    parts = _parts_off(posture, neutral_frames(timeline, source, moment))
    if not parts:
        return None
    return NotesError(
        f"{_what(moment)} {' '.join(parts)}",
        where=f"{timeline.sources[source]}:",
        remedy="State a moment in which you sit upright, look ahead and let the arms hang.",
    )


def _what(moment: NeutralMoment) -> str:
    return f"neutral.time_s is {moment.time_s:g} s, where the posture is not neutral."


def _parts_off(posture: PostureTrack, frames: IndexArray) -> list[str]:
    """Return one sentence for each part of the body that is surely not neutral."""
    sentences = []
    for name, limit in UPRIGHT.items():
        value, sd = posture.value[frames, COLUMN[name]], posture.sd[frames, COLUMN[name]]
        is_seen = np.isfinite(value)
        if not is_seen.any():
            continue
        angle, spread = float(np.median(value[is_seen])), float(np.median(sd[is_seen]))
        if abs(angle) - WITHIN_SD * spread > limit:
            sentences.append(_said(name, angle, WITHIN_SD * spread))
    return sentences


def _said(name: str, angle: float, half: float) -> str:
    """Return one part that is off, by how much, and its 90 % interval."""
    low, high = f"{abs(angle) - half:.0f}°", f"{min(abs(angle) + half, 180.0):.0f}°"
    off = f"{abs(angle):.0f}°"
    way = "ahead" if angle > 0 else "back"
    said = {
        "trunk_flexion_deg": {
            "ahead": f"The trunk is bent forward by {off} ({low} to {high}).",
            "back": f"The trunk is bent backward by {off} ({low} to {high}).",
        }[way],
        "trunk_side_bend_deg": f"The trunk is bent sideways by {off} ({low} to {high}).",
        "trunk_twist_deg": f"The trunk is twisted by {off} ({low} to {high}).",
        "head_inclination_deg": {
            "ahead": f"The head is bent forward by {off} ({low} to {high}).",
            "back": f"The head is bent backward by {off} ({low} to {high}).",
        }[way],
        "neck_side_bend_deg": f"The head is bent sideways by {off} ({low} to {high}).",
        "neck_rotation_deg": f"The head is turned by {off} ({low} to {high}).",
        "upper_arm_elevation_deg_left": f"The left upper arm is raised by {off} ({low} to {high}).",
        "upper_arm_elevation_deg_right": (
            f"The right upper arm is raised by {off} ({low} to {high})."
        ),
    }
    return said[name]


def effects(
    timeline: Timeline, notes: Sequence[Notes], before: PostureTrack, after: PostureTrack
) -> tuple[MomentEffect, ...]:
    """Return what the neutral moments of some notes changed, source by source.

    Parameters
    ----------
    timeline : Timeline
    notes : sequence of Notes
        One per source.
    before, after : PostureTrack
        Without and with the moments.
    """
    found = []
    for source, note in enumerate(notes):
        if note.neutral is None:
            continue
        frames = timeline.frames_of(source)
        for at, angle in enumerate(ANGLES):
            told = np.isfinite(before.value[frames, at]) & np.isfinite(after.value[frames, at])
            if angle.is_relative and told.any():
                some = frames[told]
                medians = (
                    float(np.median(each[some, at]))
                    for each in (before.value, after.value, before.sd, after.sd)
                )
                name = timeline.sources[source]
                found.append(MomentEffect(name, note.neutral.time_s, angle.name, *medians))
    return tuple(found)
