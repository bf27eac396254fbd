"""Rooms as they may be where nothing was set up: from the operator's and the patient's bodies.

The level of the camera is what its notes, the room or the people tell; its height
follows from the operator's size and the height of a seated person's hips; the
patient's head lies at a height at which a seated operator works, in the direction
in which it is seen; the feet lie where the patient's body points. Where the patient
is not seen well enough, an assistant tells (:mod:`ergo.workplace.four_handed`).
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from ergo.arrays import FloatArray
from ergo.camera.camera import Camera
from ergo.camera.unknowns import (
    FOCAL_SD_ASSUMED,
    FOCAL_SD_EXIF,
    HEAD_HEIGHT_M,
    HEAD_HEIGHT_SD_M,
    STATED_HEIGHT_SD_M,
)
from ergo.landmarks.pose_track import PoseTrack
from ergo.posture.body_points import BodyPoints
from ergo.posture.geometry import unit
from ergo.posture.placing import camera_points, levelled
from ergo.timeline import Timeline
from ergo.tracking.body import TRUE_PER_NETWORK_SIZE
from ergo.workplace.clock_track import Handed
from ergo.workplace.four_handed import (
    pair_of,
    rooms_by_assistant,
    some_frames,
    with_assistant,
)
from ergo.workplace.place_track import PlaceOrigin
from ergo.workplace.sampled_rooms import Cameras, Rooms, cameras_of, seat_errors
from ergo.workplace.seat import (
    SIZE_SD,
    Cue,
    SeenPerson,
    both,
    cue_of_height,
    lens_height_m,
    middle_px,
    middle_sd_px,
)

GUESSES = 256
AXIS_NOISE_DEG, AXIS_TAIL = 8.0, 4
"""Error of the direction of the feet beyond what its cues disagree by: Student's t (training
scenes; ours). [deg]"""
BELOW_HEAD_M = {"ear": 0.0, "shoulder": 0.06, "hip": 0.14, "knee": 0.18}
"""How far parts of a patient in a reclined chair lie below the head (training scenes; ours)."""
FLAT_RAY_M = 0.35
"""Depth error at which a place told by its line of sight counts half (ours)."""
HEIGHT_RANGE_M = (0.5, 3.0)


@dataclass(frozen=True, slots=True, eq=False)
class SeenPeople:
    """Everybody seen in one source.

    Attributes
    ----------
    timeline : Timeline
        Of this source alone.
    operator : SeenPerson
    assistant : SeenPerson or None
    patient : PoseTrack or None
    """

    timeline: Timeline
    operator: SeenPerson
    assistant: SeenPerson | None
    patient: PoseTrack | None


def guessed_rooms(
    people: SeenPeople, camera: Camera, handed: Handed | None
) -> tuple[Rooms | None, PlaceOrigin]:
    """Return equally likely rooms and by which route; none where nobody tells how the patient lies.

    Parameters
    ----------
    people : SeenPeople
    camera : Camera
        Levelled as well as can be.
    handed : str or None
        The operator's handedness, where it is stated.
    """
    operator = people.operator
    frames = some_frames(np.isfinite(operator.depth_m))
    if not len(frames):
        return None, "not judged"
    errors, numbers = seat_errors(GUESSES), np.random.default_rng(2)
    drawn = numbers.standard_normal((6, GUESSES))
    cameras = _cameras(camera, drawn[:4])
    if camera.height_m is None:
        cameras = replace(cameras, lens_m=lens_height_m(operator, cameras, errors, frames))
    patient = _seen_patient(people.timeline, people.patient, camera)
    pair = pair_of(operator, people.assistant, handed)
    if patient is not None:
        part_px = patient.drawn_px(numbers)
        head_m = _head_m(cameras, part_px["ear"], patient.depth_m, drawn[4:])
        ways, trust = _ways_by_sight(cameras, head_m[:, 2], part_px)
        rooms = Rooms(cameras, head_m, _feet(ways, trust, patient.ways, numbers), errors)
        return _plausible(
            rooms if pair is None else with_assistant(rooms, pair, numbers)
        ), "automatic"
    if pair is None:
        return None, "not judged"
    return _plausible(rooms_by_assistant(cameras, pair, numbers)), "assistant"


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
    """Who lies in the chair, as seen on the whole.

    Attributes
    ----------
    part_px : dict of str to array (xy,)
        Middle of both ears, shoulders, hips and knees. [px]
    part_sd_px : dict of str to float
        Error of each, per axis. [px]
    depth_m : float
        The network's guess of the head's depth. [m]
    ways : array (way, xy)
        Directions of the feet on the plan that the body in space tells, length 1.
    """

    part_px: dict[str, FloatArray]
    part_sd_px: dict[str, float]
    depth_m: float
    ways: FloatArray

    def drawn_px(self, numbers: np.random.Generator) -> dict[str, FloatArray]:
        """Return where the parts may be, arrays (draw, xy). [px]."""
        return {
            part: at + self.part_sd_px[part] * numbers.standard_normal((GUESSES, 2))
            for part, at in self.part_px.items()
        }


def _seen_patient(
    timeline: Timeline, patient: PoseTrack | None, camera: Camera
) -> _SeenPatient | None:
    """Return the patient as seen on the whole: who lies in the chair does not move about."""
    if patient is None:
        return None
    frames = np.flatnonzero(patient.found)
    if not len(frames):
        return None
    placed = camera_points(patient, [camera], timeline)
    seen = patient.frames(frames)
    return _SeenPatient(
        part_px={part: np.median(middle_px(seen, part), axis=0) for part in BELOW_HEAD_M},
        part_sd_px={part: float(np.median(middle_sd_px(seen, part))) for part in BELOW_HEAD_M},
        depth_m=float(np.nanmedian(placed.middle("ear")[frames, 2])),
        ways=_ways(levelled(placed, [camera], timeline).frames(frames)),
    )


def _ways(points: BodyPoints) -> FloatArray:
    """Return where the feet are on the plan by the trunk, the knees and the line of the shoulders.

    Somebody who lies face up has the feet square to the line of the shoulders.
    """
    across = (points["shoulder_left"] - points["shoulder_right"])[:, [0, 2]]
    ways = (
        (points.middle("hip") - points.middle("shoulder"))[:, [0, 2]],
        (points.middle("knee") - points.middle("ear"))[:, [0, 2]],
        np.stack([across[:, 1], -across[:, 0]], axis=-1),
    )
    told = [np.nanmedian(unit(way), axis=0) for way in ways if np.isfinite(way).all(axis=1).any()]
    return unit(np.array(told).reshape(-1, 2))


def _head_m(cameras: Cameras, head_px: FloatArray, depth_m: float, drawn: FloatArray) -> FloatArray:
    """Return the middle of the patient's head, array (draw, xyz). [m].

    Parameters
    ----------
    cameras : Cameras
    head_px : array (draw, xy)
        Where it is seen. [px]
    depth_m : float
        As the network guesses it. [m]
    drawn : array (2, draw)
        Standard normal numbers.
    """
    rays = cameras.plan_rays(head_px[:, None])
    height = HEAD_HEIGHT_M + HEAD_HEIGHT_SD_M * drawn[0]
    by_size = (depth_m * TRUE_PER_NETWORK_SIZE * (1 + SIZE_SD * drawn[1]))[:, None]
    depth = both(
        Cue(by_size, 2 * SIZE_SD * by_size),
        cue_of_height(rays, (cameras.lens_m - height)[:, None], HEAD_HEIGHT_SD_M),
    )
    return np.concatenate([rays[:, 0, :2] * depth, height[:, None]], axis=1)


def _feet(
    by_sight: FloatArray, trust: FloatArray, in_space: FloatArray, numbers: np.random.Generator
) -> FloatArray:
    """Return the direction from head to feet on the plan, array (draw, xy).

    Every draw hears the cues with other weights: what they disagree by is what they are unsure.

    Parameters
    ----------
    by_sight, trust : array (way, draw, xy), (way, draw)
        Of :func:`_ways_by_sight`.
    in_space : array (way, xy)
        What the body in space tells.
    numbers : Generator
    """
    told = np.broadcast_to(in_space[:, None], (len(in_space), *by_sight.shape[1:]))
    ways = np.concatenate([by_sight, told])
    trust = np.concatenate([trust, np.ones(told.shape[:2])])
    heard = (trust * numbers.standard_exponential(trust.shape))[..., None] * ways
    noise = np.radians(AXIS_NOISE_DEG * numbers.standard_t(AXIS_TAIL, GUESSES))
    turn = np.arctan2(*heard.sum(axis=0).T) + noise
    return np.stack([np.sin(turn), np.cos(turn)], axis=-1)


def _ways_by_sight(
    cameras: Cameras, head_height_m: FloatArray, part_px: Mapping[str, FloatArray]
) -> tuple[FloatArray, FloatArray]:
    """Return where the feet are by lines of sight and usual heights, and how far to trust each.

    Arrays (way, draw, xy), length 1, and (way, draw).
    """
    at, sd_m = {}, {}
    for part, below in BELOW_HEAD_M.items():
        rays = cameras.plan_rays(part_px[part][:, None])
        cue = cue_of_height(rays, (cameras.lens_m - head_height_m + below)[:, None], 0.05)
        at[part], sd_m[part] = rays[:, 0, :2] * cue.depth_m, cue.sd_m[:, 0]
    pairs = (("shoulder", "hip"), ("ear", "hip"), ("ear", "knee"))
    ways = np.array([unit(at[feet] - at[head]) for head, feet in pairs])
    trust = np.array([1 / (1 + (sd_m[feet] / FLAT_RAY_M) ** 2) for _, feet in pairs])
    return np.nan_to_num(ways), np.where(np.isfinite(ways).all(axis=-1), trust, 0.0)


def _plausible(rooms: Rooms) -> Rooms | None:
    """Return the draws in which the lens is at a height at which cameras are put; None without."""
    low, high = HEIGHT_RANGE_M
    which = (rooms.cameras.lens_m > low) & (rooms.cameras.lens_m < high)
    return rooms.some(which) if which.any() else None
