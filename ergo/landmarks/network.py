"""The landmark network on one crop: where the 33 points lie, by one forward pass.

The conventions are those of BlazePose (Bazarevsky V et al. 2020,
arXiv:2006.10204) as MediaPipe's own graphs apply them; a test holds this module
against the Tasks API.
"""

import threading
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import expit

from ergo.arrays import FloatArray, PictureArray
from ergo.landmarks.names import INDEX, LANDMARKS
from ergo.landmarks.refine import JOINTS, Glimpse, Joints, joints_in
from ergo.landmarks.runtime import (
    LANDMARK_MEMBER,
    NetworkKind,
    bundle_member,
    compile_network,
    picture_library,
)

INPUT_PX = 256
HEAT_PX = 64
POINTS = 39  # 33 landmarks, then mid-hip, the circle point above it, four more unused
BOX_SCALE = 1.25  # the crop against the circle round the person, as trained
_NEAR = 3  # half the 7 x 7 window in which a heat map refines its point
_HEAT_FLOOR = 0.5  # heat below which a point is left where the network put it
_OUTPUTS = ("Identity", "Identity_1", "Identity_3", "Identity_4")
_FEEDING = ("Identity_3", "Identity")  # heat maps come from texture, points from the impression
_REFINED: NetworkKind = "heavy"  # the network whose texture the refiner knows


def _other_side(name: str) -> str:
    return name.replace("left", "right") if "left" in name else name.replace("right", "left")


_MIRROR = np.array([INDEX[_other_side(name)] for name in LANDMARKS])
_JOINTS_MIRROR = np.array([JOINTS.index(_other_side(name)) for name in JOINTS])


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
class Look:
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
    joint_px : array (joint, xyz) or None
        Refined joint centres of :data:`ergo.landmarks.refine.JOINTS`, axes as of
        ``picture_px``; None from a network that has no refiner. [px]
    joint_sd_px : array (joint,) or None
        One standard deviation of each, in the picture, per axis. [px]
    impression : array (feature,) or None
        What the network makes its points from: the whole crop in some thousand
        numbers, by which roles are told apart; of the crop as it was shown.
    """

    picture_px: FloatArray
    world_m: FloatArray
    visibility: FloatArray
    presence: float
    next_box: Box
    joint_px: FloatArray | None = None
    joint_sd_px: FloatArray | None = None
    impression: FloatArray | None = None


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
        feeding = _FEEDING if kind == _REFINED else ()
        self._compiled: Any = compile_network(network, _OUTPUTS, at_once, feeding)
        self._of_thread = threading.local()

    def look(self, picture: PictureArray, box: Box, *, mirrored: bool = False) -> Look:
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
        points, presence, heat, world, texture = self._answer(crop[:, ::-1] if mirrored else crop)
        raw_places = points[:, :2].copy()
        points[:, :2] = _refined(raw_places, heat)
        joints = None
        if texture is not None:
            joints = joints_in(_glimpse(points, raw_places, world, heat, texture))
            if mirrored:
                joints = Joints(joints_mirrored(joints.place), joints.spread[_JOINTS_MIRROR])
        if mirrored:
            points, world = _mirrored_back(points, world)
        picture_px = _in_picture(points[:, :3], box)
        turn = _turn(box)
        world_m = world.copy()
        world_m[:, :2] = world[:, :2] @ turn.T
        body = len(LANDMARKS)
        return Look(
            picture_px[:body],
            world_m[:body],
            expit(points[:body, 3]),
            presence,
            box_round(picture_px[body, :2], picture_px[body + 1, :2]),
            None if joints is None else _in_picture(joints.place + _TO_CORNER, box),
            None if joints is None else joints.spread * box.side_px,
            self._impression(),
        )

    def glimpse(self, crop: PictureArray) -> Glimpse:
        """Return what the refiner is given for one crop, as it is shown; heavy network only."""
        points, _, heat, world, texture = self._answer(crop)
        if texture is None:
            raise ValueError(f"the {self.kind} network has no refiner")
        raw_places = points[:, :2].copy()
        points[:, :2] = _refined(raw_places, heat)
        return _glimpse(points, raw_places, world, heat, texture)

    def _answer(
        self, crop: PictureArray
    ) -> tuple[FloatArray, float, FloatArray, FloatArray, FloatArray | None]:
        shown = (crop.astype(np.float32) / 255.0)[None]
        request = self._request()
        request.infer([shown])
        points, presence, heat, world = (
            np.array(request.get_output_tensor(position).data, dtype=np.float64)
            for position in range(len(_OUTPUTS))
        )
        points = points.reshape(POINTS, 5)
        points[:, :3] /= INPUT_PX
        texture = None
        if self.kind == _REFINED:
            texture = np.array(request.get_output_tensor(len(_OUTPUTS)).data[0], dtype=np.float64)
        return points, float(presence.ravel()[0]), heat[0], world.reshape(POINTS, 3), texture

    def _impression(self) -> FloatArray | None:
        """Return array (feature,) of this thread's last answer, None without a refiner."""
        if self.kind != _REFINED:
            return None
        tensor = self._request().get_output_tensor(len(_OUTPUTS) + 1)
        return np.array(tensor.data, dtype=np.float64).ravel()

    def _request(self) -> Any:
        """Return this thread's own place to put pictures and fetch answers."""
        if not hasattr(self._of_thread, "request"):
            self._of_thread.request = self._compiled.create_infer_request()
        return self._of_thread.request


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


_TO_CORNER = np.array([0.5, 0.5, 0.0])


def _glimpse(
    points: FloatArray,
    raw_places: FloatArray,
    world: FloatArray,
    heat: FloatArray,
    texture: FloatArray,
) -> Glimpse:
    """Return the crop as it was shown, for the refiner."""
    body = len(LANDMARKS)
    return Glimpse(
        place=points[:body, :2] - 0.5,
        raw_place=raw_places[:body] - 0.5,
        world_m=world[:body],
        seen=points[:body, 3],
        heat=heat,
        texture=texture,
    )


def in_crop(points_px: FloatArray, box: Box) -> FloatArray:
    """Return points of the picture (point, xyz) [px] as the refiner's, in crops from its middle."""
    placed: FloatArray = points_px / box.side_px
    placed[:, :2] = (points_px[:, :2] - (box.x_px, box.y_px)) @ _turn(box) / box.side_px
    return placed


def joints_mirrored(place: FloatArray) -> FloatArray:
    """Return joints (joint, xyz) in a crop as in the mirrored crop, left and right exchanged."""
    mirrored: FloatArray = place[_JOINTS_MIRROR] * (-1.0, 1.0, 1.0)
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
    refined = places.copy()
    for point, (across, down) in enumerate(places * HEAT_PX):
        column, row = int(across), int(down)
        if not (0 <= column < HEAT_PX and 0 <= row < HEAT_PX):
            continue
        rows = np.arange(max(0, row - _NEAR), min(HEAT_PX, row + _NEAR + 1))
        columns = np.arange(max(0, column - _NEAR), min(HEAT_PX, column + _NEAR + 1))
        warmth = expit(heat[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1, point])
        if warmth.max() >= _HEAT_FLOOR:
            refined[point] = (warmth.sum(0) @ columns, warmth.sum(1) @ rows)
            refined[point] /= warmth.sum() * HEAT_PX
    return refined
