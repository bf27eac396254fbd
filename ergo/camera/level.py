"""The camera of a still or clip, from its notes, its EXIF data or a plain assumption."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ergo.camera.camera import Camera, Level
from ergo.errors import NotesError
from ergo.frames.frame import SourceFacts
from ergo.notes.notes import CameraNotes, Notes

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

KNOWN_SD_DEG = 4.0
"""A level less sure than this is not used for angles: what was learned for cameras of unknown
level, which takes gravity from seated people, is surer (ours; on rendered stills trunk flexion is
then off by 2.8 degrees). [deg]"""

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
    sds = [np.inf if angle is None else STATED_SD_DEG for angle in angles]
    level = Level(stated.pitch_deg or 0.0, stated.roll_deg or 0.0, sds[0], sds[1], "notes")
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
        levels=() if missing == len(angles) else (level,),
    )


def fused(camera: Camera, *told: Level, least_sure_deg: float = KNOWN_SD_DEG) -> Camera:
    """Return a camera with all that is told of its level, each source by its spreads.

    Sources that contradict each other make the level less sure, by how far they miss each
    other (the ratio of Birge RT (1932) Phys Rev 40:207-227).

    Parameters
    ----------
    camera : Camera
        ``levels`` are what is known of it already; one whose level comes from a set-up is
        returned as it is.
    told : Level
        What else is told.
    least_sure_deg : float
        What is less sure than this is not used yet. [deg]

    Returns
    -------
    Camera
        ``level_origin`` is the notes where they tell anything, else the surest source.
        An assumed level stays so where all together is less sure than that; ``levels``
        then wait for what else may be told.
    """
    if camera.level_origin == "set-up" or not told:
        return camera
    levels = (*_own(camera), *told)
    pitch, pitch_sd = _fused([(each.pitch_deg, each.pitch_sd_deg) for each in levels])
    roll, roll_sd = _fused([(each.roll_deg, each.roll_sd_deg) for each in levels])
    sd = float(np.hypot(pitch_sd, roll_sd) / np.sqrt(2))
    if camera.level_origin == "assumed" and not sd <= least_sure_deg:
        return replace(camera, levels=levels)
    named = min(levels, key=lambda e: (e.origin != "notes", e.pitch_sd_deg**2 + e.roll_sd_deg**2))
    return replace(
        camera,
        pitch_deg=pitch,
        roll_deg=roll,
        level_sd_deg=sd,
        level_origin=named.origin,
        levels=levels,
    )


def _own(camera: Camera) -> tuple[Level, ...]:
    """Return what is known of a camera's level; nothing of an assumed one."""
    if camera.levels or camera.level_origin == "assumed":
        return camera.levels
    sd = camera.level_sd_deg
    return (Level(camera.pitch_deg, camera.roll_deg, sd, sd, camera.level_origin),)


def _fused(told: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Return the mean of values by their standard deviations, and its own; 0 ± inf of none."""
    known = np.array([each for each in told if np.isfinite(each[1])]).reshape(-1, 2)
    if not len(known):
        return 0.0, float("inf")
    weight = known[:, 1] ** -2.0
    mean = float(np.average(known[:, 0], weights=weight))
    missed = float((weight * (known[:, 0] - mean) ** 2).sum()) / max(len(known) - 1, 1)
    return mean, float(np.sqrt(max(missed, 1.0) / weight.sum()))


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
