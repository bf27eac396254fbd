"""Pictures of single moments: the operator's landmarks drawn in, everybody else unrecognisable."""

import base64
import io
from collections.abc import Callable

import numpy as np

from ergo.arrays import BoolArray, FloatArray, PictureArray
from ergo.landmarks.names import INDEX
from ergo.landmarks.pose_track import PoseTrack
from ergo.report.pictures.faces import HeadRegion, blur_heads, blur_outside, faces_in, head_of
from ergo.session.session import Recording, Session
from ergo.timeline import Timeline

Fetch = Callable[[str, float], PictureArray | None]
"""Source name and time [s] to the upright picture, array (row, column, rgb); None where
the recording is no longer at its place."""

BONES = (
    ("ear_left", "shoulder_left"),
    ("ear_right", "shoulder_right"),
    ("shoulder_left", "shoulder_right"),
    ("shoulder_left", "elbow_left"),
    ("elbow_left", "wrist_left"),
    ("wrist_left", "index_left"),
    ("shoulder_right", "elbow_right"),
    ("elbow_right", "wrist_right"),
    ("wrist_right", "index_right"),
    ("shoulder_left", "hip_left"),
    ("shoulder_right", "hip_right"),
    ("hip_left", "hip_right"),
    ("hip_left", "knee_left"),
    ("hip_right", "knee_right"),
    ("ear_left", "nose"),
    ("ear_right", "nose"),
)
NEAR_S = 3.0
"""A bystander's head seen this long before or after still tells where to blur. [s]"""
SLACK = 1.5
"""How much larger a head is taken that was seen at another time."""
WIDEST_PX = 720
NARROWEST = 0.8
"""Least width of a picture of a moment as a share of its height (ours)."""
_DARK, _LIGHT = (28, 20, 60), (244, 236, 214)


def moment_picture(
    session: Session, frame: int, fetch: Fetch, *, blur_operator: bool = False
) -> PictureArray | None:
    """Return one analysed frame with the operator's landmarks, other people blurred.

    None where the recording is no longer at its place.

    Everything but the operator's own outline is blurred softly (screens, papers
    and people whom nobody found); every other head that landmarks or a face
    detector know is blurred strongly.
    """
    timeline = session.recording.timeline
    source = timeline.sources[timeline.source_index[frame]]
    picture = fetch(source, float(timeline.time_s[frame]))
    if picture is None:
        return None
    operator = session.recording.tracks["operator"]
    heads = bystander_heads(session, frame, picture)
    safe = picture
    points = None
    if operator.found[frame]:
        points = np.nanmean(operator.picture_px[frame, :, :, :2], axis=0)
        safe = blur_outside(picture, outline(points, picture.shape[:2]))
    safe = blur_heads(safe, heads)
    own = head_of(operator, frame, picture.shape[0])
    if blur_operator and own is not None:
        safe = blur_heads(safe, [own])
    return safe if points is None else _cropped(drawn(safe, points), points)


def bystander_heads(session: Session, frame: int, picture: PictureArray) -> list[HeadRegion]:
    """Return the heads of everybody but the operator, by landmarks and by face."""
    height = picture.shape[0]
    own = head_of(session.recording.tracks["operator"], frame, height)
    seen = tracked_heads(session.recording, frame, height)
    return seen + [face for face in faces_in(picture) if not _is_same(face, own)]


def tracked_heads(recording: Recording, frame: int, height_px: int) -> list[HeadRegion]:
    """Return the heads of everybody but the operator whose landmarks are known; quick."""
    heads = []
    for role, track in recording.tracks.items():
        if role != "operator":
            seen = _nearest_seen(recording.timeline, track, frame)
            head = None if seen is None else head_of(track, seen, height_px)
            if head is not None:
                slack = 1.0 if seen == frame else SLACK
                heads.append(HeadRegion(head.x, head.y, head.radius * slack))
    return heads


def _nearest_seen(timeline: Timeline, track: PoseTrack, frame: int) -> int | None:
    same = timeline.source_index == timeline.source_index[frame]
    away = np.abs(timeline.time_s - timeline.time_s[frame])
    usable = np.flatnonzero(same & track.found & (away <= NEAR_S))
    return int(usable[np.argmin(away[usable])]) if usable.size else None


def _is_same(face: HeadRegion, own: HeadRegion | None) -> bool:
    return own is not None and float(np.hypot(face.x - own.x, face.y - own.y)) < own.radius


def outline(points: FloatArray, shape: tuple[int, ...]) -> BoolArray:
    """Return where the operator's body roughly is, array (row, column).

    Parameters
    ----------
    points : array (landmark, xy)
        The operator's landmarks. [px]
    shape : tuple of int
        Rows and columns of the picture.
    """
    import cv2

    mask = np.zeros(shape[:2], np.uint8)
    shoulders = points[[INDEX["shoulder_left"], INDEX["shoulder_right"]]]
    hips = points[[INDEX["hip_left"], INDEX["hip_right"]]]
    trunk = float(np.linalg.norm(shoulders.mean(axis=0) - hips.mean(axis=0)))
    thick = max(3, int(0.22 * trunk))
    for start, end in BONES:
        cv2.line(mask, _pixel(points[INDEX[start]]), _pixel(points[INDEX[end]]), 255, thick)
    body = cv2.convexHull(np.concatenate([shoulders, hips]).astype(np.int32))
    cv2.fillConvexPoly(mask, body, 255)
    head = points[: INDEX["mouth_right"] + 1].mean(axis=0)
    cv2.circle(mask, _pixel(head), int(0.27 * trunk), 255, -1)
    return np.asarray(mask > 0)


def drawn(picture: PictureArray, points: FloatArray) -> PictureArray:
    """Return the picture with the operator's landmarks, array (landmark, xy) in px, drawn in."""
    import cv2

    result = np.ascontiguousarray(picture)
    upper = points[: INDEX["hip_right"] + 1]
    thin = max(1, round(float(np.max(np.ptp(upper, axis=0))) / 110))
    for colour, width in ((_DARK, 2 * thin + 1), (_LIGHT, thin)):  # light line, dark rim
        for start, end in BONES:
            ends = _pixel(points[INDEX[start]]), _pixel(points[INDEX[end]])
            cv2.line(result, *ends, colour, width, cv2.LINE_AA)
    for name in {name for bone in BONES for name in bone}:
        cv2.circle(result, _pixel(points[INDEX[name]]), 2 * thin, _DARK, -1, cv2.LINE_AA)
        cv2.circle(result, _pixel(points[INDEX[name]]), thin, _LIGHT, -1, cv2.LINE_AA)
    return result


def _cropped(picture: PictureArray, points: FloatArray) -> PictureArray:
    """Return the part round the operator, at least ``NARROWEST`` as wide as it is high."""
    upper = points[: INDEX["knee_right"] + 1]
    low, high = upper.min(axis=0), upper.max(axis=0)
    reach = (high - low) / 2 + 0.18 * float(np.max(high - low))
    reach[0] = max(reach[0], NARROWEST * reach[1])
    height, width = picture.shape[:2]
    left, top = np.maximum((low + high) / 2 - reach, 0).astype(int)
    right, bottom = np.minimum((low + high) / 2 + reach, [width, height]).astype(int)
    return picture[top:bottom, left:right] if right - left > 40 < bottom - top else picture


def _pixel(point: FloatArray) -> tuple[int, int]:
    return round(float(point[0])), round(float(point[1]))


def data_uri(picture: PictureArray) -> str:
    """Return the picture as a JPEG inside a data URI, at most WIDEST_PX wide."""
    from PIL import Image

    image = Image.fromarray(picture)
    image.thumbnail((WIDEST_PX, 2 * WIDEST_PX))
    kept = io.BytesIO()
    image.save(kept, "JPEG", quality=82, optimize=True)
    return "data:image/jpeg;base64," + base64.b64encode(kept.getvalue()).decode("ascii")
