"""The landmark network on one crop: where the 33 points lie, by one forward pass.

The conventions are those of BlazePose (Bazarevsky V et al. 2020,
arXiv:2006.10204) as MediaPipe's own graphs apply them; a test holds this module
against the Tasks API.
"""

import threading
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from scipy.special import expit

from ergo.arrays import FloatArray, PictureArray
from ergo.landmarks.joints import JOINTS, Joints, joint_branch, joints_of, lying_of
from ergo.landmarks.names import INDEX, LANDMARKS
from ergo.landmarks.runtime import (
    LANDMARK_MEMBER,
    NetworkKind,
    bundle_member,
    compile_network,
    picture_library,
)

Refinement = Literal["once", "closer", "closer, mirrored too", "lying"]
"""How joints are looked for: in the crop; in the upper body again; in mirror images of both too;
or those of who lies at somebody's hands."""

INPUT_PX = 256
HEAT_PX = 64
POINTS = 39  # 33 landmarks, then mid-hip, the circle point above it, four more unused
BOX_SCALE = 1.25  # the crop against the circle round the person, as trained
_NEAR = 3  # half the 7 x 7 window in which a heat map refines its point
_HEAT_FLOOR = 0.5  # heat below which a point is left where the network put it
_OUTPUTS = ("Identity", "Identity_1", "Identity_3", "Identity_4")
FEEDING = ("Identity_3", "Identity")  # heat maps come from texture, points from the impression
_BRANCHED: NetworkKind = "heavy"  # the network that the branch of joints grows on


def _other_side(name: str) -> str:
    return name.replace("left", "right") if "left" in name else name.replace("right", "left")


_MIRROR = np.array([INDEX[_other_side(name)] for name in LANDMARKS])
MIRRORED_JOINTS = np.array([JOINTS.index(_other_side(name)) for name in JOINTS])
_SHOULDERS, _EARS = (
    [JOINTS.index(f"{stem}_{side}") for side in ("left", "right")] for stem in ("shoulder", "ear")
)
_IMPRESSION_AT, _JOINTS_AT = len(_OUTPUTS), len(_OUTPUTS) + 1
CLOSER, CLOSER_TO_HEAD = 0.52, 0.45  # of the whole crop's side; from the shoulders to the ears


@dataclass(frozen=True, slots=True)
class Box:
    """A square crop round one person, turned so that the person stands upright in it.

    Attributes
    ----------
    x_px, y_px : float
        Its centre in the upright picture. [px]
    side_px : float
        Length of a side. [px]
    angle_rad : float
        How far the person's axis (mid-hip to head) is turned clockwise, as
        seen in the picture, from pointing up. [rad]
    """

    x_px: float
    y_px: float
    side_px: float
    angle_rad: float


@dataclass(frozen=True, slots=True, eq=False)
class PoseEstimate:
    """What the network saw in one crop.

    Attributes
    ----------
    picture_px : array (landmark, xyz)
        x to the right, y down in the whole picture, z away from the camera
        relative to mid-hip in the same scale. [px]
    world_m : array (landmark, xyz)
        The network's own metric guess, origin mid-hip, axes as the picture's. [m]
    visibility : array (landmark,)
        Belief that the landmark is in view, 0..1.
    presence : float
        Belief that there is a person in the crop, 0..1.
    next_box : Box
        The crop that these landmarks ask for, for a second look or the next frame.
    joints : Joints or None
        Joint centres of :data:`ergo.landmarks.joints.JOINTS`, axes as of
        ``picture_px``; None from a network without a branch for them. [px]
    impression : array (feature,) or None
        What the network makes its points from: the whole crop in some thousand
        numbers, by which roles are told apart; of the crop as it was shown.
    at_hands : PoseEstimate or None
        Who lies at the hands, as :mod:`ergo.tracking.patient_detector` tells; None where
        nobody was looked for there.
    """

    picture_px: FloatArray
    world_m: FloatArray
    visibility: FloatArray
    presence: float
    next_box: Box
    joints: Joints | None = None
    impression: FloatArray | None = None
    at_hands: "PoseEstimate | None" = None


def box_round(centre_px: FloatArray, top_px: FloatArray) -> Box:
    """Return the crop for a person's mid-hip and a point on the circle round the person.

    Parameters
    ----------
    centre_px, top_px : array (xy,)
        Mid-hip; the point of the circle that lies along the spine. [px]
    """
    right, down = (float(value) for value in top_px[:2] - centre_px[:2])
    side = 2 * float(np.hypot(right, down)) * BOX_SCALE
    return Box(float(centre_px[0]), float(centre_px[1]), side, float(np.arctan2(right, -down)))


class PoseNetwork:
    """One landmark network, ready to look; threads may share it.

    Parameters
    ----------
    kind : str
        ``"heavy"`` or ``"full"``.
    at_once : int
        Looks that may run beside each other, in threads of the caller.
    """

    def __init__(self, kind: NetworkKind, at_once: int = 1) -> None:
        self.kind = kind
        network = bundle_member(kind, LANDMARK_MEMBER)
        feeding, branch = (FEEDING, joint_branch) if kind == _BRANCHED else ((), None)
        self._compiled: Any = compile_network(network, _OUTPUTS, at_once, feeding, branch)
        self._of_thread = threading.local()

    def look(self, picture: PictureArray, box: Box, *, mirrored: bool = False) -> PoseEstimate:
        """Return what the network sees in one crop of a picture.

        Parameters
        ----------
        picture : array (row, column, rgb)
            The whole upright picture.
        box : Box
            The crop.
        mirrored : bool
            Show the network the mirror image of the crop; the answer is
            mirrored back, left and right again the person's own.
        """
        crop = crop_of(picture, box)
        request = self._shown(crop[:, ::-1] if mirrored else crop)
        points, presence, heat, world = (_numbers(request, at) for at in range(len(_OUTPUTS)))
        points, world = points.reshape(POINTS, 5), world.reshape(POINTS, 3)
        points[:, :3] /= INPUT_PX
        points[:, :2] = _refined(points[:, :2], heat[0])
        if mirrored:
            points, world = _mirrored_back(points, world)
        picture_px = _in_picture(points[:, :3], box)
        world_m = world.copy()
        world_m[:, :2] = world[:, :2] @ _turn(box).T
        body = len(LANDMARKS)
        look = PoseEstimate(
            picture_px[:body],
            world_m[:body],
            expit(points[:body, 3]),
            float(presence.ravel()[0]),
            box_round(picture_px[body, :2], picture_px[body + 1, :2]),
        )
        if self.kind != _BRANCHED:
            return look
        joints = _joints_in_picture(joints_of(_numbers(request, _JOINTS_AT).ravel()), box, mirrored)
        return replace(look, joints=joints, impression=_numbers(request, _IMPRESSION_AT).ravel())

    def closer_joints(
        self, picture: PictureArray, box: Box, joints: Joints, *, is_mirrored_too: bool = False
    ) -> Joints:
        """Return a person's joints after a closer look at the upper body.

        Parameters
        ----------
        picture : array (row, column, rgb)
        box : Box
            The crop of the whole person.
        joints : Joints
            What was seen in it. [px]
        is_mirrored_too : bool
            Look at the mirror images of both crops too, and take the means.
        """
        closer = upper_body_box(box, joints)
        near = self._joints(picture, closer, is_mirrored=False)
        if is_mirrored_too:
            joints = mean_of(joints, self._joints(picture, box, is_mirrored=True))
            near = mean_of(near, self._joints(picture, closer, is_mirrored=True))
        return joined(joints, near)

    def lying_joints(self, picture: PictureArray, box: Box) -> tuple[Joints, float]:
        """Return the joints of who lies in an upright crop [px], and the belief that one does."""
        request = self._shown(crop_of(picture, box))
        joints, presence = lying_of(_numbers(request, _JOINTS_AT).ravel())
        return _joints_in_picture(joints, box, is_mirrored=False), presence

    def _joints(self, picture: PictureArray, box: Box, *, is_mirrored: bool) -> Joints:
        crop = crop_of(picture, box)
        request = self._shown(crop[:, ::-1] if is_mirrored else crop)
        answer = joints_of(_numbers(request, _JOINTS_AT).ravel())
        return _joints_in_picture(answer, box, is_mirrored)

    def _shown(self, crop: PictureArray) -> Any:
        """Return the request of this thread after it has looked at a crop."""
        if not hasattr(self._of_thread, "request"):
            self._of_thread.request = self._compiled.create_infer_request()
        self._of_thread.request.infer([(crop.astype(np.float32) / 255.0)[None]])
        return self._of_thread.request


def _numbers(request: Any, at: int) -> FloatArray:
    return np.array(request.get_output_tensor(at).data, dtype=np.float64)


def crop_of(picture: PictureArray, box: Box, size_px: int = INPUT_PX) -> PictureArray:
    """Return the crop as array (size_px, size_px, rgb), upright, edges repeated outside."""
    corners = np.array([(0, size_px), (0, 0), (size_px, 0)], dtype=np.float32)
    places = np.array([(-0.5, 0.5), (-0.5, -0.5), (0.5, -0.5)])
    sources = places * box.side_px @ _turn(box).T + (box.x_px, box.y_px)
    cv2 = picture_library()
    to_crop = cv2.getAffineTransform(sources.astype(np.float32), corners)
    cropped = cv2.warpAffine(
        picture,
        to_crop,
        (size_px, size_px),
        flags=cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(cropped, dtype=np.uint8)


def _turn(box: Box) -> FloatArray:
    """Return array (xy, xy) that turns crop directions into picture directions."""
    cosine, sine = np.cos(box.angle_rad), np.sin(box.angle_rad)
    return np.array([(cosine, -sine), (sine, cosine)])


def _in_picture(points: FloatArray, box: Box) -> FloatArray:
    """Return crop points (x, y from 0 to 1, z alike) as array (point, xyz) [px]."""
    placed = points * box.side_px
    placed[:, :2] = (points[:, :2] - 0.5) * box.side_px @ _turn(box).T + (box.x_px, box.y_px)
    return placed


def _joints_in_picture(joints: Joints, box: Box, is_mirrored: bool) -> Joints:
    """Return joints of a crop, mirrored back, in the picture. [px]."""
    place, spread, deep_spread = joints.place, joints.spread, joints.deep_spread
    if is_mirrored:
        place = joints_mirrored(place)
        spread, deep_spread = spread[MIRRORED_JOINTS], deep_spread[MIRRORED_JOINTS]
    side = box.side_px
    return Joints(_in_picture(place + (0.5, 0.5, 0.0), box), spread * side, deep_spread * side)


def upper_body_box(box: Box, joints: Joints) -> Box:
    """Return the crop of a closer look: head, shoulders and most of the arms."""
    shoulders, ears = joints.place[_SHOULDERS, :2].mean(0), joints.place[_EARS, :2].mean(0)
    right, down = (1 - CLOSER_TO_HEAD) * shoulders + CLOSER_TO_HEAD * ears
    return Box(float(right), float(down), CLOSER * box.side_px, box.angle_rad)


def mean_of(one: Joints, other: Joints) -> Joints:
    """Return the mean of joints seen twice; their errors go together, so spreads do not shrink."""
    return Joints(
        (one.place + other.place) / 2,
        (one.spread + other.spread) / 2,
        (one.deep_spread + other.deep_spread) / 2,
    )


def joined(whole: Joints, closer: Joints) -> Joints:
    """Return joints seen twice, each weighed by how sure it is in either look.

    Depths in the closer look count from mid-hip, which it hardly sees: they
    are first moved so that head and shoulders agree.
    """
    upper = [*_SHOULDERS, *_EARS]
    moved = closer.place.copy()
    moved[:, 2] += (whole.place[upper, 2] - closer.place[upper, 2]).mean()
    flat = np.stack([whole.spread, closer.spread]) ** -2.0
    deep = np.stack([whole.deep_spread, closer.deep_spread]) ** -2.0
    weights = np.stack([flat, flat, deep], axis=-1)
    place = (np.stack([whole.place, moved]) * weights).sum(0) / weights.sum(0)
    # both looks see the same picture: their errors go together, so the surer one's spread stays
    return Joints(
        place,
        np.minimum(whole.spread, closer.spread),
        np.minimum(whole.deep_spread, closer.deep_spread),
    )


def joints_mirrored(place: FloatArray) -> FloatArray:
    """Return joints (joint, xyz) in a crop as in the mirrored crop, left and right exchanged."""
    mirrored: FloatArray = place[MIRRORED_JOINTS] * (-1.0, 1.0, 1.0)
    return mirrored


def _mirrored_back(points: FloatArray, world: FloatArray) -> tuple[FloatArray, FloatArray]:
    order = np.arange(POINTS)
    order[: len(_MIRROR)] = _MIRROR
    points, world = points[order], world[order]
    points[:, 0] = 1 - points[:, 0]
    world[:, 0] = -world[:, 0]
    return points, world


def _refined(places: FloatArray, heat: FloatArray) -> FloatArray:
    """Return points drawn to the middle of the heat round them.

    Parameters
    ----------
    places : array (point, xy)
        From 0 to 1 across the crop.
    heat : array (row, column, point)
        Logits.
    """
    x, y = places.T * HEAT_PX
    in_map = (x >= 0) & (y >= 0) & (x < HEAT_PX) & (y < HEAT_PX)
    steps = np.arange(-_NEAR, _NEAR + 1)
    rows, columns = (np.floor(at).astype(int)[:, None] + steps for at in (y, x))
    inside = [(cells >= 0) & (cells < HEAT_PX) for cells in (rows, columns)]
    points = np.arange(len(places))[:, None, None]
    near = heat[
        np.where(inside[0], rows, 0)[:, :, None], np.where(inside[1], columns, 0)[:, None], points
    ]
    warmth = np.where(inside[0][:, :, None] & inside[1][:, None], expit(near), 0.0)
    is_warm = in_map & (warmth.max(axis=(1, 2)) >= _HEAT_FLOOR)
    across, down = (warmth.sum(1) * columns).sum(1), (warmth.sum(2) * rows).sum(1)
    total = warmth.sum(axis=(1, 2)) * HEAT_PX
    refined = places.copy()
    refined[is_warm] = (np.stack([across, down]) / np.where(is_warm, total, 1.0)).T[is_warm]
    return refined
