"""Everybody in one picture, found by looking ever closer until enough is known.

First the whole picture is searched, then enlarged overlapping tiles of it. (Turned
pictures for the detector found nobody more in 110 training stills and are not
searched; a patient is told by :mod:`ergo.tracking.patient_detector`.)
Every find gets a second look by the landmark network on its own crop; cut
bodies, two bodies merged into one and repeated finds are dropped.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np

from ergo.arrays import FloatArray, PictureArray
from ergo.landmarks.names import INDEX
from ergo.landmarks.network import Box, PoseEstimate, PoseNetwork, Refinement, box_round
from ergo.landmarks.runtime import bundle_path, people_library, quiet_native
from ergo.tracking.body import BODY_POINTS, LYING_DEG, Body, body_size_px
from ergo.tracking.patient_detector import box_at_hands, lying_look

MOST_PEOPLE = 4  # in one view of the picture
DETECTION_FLOOR = 0.1  # finds more people than .3 (train); the second look drops the rest
PRESENCE_FLOOR = 0.8  # of the second look; 95 % of true people lie above .96 (train)
SETTLED_SHARE = 0.06  # of the body's size: true bodies move less by another look (95 %, train)
MOST_LOOKS = 2  # in which a body has to settle
SAME_BODY_SHARE = 0.25  # of the body's size: nearer landmarks belong to one person
REPEAT_SHARE = 0.08  # nearer finds of first looks are one and the same
MOST_SEARCHED_PIXELS = 9_000_000
"""Larger views are searched smaller; the search itself sees 224 px, its looks 256 px (ours)."""
ENLARGED = 1.6  # tiles are this much smaller than the picture
_CIRCLE = 1.9  # radius of the circle round a person, in trunk lengths, to start from
_TRUNK = [INDEX[f"{part}_{side}"] for part in ("shoulder", "hip") for side in ("left", "right")]

Enough = Callable[[Sequence[PoseEstimate]], bool]
LookAt = Callable[[PictureArray, Box, Refinement], PoseEstimate]


LOOKS_AT_ONCE = 2  # looks that threads may take beside each other


@cache
def _network() -> PoseNetwork:
    """Return the one landmark network, compiled once for the whole program."""
    return PoseNetwork("heavy", at_once=LOOKS_AT_ONCE)


class PeopleFinder:
    """Finds all people in a picture and looks at one; close it when done."""

    def __init__(self) -> None:
        self._network = _network()
        self._landmarker, self._as_image = _landmarker()

    def close(self) -> None:
        """Give the detector back (at the end of the program it would be too late)."""
        with quiet_native():
            self._landmarker.close()

    def look(
        self, picture: PictureArray, box: Box, refinement: Refinement = "once"
    ) -> PoseEstimate:
        """Return what the landmark network sees in one crop; threads may do this."""
        if refinement == "lying":
            return lying_look(self._network, picture, box)
        look = self._network.look(picture, box)
        if refinement == "once" or look.joints is None:
            return look
        is_mirrored_too = refinement == "closer, mirrored too"
        joints = self._network.closer_joints(
            picture, box, look.joints, is_mirrored_too=is_mirrored_too
        )
        return replace(look, joints=joints)

    def find(
        self,
        picture: PictureArray,
        enough: Enough | None = None,
        known: Sequence[PoseEstimate] = (),
    ) -> list[PoseEstimate]:
        """Return one look per person, those seen best first, each with who lies at the hands.

        Parameters
        ----------
        picture : array (row, column, rgb)
        enough : callable, optional
            Told the people found so far after each stage; no further stage is
            tried once it says True. Without it, only the whole picture is searched.
        known : sequence of PoseEstimate
            Who was looked at in this picture already, and need not be again.
        """
        people = list(known)
        for stage in (_whole, _tiles):
            bodies = [
                view.in_picture(body) for view in stage(picture) for body in self._first_look(view)
            ]
            seen = [person.picture_px for person in people]
            boxes = [_box_from_trunk(body) for body in _new_bodies(bodies, seen)]
            people = self._with_settled(picture, people, boxes)
            if enough is None or enough(people):
                break
        return people

    def _with_settled(
        self, picture: PictureArray, people: Sequence[PoseEstimate], boxes: Sequence[Box]
    ) -> list[PoseEstimate]:
        """Return the people and whoever else is seen in any of the crops."""
        looks = [self._settled(picture, box) for box in boxes]
        found = distinct([*people, *(look for look in looks if look is not None)])
        return [with_hands(self.look, picture, person) for person in found]

    def _first_look(self, view: "_View") -> list[FloatArray]:
        """Return one array (landmark, xy) per find, in px of the view."""
        height, width = view.picture.shape[:2]
        with quiet_native():
            found = self._landmarker.detect(self._as_image(_searchable(view.picture)))
        return [
            np.array([(point.x * width, point.y * height) for point in points])
            for points in found.pose_landmarks
        ]

    def _settled(self, picture: PictureArray, box: Box) -> PoseEstimate | None:
        """Return what the network sees in a crop when it keeps to it, else None.

        A true body is seen in the same place again by a look that starts from
        the look before; a mixture of two bodies, or a cut one, wanders.
        """
        before = self._network.look(picture, box)
        if before.presence < DETECTION_FLOOR:
            return None
        for _ in range(MOST_LOOKS):
            now = self._network.look(picture, before.next_box)
            if now.presence < PRESENCE_FLOOR:
                return None
            if body_distance(before.picture_px, now.picture_px) <= SETTLED_SHARE:
                return now
            before = now
        return None


def with_hands(look: LookAt, picture: PictureArray, person: PoseEstimate) -> PoseEstimate:
    """Return a person together with who lies at the hands; who lies has nobody there."""
    if person.at_hands is not None or Body.of(person).lean_deg > LYING_DEG:
        return person
    return replace(person, at_hands=look(picture, box_at_hands(person), "lying"))


def distinct(people: Sequence[PoseEstimate]) -> list[PoseEstimate]:
    """Return the people without repeats; of two looks at one body the better stays."""
    kept: list[PoseEstimate] = []
    for person in sorted(people, key=_quality, reverse=True):
        if all(
            body_distance(person.picture_px, other.picture_px) > SAME_BODY_SHARE for other in kept
        ):
            kept.append(person)
    return kept


def body_distance(one_px: FloatArray, other_px: FloatArray) -> float:
    """Return how far apart two bodies lie, as a share of the smaller one's size.

    Parameters
    ----------
    one_px, other_px : array (landmark, xy or xyz)
        All 33 landmarks. [px]
    """
    apart = np.linalg.norm(one_px[BODY_POINTS, :2] - other_px[BODY_POINTS, :2], axis=1)
    return float(np.median(apart)) / max(min(body_size_px(one_px), body_size_px(other_px)), 1.0)


def _quality(person: PoseEstimate) -> float:
    return person.presence * float(np.mean(person.visibility[BODY_POINTS]))


def _new_bodies(bodies: Sequence[FloatArray], known: Sequence[FloatArray]) -> list[FloatArray]:
    """Return the bodies that are neither known nor a repeat of one before."""
    new: list[FloatArray] = []
    for body in bodies:
        if all(body_distance(body, other) > REPEAT_SHARE for other in (*known, *new)):
            new.append(body)
    return new


@dataclass(frozen=True, slots=True, eq=False)
class _View:
    """A part of the picture, and where it lies.

    Attributes
    ----------
    picture : array (row, column, rgb)
    left, top : int
        Its corner in the whole picture. [px]
    """

    picture: PictureArray
    left: int = 0
    top: int = 0

    def in_picture(self, points: FloatArray) -> FloatArray:
        """Return points of the view, array (landmark, xy), in the whole picture. [px]."""
        return points + (self.left, self.top)


def _whole(picture: PictureArray) -> Iterator[_View]:
    yield _View(picture)


def _tiles(picture: PictureArray) -> Iterator[_View]:
    height, width = picture.shape[:2]
    down, across = round(height / ENLARGED), round(width / ENLARGED)
    for top in (0, height - down):
        for left in (0, (width - across) // 2, width - across):
            yield _View(picture[top : top + down, left : left + across], left, top)


def _searchable(picture: PictureArray) -> PictureArray:
    """Return a picture as it is searched: the library copies it twice, so none that is huge."""
    height, width = picture.shape[:2]
    scale = (MOST_SEARCHED_PIXELS / (height * width)) ** 0.5
    if scale < 1:
        import cv2

        small = (max(1, round(scale * width)), max(1, round(scale * height)))
        picture = np.asarray(cv2.resize(picture, small, interpolation=cv2.INTER_AREA), np.uint8)
    return np.ascontiguousarray(picture)


def _box_from_trunk(body_px: FloatArray) -> Box:
    shoulders, hips = body_px[_TRUNK[:2]].mean(0), body_px[_TRUNK[2:]].mean(0)
    return box_round(hips, hips + _CIRCLE * (shoulders - hips))


def _landmarker() -> tuple[Any, Callable[[PictureArray], Any]]:
    """Return the Tasks API's landmarker and what makes a picture into its image."""
    vision = people_library()
    import mediapipe

    def as_image(picture: PictureArray) -> Any:
        return mediapipe.Image(image_format=mediapipe.ImageFormat.SRGB, data=picture)

    with quiet_native():
        landmarker = vision.PoseLandmarker.create_from_options(
            vision.PoseLandmarkerOptions(
                base_options=mediapipe.tasks.BaseOptions(model_asset_path=str(bundle_path("full"))),
                num_poses=MOST_PEOPLE,
                min_pose_detection_confidence=DETECTION_FLOOR,
                min_pose_presence_confidence=DETECTION_FLOOR,
            )
        )
    return landmarker, as_image
