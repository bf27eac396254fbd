"""A person in the few measures by which people are told apart."""

from dataclasses import dataclass

import numpy as np

from ergo.arrays import FloatArray
from ergo.landmarks.names import INDEX
from ergo.landmarks.network import PoseEstimate

LYING_DEG = (
    52.0  # a trunk further off vertical lies: 67-80 % of patients, 0-2 % of operators (train)
)

TRUE_PER_NETWORK_SIZE = 1.18
"""Sizes of bodies over the network's metric guess, in our training scenes (ours)."""

BODY_POINTS = [
    INDEX[name]
    for name in (
        "nose",
        *(f"{part}_{side}" for part in ("ear", "elbow", "wrist") for side in ("left", "right")),
        *(f"{part}_{side}" for part in ("shoulder", "hip", "knee") for side in ("left", "right")),
    )
]
"""Landmarks that span a body, for its size and for how far apart two are."""


_SPREAD_JOINTS = 10  # the first of the joints: shoulders to knees


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """The few measures of a person that telling people apart needs.

    Attributes
    ----------
    head_px, hips_px : array (xy,)
        Middle of nose and ears; mid-hip. [px]
    hands_px : array (hand, xy)
        Knuckles of the index fingers. [px]
    trunk_px : float
        Length of the trunk in the picture, never less than half its true one. [px]
    px_per_m : float
        Scale of the person in the picture.
    left_way : array (across, away)
        The person's own left on the floor plan, length 1.
    lean_deg, lean_in_space_deg : float
        Trunk off vertical, in the picture and in the network's own metric guess. [deg]
    visibility : float
        Mean over all landmarks, 0..1.
    face_down, head_height : float
        Nose below the ears; head above the hands. In trunk lengths.
    """

    head_px: FloatArray
    hips_px: FloatArray
    hands_px: FloatArray
    trunk_px: float
    px_per_m: float
    left_way: FloatArray
    lean_deg: float
    lean_in_space_deg: float
    visibility: float
    face_down: float
    head_height: float

    @classmethod
    def of(cls, person: PoseEstimate) -> "Body":
        """Return the measures of a person as one look shows them."""
        points, world = person.picture_px[:, :2], person.world_m
        head = points[[INDEX["ear_left"], INDEX["ear_right"], INDEX["nose"]]].mean(0)
        hips = points[[INDEX["hip_left"], INDEX["hip_right"]]].mean(0)
        spine = points[[INDEX["shoulder_left"], INDEX["shoulder_right"]]].mean(0) - hips
        in_space = world[[INDEX["shoulder_left"], INDEX["shoulder_right"]]].mean(0)
        hands = points[[INDEX["index_left"], INDEX["index_right"]]]
        ears_down = points[[INDEX["ear_left"], INDEX["ear_right"]], 1].mean()
        length_m = float(np.linalg.norm(in_space))
        trunk_px = max(float(np.linalg.norm(spine)), 0.5 * _px_per_m(person) * length_m, 1.0)
        return cls(
            head_px=head,
            hips_px=hips,
            hands_px=hands,
            trunk_px=trunk_px,
            px_per_m=_px_per_m(person),
            left_way=_left_way(world),
            lean_deg=_off_vertical_deg(spine),
            lean_in_space_deg=_off_vertical_deg(in_space),
            visibility=float(np.mean(person.visibility)),
            face_down=float(np.clip((points[INDEX["nose"], 1] - ears_down) / trunk_px, -1, 1)),
            head_height=float(np.clip((hands[:, 1].mean() - head[1]) / trunk_px, -2, 2)),
        )


def body_size_px(points_px: FloatArray) -> float:
    """Return the longer side of the upright rectangle round a body.

    Parameters
    ----------
    points_px : array (landmark, xy or xyz)
        All 33 landmarks. [px]
    """
    return float(np.ptp(points_px[BODY_POINTS, :2], axis=0).max())


def joint_spread(person: PoseEstimate) -> float:
    """Return how unsurely the joints from shoulders to knees are placed.

    Returns
    -------
    float
        Median of one standard deviation, as a share of the body's size; NaN from a
        network without joints. Bodies that are none, cut or mixed from two have joints
        of large spread: true ones lie round .03.
    """
    if person.joints is None:
        return float("nan")
    spread_px = float(np.median(person.joints.spread[:_SPREAD_JOINTS]))
    return spread_px / max(body_size_px(person.picture_px), 1.0)


def _px_per_m(person: PoseEstimate) -> float:
    """Return the scale of a person in the picture, whatever the posture."""
    flat = person.world_m[:, :2] - person.world_m[:, :2].mean(0)
    seen = person.picture_px[:, :2] - person.picture_px[:, :2].mean(0)
    return float(np.sqrt((seen**2).sum() / max((flat**2).sum(), 1e-9))) + 1e-6


def _off_vertical_deg(spine: FloatArray) -> float:
    level = np.linalg.norm(np.delete(spine, 1))
    return float(np.degrees(np.arctan2(level, -spine[1])))


def _left_way(world_m: FloatArray) -> FloatArray:
    """Return array (across, away) of length 1: the person's own left on the floor plan."""
    pairs = (("shoulder_left", "shoulder_right"), ("hip_left", "hip_right"))
    way = sum(world_m[INDEX[left]] - world_m[INDEX[right]] for left, right in pairs)[[0, 2]]
    return np.asarray(way / (np.linalg.norm(way) + 1e-9))
