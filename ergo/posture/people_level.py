"""The camera's tilt from people who sit, where nothing better tells it.

A seated person's trunk is upright on the whole; a lean carries through one to one, so it
says little, and a usual camera's tilt says as much. Good enough for places in the room.
Angles are left alone: their correction for an unknown level learned gravity from seated
people already.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from ergo.landmarks.pose_track import PoseTrack, Role
from ergo.posture.geometry import unit
from ergo.posture.seat import seen_points
from ergo.room.camera import Camera
from ergo.timeline import Timeline

USUAL_PITCH_DEG, USUAL_PITCH_SD_DEG = -14.0, 12.0
"""Cameras look down a little (our training scenes; ours). [deg]"""
LEAN_SD_DEG = 11.0
"""Trunk of a seated person at work, seen by one camera, against the vertical (training scenes:
9-12; ours). [deg]"""
ROLL_SD_DEG = 3.0
_SEATED: tuple[Role, ...] = ("operator", "assistant")


def levelled_by_people(
    timeline: Timeline, tracks: Mapping[Role, PoseTrack], camera: Camera
) -> Camera:
    """Return a camera of unknown level with the tilt that seated people tell.

    Parameters
    ----------
    timeline : Timeline
        Of one source.
    tracks : mapping of role to PoseTrack
        Of the same source.
    camera : Camera
        Returned as it is where anything tells its level.
    """
    if camera.level_origin != "assumed":
        return camera
    pitches, weights = [USUAL_PITCH_DEG], [USUAL_PITCH_SD_DEG**-2]
    for role in _SEATED:
        if role not in tracks:
            continue
        trunk = seen_points(timeline, tracks[role], camera).trunk
        trunk = trunk[np.isfinite(trunk).all(axis=1)]
        if len(trunk):
            up = np.median(unit(trunk), axis=0)
            pitches.append(float(np.degrees(np.arcsin(unit(up)[2]))))
            weights.append(LEAN_SD_DEG**-2)
    if len(pitches) == 1:
        return camera
    return replace(
        camera,
        pitch_deg=float(np.average(pitches, weights=weights)),
        roll_deg=0.0,
        level_sd_deg=sum(weights) ** -0.5,
        level_origin="people",
    )
