"""What the landmark network sees of rendered people, with the truth about them.

Only for those who fit the refiner anew: it needs rendered scenes (pictures with
their JSON records), which are no part of the project. Every person is looked at
in the crop that following would take, plain and mirrored, and in crops that are
shifted, turned, covered, blurred, darkened and compressed.
"""

import json
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from ergo.arrays import FloatArray, PictureArray
from ergo.landmarks import network
from ergo.landmarks.network import Box, PoseNetwork, crop_of
from ergo.landmarks.refine import JOINTS, inputs_of, starts
from ergo.landmarks.runtime import picture_library

CHANGED_CROPS = {"operator": 3, "assistant": 1, "patient": 1}
LEAST_VISIBLE = 0.12  # of a person's points
_FIELDS = {"c7": "c7", "nose": "nose_tip"}
_STEMS = {"ear": "tragus", "index": "index_knuckle", "pinky": "pinky_knuckle"}


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """One crop of one person, as it was shown: mirrored crops show a mirrored person.

    Attributes
    ----------
    scene, role : str
    inputs : array (input,)
        Of :func:`ergo.landmarks.refine.inputs_of`.
    start, truth : array (joint, xyz)
        Where the refiner starts from, and where the joints truly are, in crops.
    """

    scene: str
    role: str
    inputs: FloatArray
    start: FloatArray
    truth: FloatArray


def field_of(joint: str) -> str:
    """Return the name of a joint in the scenes' records."""
    stem, _, side = joint.rpartition("_")
    return _FIELDS.get(joint) or f"{_STEMS.get(stem, stem)}_{side}"


def seen_in(record_path: Path, eyes: PoseNetwork) -> Iterator[Seen]:
    """Yield every crop of every person of one scene."""
    record = json.loads(record_path.read_text())
    cv2 = picture_library()
    picture = np.ascontiguousarray(cv2.imread(str(record_path.with_suffix(".jpg")))[:, :, ::-1])
    for person in record["persons"]:
        if person["visible_fraction"] < LEAST_VISIBLE:
            continue
        seed = f"{record_path.stem}/{person['role']}"
        rng = np.random.default_rng(zlib.crc32(seed.encode()))
        box = _settled(picture, person["points"], eyes)
        truth = _truth_px(person["points"], record["camera"])
        shows = [(box, False, False), (box, True, False)]
        for _ in range(CHANGED_CROPS[person["role"]]):
            shows.append((_moved(box, rng), bool(rng.random() < 0.5), True))
        for shown, is_mirrored, is_changed in shows:
            crop = crop_of(picture, shown)
            crop = changed(crop, picture, rng) if is_changed else crop
            crop = np.ascontiguousarray(crop[:, ::-1]) if is_mirrored else crop
            yield _seen(record_path.stem, person["role"], crop, truth, shown, is_mirrored, eyes)


def _seen(
    scene: str,
    role: str,
    crop: PictureArray,
    truth_px: FloatArray,
    box: Box,
    is_mirrored: bool,
    eyes: PoseNetwork,
) -> Seen:
    glimpse = eyes.glimpse(crop)
    truth = network.in_crop(truth_px, box)
    if is_mirrored:
        truth = network.joints_mirrored(truth)
    return Seen(scene, role, inputs_of(glimpse), starts(glimpse), truth)


def _truth_px(points: Any, camera: Any) -> FloatArray:
    """Return array (joint, xyz): places in the picture, depth from mid-hip in the same scale."""
    px = np.array([points[field_of(joint)]["px"] for joint in JOINTS])
    depth = np.array([points[field_of(joint)]["depth"] for joint in JOINTS])
    hips = points["mid_hip"]["depth"]
    return np.column_stack([px, (depth - hips) * camera["K"][0][0] / hips])


def _settled(picture: PictureArray, points: Any, eyes: PoseNetwork) -> Box:
    """Return the crop that following would take, found from the true place of the person."""
    hips, shoulders = (np.array(points[name]["px"]) for name in ("mid_hip", "mid_shoulder"))
    reach = max(float(np.hypot(*(np.array(p["px"]) - hips))) for p in points.values())
    right, down = shoulders - hips
    box = Box(float(hips[0]), float(hips[1]), 2.3 * reach, float(np.arctan2(right, -down)))
    for _ in range(2):
        box = eyes.look(picture, box).next_box
    return box


def _moved(box: Box, rng: np.random.Generator) -> Box:
    side = box.side_px * float(np.exp(rng.normal(0, 0.08)))
    right, down = rng.normal(0, 0.04, 2) * side
    turn = float(np.radians(rng.normal(0, 7)))
    return Box(box.x_px + float(right), box.y_px + float(down), side, box.angle_rad + turn)


def changed(crop: PictureArray, picture: PictureArray, rng: np.random.Generator) -> PictureArray:
    """Return the crop partly covered, in other light, less sharp, noisier and compressed."""
    cv2 = picture_library()
    shown = _covered(crop.copy(), picture, rng).astype(np.float32) / 255
    if rng.random() < 0.25:
        shown = np.repeat(shown.mean(axis=2, keepdims=True), 3, axis=2)
    shown = shown ** np.exp(rng.normal(0, 0.3)) * np.exp(
        rng.normal(0, 0.2) + rng.normal(0, 0.06, 3)
    )
    shown = (shown - 0.5) * np.exp(rng.normal(0, 0.2)) + 0.5
    if rng.random() < 0.5:
        shown = cv2.GaussianBlur(shown, (0, 0), float(rng.uniform(0.4, 2.2)))
    if rng.random() < 0.5:
        shown = shown + rng.normal(0, rng.uniform(0.005, 0.05), shown.shape)
    plain = (np.clip(shown, 0, 1) * 255).astype(np.uint8)
    if rng.random() < 0.4:
        quality = [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(25, 80))]
        plain = cv2.imdecode(cv2.imencode(".jpg", plain, quality)[1], 1)
    return np.asarray(plain, dtype=np.uint8)


def _covered(crop: PictureArray, picture: PictureArray, rng: np.random.Generator) -> PictureArray:
    """Return the crop with up to three pieces of the same picture laid over it."""
    for _ in range(int(rng.integers(0, 4))):
        height, width = rng.integers(15, 90, 2)
        row, column = rng.integers(0, 246, 2)
        top = int(rng.integers(0, max(1, picture.shape[0] - height)))
        left = int(rng.integers(0, max(1, picture.shape[1] - width)))
        piece = picture[top : top + height, left : left + width][: 256 - row, : 256 - column]
        crop[row : row + piece.shape[0], column : column + piece.shape[1]] = piece
    return crop
