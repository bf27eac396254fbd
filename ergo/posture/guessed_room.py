"""Rooms as they may be where nothing was set up: from the operator's and the patient's bodies.

The level of the camera is what its notes, the room or the people tell; its height
follows from the operator's size and the height of a seated person's hips; the
patient's head lies at a height at which a seated operator works, in the direction
in which it is seen; the feet lie where the patient's landmarks point.
"""

from dataclasses import dataclass, replace

import numpy as np

from ergo.arrays import BoolArray, FloatArray
from ergo.landmarks.names import INDEX
from ergo.landmarks.pose_track import PoseTrack
from ergo.posture.geometry import unit
from ergo.posture.placing import camera_points, levelled
from ergo.posture.rooms import Cameras, Rooms, SeatErrors, cameras_of, seat_errors
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
) -> Rooms | None:
    """Return equally likely rooms; None where the patient is not seen well enough.

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
    frames = np.flatnonzero(np.isfinite(operator.depth_m))
    if seen is None or not len(frames):
        return None
    errors, numbers = seat_errors(GUESSES), np.random.default_rng(2)
    drawn, tails = numbers.standard_normal((8, GUESSES)), numbers.standard_t(FEET_TAIL, GUESSES)
    cameras = _cameras(camera, drawn[:4])
    if camera.height_m is None:
        cameras = replace(cameras, lens_m=lens_height_m(operator, cameras, errors, frames))
    rooms = Rooms(cameras, _head_m(cameras, seen, drawn[4:]), _feet(seen, tails), errors)
    low, high = HEIGHT_RANGE_M
    return _some((cameras.lens_m > low) & (cameras.lens_m < high), rooms)


def _cameras(camera: Camera, drawn: FloatArray) -> Cameras:
    """Return the camera with its uncertainty drawn, from numbers (4, draw)."""
    focal_sd = FOCAL_SD_EXIF if camera.focal_is_known else FOCAL_SD_ASSUMED
    known = camera.height_m
    return cameras_of(
        [
            replace(
                camera,
                focal_px=camera.focal_px * float(np.exp(focal_sd * focal)),
                pitch_deg=float(np.clip(camera.pitch_deg + camera.level_sd_deg * pitch, -89, 89)),
                roll_deg=camera.roll_deg + camera.level_sd_deg * roll,
                height_m=None if known is None else known + STATED_HEIGHT_SD_M * height,
            )
            for focal, pitch, roll, height in drawn.T.tolist()
        ]
    )


@dataclass(frozen=True, slots=True, eq=False)
class _SeenPatient:
    """The patient's head in the picture, its depth by the body's size, and the feet's direction."""

    head_px: FloatArray
    trunk_px: float
    depth_m: float
    feet: FloatArray


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


def _head_m(cameras: Cameras, seen: _SeenPatient, drawn: FloatArray) -> FloatArray:
    """Return the middle of the patient's head, array (draw, xyz), from numbers (4, draw). [m]."""
    off_px = HEAD_SD_TRUNKS * seen.trunk_px * drawn[:2].T[:, None]
    rays = cameras.plan_rays(seen.head_px + off_px)
    height = HEAD_HEIGHT_M + HEAD_HEIGHT_SD_M * drawn[2]
    by_size = (seen.depth_m * TRUE_PER_NETWORK_SIZE * (1 + SIZE_SD * drawn[3]))[:, None]
    depth = both(
        Cue(by_size, 2 * SIZE_SD * by_size),
        cue_of_height(rays, (cameras.lens_m - height)[:, None], HEAD_HEIGHT_SD_M),
    )
    return np.concatenate([rays[:, 0, :2] * depth, height[:, None]], axis=1)


def _feet(seen: _SeenPatient, tails: FloatArray) -> FloatArray:
    """Return the direction from head to feet on the plan, array (draw, xy)."""
    turn = np.arctan2(seen.feet[0], seen.feet[1]) + np.radians(FEET_SD_DEG * tails)
    return np.stack([np.sin(turn), np.cos(turn)], axis=-1)


def _some(which: BoolArray, rooms: Rooms) -> Rooms | None:
    """Return only those draws; None where there are none."""
    if not which.any():
        return None
    cameras, errors = rooms.cameras, rooms.errors
    return Rooms(
        replace(
            cameras,
            focal_px=cameras.focal_px[which],
            level_from_camera=cameras.level_from_camera[which],
            lens_m=cameras.lens_m[which],
        ),
        rooms.head_m[which],
        rooms.feet[which],
        SeatErrors(
            errors.hip_height[which], errors.size[which], errors.across[which], errors.up[which]
        ),
    )
