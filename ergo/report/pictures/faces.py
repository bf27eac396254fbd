"""Faces and backgrounds that must not be recognised: where they are, and how they are blurred."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from ergo.arrays import BoolArray, FloatArray, PictureArray
from ergo.landmarks.names import INDEX
from ergo.landmarks.pose_track import PoseTrack

HEAD = tuple(INDEX[name] for name in INDEX if INDEX[name] <= INDEX["mouth_right"])
HEAD_SPREADS = 2.2
"""A head reaches this many times as far as its farthest landmark from their middle (ours)."""
HEAD_PER_SHOULDERS = 0.55
"""A head is at least this share of the shoulder width in radius; in profile the
landmarks of the head lie close together (ours)."""
LEAST_HEAD_SHARE = 0.02
"""Smallest radius of a head as a share of the picture's height (ours)."""
FRONT, PROFILE = "haarcascade_frontalface_alt2.xml", "haarcascade_profileface.xml"
"""Boosted cascades that come with OpenCV (Viola P, Jones M (2001), CVPR)."""
LOOKED_AT_PX = 480
"""Height or width to which a picture is reduced before faces are looked for. [px]"""


@dataclass(frozen=True, slots=True)
class HeadRegion:
    """A circle that covers a head in the picture; all in px."""

    x: float
    y: float
    radius: float


def head_of(track: PoseTrack, frame: int, height_px: int) -> HeadRegion | None:
    """Return the circle round this person's head; None where the person was not seen."""
    points = np.nanmean(track.picture_px[frame, :, :, :2], axis=0) if track.found[frame] else None
    if points is None:
        return None
    head = points[list(HEAD)]
    middle = head.mean(axis=0)
    spread = float(np.max(np.linalg.norm(head - middle, axis=1)))
    shoulders = float(
        np.linalg.norm(points[INDEX["shoulder_left"]] - points[INDEX["shoulder_right"]])
    )
    radius = max(
        HEAD_SPREADS * spread, HEAD_PER_SHOULDERS * shoulders, LEAST_HEAD_SHARE * height_px
    )
    return HeadRegion(float(middle[0]), float(middle[1]), radius)


def faces_in(picture: PictureArray) -> tuple[HeadRegion, ...]:
    """Return the faces that a face detector sees, upright or turned a quarter either way."""
    import cv2

    scale = min(1.0, LOOKED_AT_PX / min(picture.shape[:2]))
    small = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    grey = np.asarray(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY), np.uint8)
    height, width = grey.shape
    found: list[HeadRegion] = []
    for turns in (0, 1, 3):  # a lying patient's face points sideways
        for x, y, radius in _upright_faces(np.ascontiguousarray(np.rot90(grey, turns))):
            there = {0: (x, y), 1: (width - y, x), 3: (y, height - x)}[turns]
            found.append(HeadRegion(there[0] / scale, there[1] / scale, radius / scale))
    return tuple(found)


def _upright_faces(grey: PictureArray) -> list[tuple[float, float, float]]:
    import cv2

    mirrored = cv2.flip(grey, 1)
    looks = ((FRONT, grey, False), (PROFILE, grey, False), (PROFILE, mirrored, True))
    found = []
    for name, look, is_mirrored in looks:
        for x, y, w, h in _cascade(name).detectMultiScale(look, 1.2, 4, minSize=(22, 22)):
            middle = x + w / 2
            across = grey.shape[1] - middle if is_mirrored else middle
            found.append((across, y + h / 2, 0.75 * max(w, h)))
    return found


@cache
def _cascade(name: str) -> Any:
    import cv2

    return cv2.CascadeClassifier(str(Path(cv2.__file__).parent / "data" / name))


def blur_heads(picture: PictureArray, heads: Sequence[HeadRegion]) -> PictureArray:
    """Return the picture with every head blurred beyond recognition.

    The head is first reduced to a few pixels across and then smoothed, so that
    sharpening cannot bring the features back.
    """
    import cv2

    result = picture.copy()
    height, width = picture.shape[:2]
    for head in heads:
        left, right = _within(head.x, head.radius, width)
        top, bottom = _within(head.y, head.radius, height)
        if right - left < 2 or bottom - top < 2:
            continue
        patch = result[top:bottom, left:right]
        few = cv2.resize(patch, (4, 4), interpolation=cv2.INTER_AREA)
        smooth = cv2.resize(few, patch.shape[1::-1], interpolation=cv2.INTER_LINEAR)
        inside = _disc(patch.shape[:2], head.x - left, head.y - top, head.radius)
        patch[inside] = smooth[inside]
    return result


def blur_outside(picture: PictureArray, keep: BoolArray) -> PictureArray:
    """Return the picture blurred wherever ``keep``, array (row, column), is False."""
    import cv2

    sigma = picture.shape[0] / 45
    small = cv2.resize(picture, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    blurred = cv2.GaussianBlur(small, (0, 0), max(sigma / 4, 0.8))
    blurred = cv2.resize(blurred, picture.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    return np.where(keep[:, :, None], picture, blurred).astype(np.uint8)


def _within(centre: float, radius: float, size: int) -> tuple[int, int]:
    return max(0, int(centre - radius)), min(size, int(np.ceil(centre + radius)) + 1)


def _disc(shape: tuple[int, int], x: float, y: float, radius: float) -> BoolArray:
    rows, columns = np.ogrid[: shape[0], : shape[1]]
    distance: FloatArray = np.hypot(columns - x, rows - y)
    return distance <= radius
