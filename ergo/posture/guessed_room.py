"""Rooms as they may be where nothing was set up: from the operator's and the patient's bodies.

The level of the camera is what its notes, the room or the people tell; its height
follows from the operator's size and the height of a seated person's hips; the
patient's head lies at a height at which a seated operator works, in the direction
in which it is seen; the feet lie where the patient's landmarks point.
"""

from dataclasses import replace

import numpy as np

from ergo.arrays import FloatArray
from ergo.landmarks.names import INDEX
from ergo.landmarks.pose_track import PoseTrack
from ergo.posture.geometry import unit
from ergo.posture.measured_clock import RoomDraw, seat_errors
from ergo.posture.placing import camera_points, levelled
from ergo.posture.seat import (
    SIZE_SD,
    TRUE_PER_NETWORK_SIZE,
    Cue,
    SeenPerson,
    both,
    cue_of_height,
    lens_height_m,
)
from ergo.room.camera import Camera
from ergo.room.chair import Chair
from ergo.room.unknowns import (
    FOCAL_SD_ASSUMED,
    FOCAL_SD_EXIF,
    HEAD_HEIGHT_M,
    HEAD_HEIGHT_SD_M,
    STATED_HEIGHT_SD_M,
)
from ergo.timeline import Timeline

GUESSES = 256
FEET_SD_DEG, FEET_TAIL = 16.0, 4
"""Error of the direction of the feet from landmarks of a lying person: Student's t (training
scenes; ours). [deg]"""
HEAD_SD_TRUNKS = 0.08
LEAST_VISIBILITY = 0.6
"""Belief in the patient's hips below which the patient's direction is not trusted (ours)."""
HEIGHT_RANGE_M = (0.5, 3.0)
_HEAD = [INDEX[name] for name in ("ear_left", "ear_right")]
_HIPS = [INDEX[name] for name in ("hip_left", "hip_right")]


def guessed_rooms(
    timeline: Timeline, operator: SeenPerson, patient: PoseTrack, camera: Camera
) -> list[RoomDraw]:
    """Return equally likely rooms; none where the patient is not seen well enough.

    Parameters
    ----------
    timeline : Timeline
        Of one source.
    operator : SeenPerson
    patient : PoseTrack
        Of the same source.
    camera : Camera
        Levelled as well as can be.
    """
    seen = _seen_patient(timeline, patient, camera)
    if seen is None:
        return []
    numbers = np.random.default_rng(2)
    drawn = numbers.standard_normal((GUESSES, 8)).tolist()
    tails = numbers.standard_t(FEET_TAIL, GUESSES).tolist()
    rooms = []
    for errors, row, tail in zip(seat_errors(GUESSES), drawn, tails, strict=True):
        guess = _camera(camera, row)
        if camera.height_m is None:
            height = lens_height_m(operator, guess, errors)
        else:
            height = camera.height_m + STATED_HEIGHT_SD_M * row[3]
        if HEIGHT_RANGE_M[0] < height < HEIGHT_RANGE_M[1]:
            guess = replace(guess, height_m=height)
            rooms.append(RoomDraw(guess, _chair(guess, seen, row[4:], tail), errors))
    return rooms


def _camera(camera: Camera, row: list[float]) -> Camera:
    """Return the camera with its uncertainty drawn once."""
    focal_sd = FOCAL_SD_EXIF if camera.focal_is_known else FOCAL_SD_ASSUMED
    return replace(
        camera,
        focal_px=camera.focal_px * float(np.exp(focal_sd * row[0])),
        pitch_deg=float(np.clip(camera.pitch_deg + camera.level_sd_deg * row[1], -89, 89)),
        roll_deg=camera.roll_deg + camera.level_sd_deg * row[2],
    )


class _SeenPatient:
    """The patient's head in the picture, its depth by the body's size, and the feet's direction."""

    def __init__(self, head_px: FloatArray, trunk_px: float, depth_m: float, feet: FloatArray):
        self.head_px, self.trunk_px, self.depth_m, self.feet = head_px, trunk_px, depth_m, feet


def _seen_patient(timeline: Timeline, patient: PoseTrack, camera: Camera) -> _SeenPatient | None:
    """Return the patient as seen on the whole: who lies in the chair does not move about."""
    is_sure = patient.visibility[:, :, _HIPS].mean(axis=(1, 2)) >= LEAST_VISIBILITY
    frames = np.flatnonzero(patient.found & is_sure)
    if not len(frames):
        return None
    placed = camera_points(patient, [camera], timeline)
    points = levelled(placed, [camera], timeline)
    ways = [points.middle(part) - points.middle("ear") for part in ("hip", "knee")]
    feet = np.nanmedian(np.concatenate([unit(way[frames][:, [0, 2]]) for way in ways]), axis=0)
    shoulder = [INDEX["shoulder_left"], INDEX["shoulder_right"]]
    pixels = patient.picture_px[frames][..., :2].mean(axis=1)
    trunk = pixels[:, shoulder].mean(axis=1) - pixels[:, _HIPS].mean(axis=1)
    if not np.isfinite(feet).all():
        return None
    return _SeenPatient(
        head_px=np.median(pixels[:, _HEAD].mean(axis=1), axis=0),
        trunk_px=float(np.median(np.linalg.norm(trunk, axis=-1))),
        depth_m=float(np.nanmedian(placed.middle("ear")[frames, 2])),
        feet=unit(feet),
    )


def _chair(camera: Camera, seen: _SeenPatient, row: list[float], tail: float) -> Chair:
    off = HEAD_SD_TRUNKS * seen.trunk_px * np.array(row[:2])
    ray = camera.plan_rays(seen.head_px + off)[None]
    height = HEAD_HEIGHT_M + HEAD_HEIGHT_SD_M * row[2]
    by_size = np.array([seen.depth_m * TRUE_PER_NETWORK_SIZE * (1 + SIZE_SD * row[3])])
    depth = both(
        Cue(by_size, 2 * SIZE_SD * by_size), cue_of_height(ray, camera, height, HEAD_HEIGHT_SD_M)
    )
    head = ray[0, :2] * depth
    turn = np.degrees(np.arctan2(seen.feet[0], seen.feet[1])) + FEET_SD_DEG * tail
    return Chair(np.array([*head, height]), float(turn), 0.0, 1.75, 0.55, 0.1, 0.12, 0.0, (0.9, 0))
