"""The camera's tilt from people who sit, where nothing better tells it.

A seated person's trunk is upright on the whole; a lean carries through one to one, so it
says little, and a usual camera's tilt says as much; edges of the room that are too unsure for
angles count beside them. Good enough for places in the room. Angles are left alone: their
correction for an unknown level learned gravity from seated people already.
"""

from collections.abc import Mapping

import numpy as np

from ergo.camera.camera import Camera, Level
from ergo.camera.level import fused
from ergo.landmarks.pose_track import PoseTrack, Role
from ergo.posture.geometry import unit
from ergo.timeline import Timeline
from ergo.workplace.seat import seen_points

USUAL_PITCH_DEG, USUAL_PITCH_SD_DEG = -14.0, 12.0
"""Cameras look down a little (our training scenes; ours). [deg]"""
LEAN_SD_DEG = 11.0
"""Trunk of a seated person at work, seen by one camera, against the vertical (training scenes:
9-12; ours). [deg]"""
USUAL_ROLL_SD_DEG = 8.0
"""Hand-held and shelved phones alike (ours). [deg]"""
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
    told = []
    for role in _SEATED:
        if role not in tracks:
            continue
        trunk = seen_points(timeline, tracks[role], camera).trunk
        trunk = trunk[np.isfinite(trunk).all(axis=1)]
        if len(trunk):
            up = unit(np.median(unit(trunk), axis=0))
            pitch = float(np.degrees(np.arcsin(up[2])))
            told.append(Level(pitch, 0.0, LEAN_SD_DEG, np.inf, "people"))
    if not told:
        return camera
    usual = Level(USUAL_PITCH_DEG, 0.0, USUAL_PITCH_SD_DEG, USUAL_ROLL_SD_DEG, "people")
    return fused(camera, usual, *told, least_sure_deg=np.inf)
