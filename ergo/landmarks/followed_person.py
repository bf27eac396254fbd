"""One person from frame to frame: where to look next, and whether it is still them."""

from dataclasses import dataclass, replace

import numpy as np

from ergo.arrays import FloatArray, PictureArray
from ergo.landmarks.names import INDEX
from ergo.landmarks.network import Box, Look
from ergo.landmarks.roles import Identified
from ergo.landmarks.runtime import picture_library

PRESENCE_FLOOR = 0.5  # BlazePose's own: below it the crop holds nobody
FARTHEST_JUMP = 0.5  # of the crop's side, between two frames that were looked at
MOST_GROWTH = 1.6  # of the crop's side, between two frames that were looked at
PATIENCE = 3  # frames in a row without the person before the place is given up
OTHER_COLOURS = 30.0  # colour difference at which half the belief in a face regained is lost
_PATCH_PX = 8


@dataclass(frozen=True, slots=True, eq=False)
class Followed:
    """What is known of a person who is being followed.

    Attributes
    ----------
    box : Box
        The crop for the next look.
    belief : float
        Belief that this is the person of the role, 0..1.
    right_handed : float
        Belief that the operator is right-handed, 0..1; NaN where not judged.
    misses : int
        Looks in a row in which the person was not seen.
    """

    box: Box
    belief: float
    right_handed: float = float("nan")
    misses: int = 0

    @classmethod
    def from_now(cls, person: Identified) -> "Followed":
        """Return what is known of somebody who was just told from the others."""
        return cls(person.look.next_box, person.belief, person.right_handed)

    def after(self, look: Look) -> "Followed | None":
        """Return what is known after a look; None once the place is given up."""
        if self.accepts(look):
            return replace(self, box=look.next_box, misses=0)
        missed = replace(self, misses=self.misses + 1)
        return missed if missed.misses < PATIENCE else None

    def accepts(self, look: Look) -> bool:
        """Return whether the look can show the same person as the one before."""
        before, now = self.box, look.next_box
        jump = np.hypot(now.x_px - before.x_px, now.y_px - before.y_px) / before.side_px
        growth = abs(float(np.log((now.side_px + 1e-6) / before.side_px)))
        return bool(
            look.presence >= PRESENCE_FLOOR
            and jump <= FARTHEST_JUMP
            and growth <= np.log(MOST_GROWTH)
        )


def trunk_colours(picture: PictureArray, look: Look) -> FloatArray:
    """Return array (colour,): the middle CIELAB colour of the clothes on the trunk."""
    cv2 = picture_library()
    corners = [INDEX[name] for name in ("shoulder_left", "shoulder_right", "hip_left")]
    sources = look.picture_px[corners, :2].astype(np.float32)
    goals = np.array([(0, 0), (_PATCH_PX, 0), (0, _PATCH_PX)], dtype=np.float32)
    to_patch = cv2.getAffineTransform(sources, goals)
    patch = cv2.warpAffine(
        picture, to_patch, (_PATCH_PX, _PATCH_PX), borderMode=cv2.BORDER_REPLICATE
    )
    lab = cv2.cvtColor(patch.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    return np.asarray(np.median(lab.reshape(-1, 3), axis=0), dtype=np.float64)


def likeness(one: FloatArray | None, other: FloatArray) -> float:
    """Return how well two colours agree, 0..1; 1 where the first is not known."""
    if one is None:
        return 1.0
    return float(0.5 ** ((np.linalg.norm(one - other) / OTHER_COLOURS) ** 2))


def distance_to_point(look: Look, at_px: tuple[float, float]) -> float:
    """Return how far a point lies from a person's nearest limb, in trunk lengths."""
    points = look.picture_px[:, :2]
    ways = [
        _way_to_bone(points[INDEX[one]], points[INDEX[other]], np.array(at_px))
        for one, other in _BONES
    ]
    trunk_px = np.linalg.norm(
        points[[INDEX["shoulder_left"], INDEX["shoulder_right"]]].mean(0)
        - points[[INDEX["hip_left"], INDEX["hip_right"]]].mean(0)
    )
    return min(ways) / (float(trunk_px) + 1.0)


_BONES = (
    ("shoulder_left", "shoulder_right"),
    ("hip_left", "hip_right"),
    ("shoulder_left", "hip_left"),
    ("shoulder_right", "hip_right"),
    ("shoulder_left", "hip_right"),
    ("shoulder_right", "hip_left"),
    ("shoulder_left", "elbow_left"),
    ("shoulder_right", "elbow_right"),
    ("elbow_left", "wrist_left"),
    ("elbow_right", "wrist_right"),
    ("hip_left", "knee_left"),
    ("hip_right", "knee_right"),
    ("ear_left", "ear_right"),
    ("nose", "ear_left"),
    ("nose", "shoulder_left"),
    ("nose", "shoulder_right"),
)


def _way_to_bone(one: FloatArray, other: FloatArray, at: FloatArray) -> float:
    along = other - one
    share = np.clip((at - one) @ along / (along @ along + 1e-9), 0, 1)
    return float(np.linalg.norm(at - one - share * along))
