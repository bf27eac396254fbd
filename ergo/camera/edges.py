"""Up from the room: straight edges in the picture, and the point where the vertical ones meet.

Line segments are found with OpenCV's LSD (von Gioi RG, Jakubowicz J, Morel JM,
Randall G (2010), IEEE Trans Pattern Anal Mach Intell 32(4):722-732). Pairs of
segments propose a direction of up, as in RANSAC (Fischler MA, Bolles RC (1981),
Commun ACM 24(6):381-395); the proposal with the most length of agreeing edge wins
and is then refined.
"""

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from ergo.arrays import BoolArray, FloatArray, PictureArray
from ergo.camera.camera import Camera
from ergo.camera.unknowns import FOCAL_SD_ASSUMED, FOCAL_SD_EXIF

LONG_SIDE_PX = 960
LEAST_LENGTH_SHARE = 0.05
MOST_EDGES = 60
STEEPEST_LEAN_DEG = 35.0
"""Edges that lean further than this in the picture are not taken for vertical (ours). [deg]"""
LOWEST_TILT_DEG, HIGHEST_TILT_DEG, MOST_ROLL_DEG = -65.0, 30.0, 25.0
"""Cameras beyond this tilt (negative = looking down) or roll are not considered (ours). [deg]"""
USUAL_TILT_DEG, USUAL_TILT_SD_DEG, USUAL_ROLL_SD_DEG = -14.0, 25.0, 6.0
"""Of proposals that agree with as many edges, the more usual one is taken (ours). [deg]"""
AGREES_DEG = 1.2
LEAN_SD_DEG = 0.8
"""By how much an edge leans off the vertical and off its line in the picture (ours). [deg]"""
ONE_THING_SHARE = 0.04
"""Edges that follow each other this close across the picture belong to one thing, a radiator, a row
of drawers; together they tell as much as :data:`OF_ONE_THING` edges (ours)."""
OF_ONE_THING = 2.0
CHANCE_SD_DEG = 12.0
"""How far off a level is that edges agree on by chance (ours). [deg]"""
LEAST_AGREEING, LEAST_LENGTH_SHARES = 4, 0.5
"""So many edges, and together so much of the picture's height, must agree (ours)."""
RIVAL_APART_DEG = 6.0
"""Where as much edge agrees with an up that is so far from the most plausible one, the edges tell
no level. On 849 rendered stills turned by 0, 6, 10 and 15 degrees, 1, 2, 3 and 10 % of the levels
told are then off by more than 8 degrees; without it 3, 11, 39 and 78 % (ours)."""


def edges_px(picture: PictureArray) -> FloatArray:
    """Return the longest steep edges of a picture.

    Parameters
    ----------
    picture : array (row, column, rgb)
        Upright.

    Returns
    -------
    array (edge, end, xy)
        At most :data:`MOST_EDGES`, the longest first. [px]
    """
    import cv2

    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    scale = min(1.0, LONG_SIDE_PX / max(grey.shape))
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    found = cv2.createLineSegmentDetector().detect(small)[0]
    if found is None:
        return np.zeros((0, 2, 2))
    edges = found.reshape(-1, 2, 2).astype(np.float64) / scale
    way = edges[:, 1] - edges[:, 0]
    length = np.hypot(way[:, 0], way[:, 1])
    lean = np.degrees(np.arctan2(np.abs(way[:, 0]), np.abs(way[:, 1])))
    is_used = (length > LEAST_LENGTH_SHARE * grey.shape[0]) & (lean < STEEPEST_LEAN_DEG)
    order = np.argsort(-length[is_used], kind="stable")[:MOST_EDGES]
    kept: FloatArray = edges[is_used][order]
    return kept


@dataclass(frozen=True, slots=True, eq=False)
class RoomLevel:
    """Up as the room's edges tell it.

    Attributes
    ----------
    pitch_deg, roll_deg : float
        As of :class:`~ergo.camera.camera.Camera`. [deg]
    pitch_sd_deg, roll_sd_deg : float
        One standard deviation of each: larger where few edges agree, where all lie in one
        place or run the same way, where much edge does not agree, and, of the pitch, where
        the focal length is only assumed. [deg]
    edges : int
        How many edges agree.
    """

    pitch_deg: float
    roll_deg: float
    pitch_sd_deg: float
    roll_sd_deg: float
    edges: int


def level_of_edges(edges: FloatArray, camera: Camera) -> RoomLevel | None:
    """Return up as the vertical edges tell it.

    Parameters
    ----------
    edges : array (edge, end, xy)
        [px]
    camera : Camera
        Its focal length and principal point are used.

    Returns
    -------
    RoomLevel or None
        None where too few edges agree on any direction, or as many on another.
    """
    if len(edges) < LEAST_AGREEING:
        return None
    normals = _normals(edges, camera)
    length = np.linalg.norm(edges[:, 1] - edges[:, 0], axis=1)
    proposals = _proposals(normals)
    if not len(proposals):
        return None
    off = _off_deg(edges, camera, proposals)
    score = (np.maximum(0.0, 1 - (off / AGREES_DEG) ** 2) * length).sum(axis=1)
    best = int(np.argmax(score * _plausible(proposals)))
    if _has_rival(proposals, score, best):
        return None
    up = _refined(normals, length, off[best] < AGREES_DEG, proposals[best])
    agrees = _off_deg(edges, camera, up[None])[0] < AGREES_DEG
    if agrees.sum() < LEAST_AGREEING or length[agrees].sum() < LEAST_LENGTH_SHARES * (
        camera.height_px
    ):
        return None
    pitch, roll = _pitch_roll(up[None])
    if not _may_be(pitch, roll).all():
        return None
    pitch_sd, roll_sd = _spreads_deg(
        _known(normals[agrees], edges[agrees], camera),
        up,
        length[agrees].sum() / length.sum(),
        is_focal_known=camera.focal_is_known,
    )
    return RoomLevel(float(pitch[0]), float(roll[0]), pitch_sd, roll_sd, int(agrees.sum()))


def _known(normals: FloatArray, edges: FloatArray, camera: Camera) -> FloatArray:
    """Return the inverse covariance of up by agreeing edges, array (xyz, xyz). [1/rad^2]."""
    weight = np.minimum(1.0, OF_ONE_THING / _in_thing(edges, camera))
    weight /= np.radians(LEAN_SD_DEG) ** 2
    known: FloatArray = np.einsum("e,ei,ej->ij", weight, normals, normals)
    return known


def _in_thing(edges: FloatArray, camera: Camera) -> FloatArray:
    """Return with how many edges of its thing each edge lies, itself included, array (edge,)."""
    across = edges[:, :, 0].mean(axis=1)
    order = np.argsort(across, kind="stable")
    apart = np.diff(across[order]) > ONE_THING_SHARE * max(camera.width_px, camera.height_px)
    thing = np.empty(len(edges), dtype=np.int64)
    thing[order] = np.concatenate([[0], np.cumsum(apart)])
    counts: FloatArray = np.bincount(thing)[thing].astype(np.float64)
    return counts


def _spreads_deg(
    known: FloatArray, up: FloatArray, agreeing: float, *, is_focal_known: bool
) -> tuple[float, float]:
    """Return the spread of pitch and roll.

    Parameters
    ----------
    known : array (xyz, xyz)
        By :func:`_known`.
    up : array (xyz,)
    agreeing : float
        Share of the edges' length that agrees; of the rest it may be chance that it does not.
    is_focal_known : bool
    """
    (pitch,), (roll,) = _pitch_roll(up[None])
    camera_up = Camera(2, 2, 1.0, (1.0, 1.0), float(pitch), float(roll))
    step = 1e-4
    moved = [
        replace(camera_up, pitch_deg=camera_up.pitch_deg + np.degrees(step)).up,
        replace(camera_up, roll_deg=camera_up.roll_deg + np.degrees(step)).up,
    ]
    by = np.stack([(each - camera_up.up) / step for each in moved])
    usual = np.diag(np.radians([USUAL_TILT_SD_DEG, USUAL_ROLL_SD_DEG]) ** -2.0)
    sd = np.degrees(np.sqrt(np.diag(np.linalg.inv(by @ known @ by.T + usual))))
    chance = CHANCE_SD_DEG * (1 - agreeing) ** 2
    focal_sd = FOCAL_SD_EXIF if is_focal_known else FOCAL_SD_ASSUMED
    # tan(pitch) is as wrong as the focal length is
    by_focal = np.degrees(0.5 * np.sin(2 * np.radians(abs(camera_up.pitch_deg))) * focal_sd)
    return float(np.sqrt(sd[0] ** 2 + chance**2 + by_focal**2)), float(np.hypot(sd[1], chance / 2))


def _normals(edges: FloatArray, camera: Camera) -> FloatArray:
    """Return the normal of the plane through the lens and each edge, length 1."""
    rays = camera.rays(edges)
    normals = np.cross(rays[:, 0], rays[:, 1])
    unit: FloatArray = normals / np.linalg.norm(normals, axis=1, keepdims=True)
    return unit


def _proposals(normals: FloatArray) -> FloatArray:
    """Return directions of up square to pairs of normals, as far as a camera may be tilted."""
    pairs = np.array(list(combinations(range(len(normals)), 2)))
    ups = np.cross(normals[pairs[:, 0]], normals[pairs[:, 1]])
    size = np.linalg.norm(ups, axis=1)
    ups = ups[size > 1e-3] / size[size > 1e-3, None]
    ups = ups * -np.sign(ups[:, 1:2])  # y points down in camera axes
    pitch, roll = _pitch_roll(ups)
    kept: FloatArray = ups[_may_be(pitch, roll)]
    return kept


def _may_be(pitch: FloatArray, roll: FloatArray) -> BoolArray:
    within: BoolArray = (pitch > LOWEST_TILT_DEG) & (pitch < HIGHEST_TILT_DEG)
    return within & (np.abs(roll) < MOST_ROLL_DEG)


def _pitch_roll(ups: FloatArray) -> tuple[FloatArray, FloatArray]:
    pitch = np.degrees(np.arcsin(np.clip(ups[:, 2], -1, 1)))
    return pitch, np.degrees(np.arctan2(ups[:, 0], -ups[:, 1]))


def _plausible(ups: FloatArray) -> FloatArray:
    """Return a mild liking for cameras that are hardly rolled and look down a little."""
    pitch, roll = _pitch_roll(ups)
    tilted = (pitch - USUAL_TILT_DEG) / USUAL_TILT_SD_DEG
    liking: FloatArray = np.exp(-0.5 * ((roll / USUAL_ROLL_SD_DEG) ** 2 + tilted**2))
    return liking


def _has_rival(ups: FloatArray, score: FloatArray, best: int) -> bool:
    """Return whether another direction is agreed with as much, however unusual it is."""
    is_apart = ups @ ups[best] < np.cos(np.radians(RIVAL_APART_DEG))
    return bool((score[is_apart] >= score[best]).any())


def _off_deg(edges: FloatArray, camera: Camera, ups: FloatArray) -> FloatArray:
    """Return by how much each edge leans off the way to where verticals meet, (up, edge)."""
    centre = np.asarray(camera.centre_px)
    meeting = camera.focal_px * ups[:, :2] + centre * ups[:, 2:]
    middle = edges.mean(axis=1)
    to_meeting = meeting[:, None] - middle * ups[:, None, 2:]
    way = edges[:, 1] - edges[:, 0]
    across = to_meeting[..., 0] * way[:, 1] - to_meeting[..., 1] * way[:, 0]
    along = to_meeting[..., 0] * way[:, 0] + to_meeting[..., 1] * way[:, 1]
    off: FloatArray = np.degrees(np.arctan2(np.abs(across), np.abs(along)))
    return off


def _refined(
    normals: FloatArray, length: FloatArray, agrees: BoolArray, up: FloatArray
) -> FloatArray:
    """Return the direction most square to the normals of the agreeing edges."""
    if agrees.sum() < 2:
        return up
    weighed = normals[agrees] * length[agrees, None]
    smallest = np.linalg.svd(weighed)[2][-1]
    refined: FloatArray = smallest * -np.sign(smallest[1])
    return refined
