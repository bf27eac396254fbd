"""The camera of a still or clip, from its notes, its EXIF data or a plain assumption."""

import numpy as np

from ergo.errors import NotesError
from ergo.frames.frame import SourceFacts
from ergo.notes.notes import CameraNotes, Notes
from ergo.room.camera import Camera

ASSUMED_FOV_DEG = 65.0
"""Field of view along the longer side where nothing states it: a phone's main lens.

Common practice, no source; evidence: the focal length hardly matters for angles.
"""

STATED_SD_DEG = 1.0
"""Pitch and roll as stated in the notes (ours). [deg]"""

HALF_STATED_SD_DEG = 3.0
"""Only one of pitch and roll is stated, the other is taken as 0 (ours). [deg]"""

ASSUMED_SD_DEG = 6.0
"""Nothing is stated, the camera is taken as level (ours). [deg]"""

_SAME_SHAPE = 0.01


def camera_for(facts: SourceFacts, notes: Notes) -> Camera:
    """Return the camera that took one still or clip.

    The focal length comes from the notes, else from EXIF, else from a phone's
    usual field of view; pitch and roll come from the notes, else the camera is
    taken as level, with a larger standard deviation. Lengths in px that were
    stated for another picture size are scaled to this picture.

    Raises
    ------
    NotesError
        Where the notes state a width and height of another shape.
    """
    stated = notes.camera or CameraNotes()
    scale = picture_scale(facts, stated)
    focal_px, is_known = _focal_px(facts, stated, scale)
    angles = (stated.pitch_deg, stated.roll_deg)
    missing = angles.count(None)
    return Camera(
        width_px=facts.width_px,
        height_px=facts.height_px,
        focal_px=focal_px,
        centre_px=_centre_px(facts, stated, scale),
        pitch_deg=stated.pitch_deg or 0.0,
        roll_deg=stated.roll_deg or 0.0,
        height_m=stated.height_m,
        level_sd_deg=(STATED_SD_DEG, HALF_STATED_SD_DEG, ASSUMED_SD_DEG)[missing],
        level_origin="assumed" if missing == len(angles) else "notes",
        focal_is_known=is_known,
    )


def picture_scale(facts: SourceFacts, stated: CameraNotes) -> float:
    """Return picture size over stated size; 1 where no size is stated."""
    factors = [
        actual / said
        for actual, said in ((facts.width_px, stated.width), (facts.height_px, stated.height))
        if said is not None
    ]
    if not factors:
        return 1.0
    if max(factors) - min(factors) > _SAME_SHAPE * max(factors):
        raise NotesError(
            f"camera.width x camera.height is {stated.width} x {stated.height}, but the upright "
            f"picture is {facts.width_px} x {facts.height_px}.",
            where=f"{facts.name}:",
            remedy="State the size of the upright picture, or the same shape at another size.",
        )
    return sum(factors) / len(factors)


def _focal_px(facts: SourceFacts, stated: CameraNotes, scale: float) -> tuple[float, bool]:
    """Return the focal length and whether it is known. [px]."""
    if stated.focal_px is not None:
        return stated.focal_px * scale, True
    if stated.horizontal_fov_deg is not None:
        return _focal_from_view(facts.width_px, stated.horizontal_fov_deg), True
    if facts.focal_px is not None:
        return facts.focal_px, True
    return _focal_from_view(max(facts.width_px, facts.height_px), ASSUMED_FOV_DEG), False


def _focal_from_view(side_px: float, view_deg: float) -> float:
    return float(side_px / 2 / np.tan(np.radians(view_deg) / 2))


def _centre_px(facts: SourceFacts, stated: CameraNotes, scale: float) -> tuple[float, float]:
    if stated.principal_px is None:
        return facts.width_px / 2, facts.height_px / 2
    x, y = stated.principal_px
    return x * scale, y * scale
