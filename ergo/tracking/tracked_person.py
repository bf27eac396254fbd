"""One person from frame to frame: where to look next, and whether it is still them."""

from dataclasses import dataclass, replace

import numpy as np

from ergo.arrays import FloatArray, PictureArray
from ergo.landmarks.names import INDEX
from ergo.landmarks.network import Box, PoseEstimate
from ergo.landmarks.runtime import picture_library
from ergo.tracking.body import joint_spread
from ergo.tracking.roles import Identified

PRESENCE_FLOOR = 0.5  # BlazePose's own: below it the crop holds nobody
FARTHEST_JUMP = 0.5  # of the crop's side, between two frames that were looked at
MOST_GROWTH = 1.6  # of the crop's side, between two frames that were looked at
PATIENCE = 3  # frames in a row without the person before the place is given up
OTHER_COLOURS = 30.0  # colour difference at which half the belief in a face regained is lost
STILL = 0.08  # of the crop's side: who moves less until the next look is not moving on (ours)
LONGEST_AHEAD_S = 1.0  # that a way is foreseen, and that a step may take to tell how somebody moves
OFF_CENTRE = 0.12  # of the crop's side, between a crop and its person: looked at once more (ours)
UNSURE_SPREAD = 0.12  # of the joints, as a share of the body's size: looked at once more (ours)
WIDEST_SPREAD = 0.25  # the same: there is no body (ours; true bodies lie round .03)
_PATCH_PX = 8


@dataclass(frozen=True, slots=True, eq=False)
class TrackedPerson:
    """What is known of a person who is being followed.

    Attributes
    ----------
    box : Box
        The crop that the last look asked for, where the person was then.
    belief : float
        Belief that this is the person of the role, 0..1.
    right_handed : float
        Belief that the operator is right-handed, 0..1; NaN where not judged.
    misses : int
        Looks in a row in which the person was not seen.
    seen_s : float
        Time of the last look in which the person was seen; NaN where none is known. [s]
    velocity_px_s : tuple of float (x, y)
        How the middle of the crop has been moving. [px/s]
    """

    box: Box
    belief: float
    right_handed: float = float("nan")
    misses: int = 0
    seen_s: float = float("nan")
    velocity_px_s: tuple[float, float] = (0.0, 0.0)

    @classmethod
    def from_now(cls, person: Identified, time_s: float = float("nan")) -> "TrackedPerson":
        """Return what is known of somebody who was just told from the others."""
        return cls(person.look.next_box, person.belief, person.right_handed, seen_s=time_s)

    def box_at(self, time_s: float) -> Box:
        """Return the crop for a look at a time: where the person will have moved to.

        Who moves less than :data:`STILL` crops until then keeps the crop of the last look:
        a seated person's small movements are no way to go on.
        """
        ahead_s = min(max(time_s - self.seen_s, 0.0), LONGEST_AHEAD_S)
        if not np.isfinite(ahead_s):
            return self.box
        across, down = (ahead_s * speed for speed in self.velocity_px_s)
        if np.hypot(across, down) < STILL * self.box.side_px:
            return self.box
        return replace(self.box, x_px=self.box.x_px + across, y_px=self.box.y_px + down)

    def after(self, look: PoseEstimate, time_s: float) -> "TrackedPerson | None":
        """Return what is known after a look; None once the place is given up."""
        if self.accepts(look, time_s):
            velocity = self._velocity_by(look.next_box, time_s)
            return replace(self, box=look.next_box, misses=0, seen_s=time_s, velocity_px_s=velocity)
        missed = replace(self, misses=self.misses + 1)
        return missed if missed.misses < PATIENCE else None

    def accepts(self, look: PoseEstimate, time_s: float) -> bool:
        """Return whether the look can show the same person as the one before."""
        before, now = self.box_at(time_s), look.next_box
        growth = abs(float(np.log((now.side_px + 1e-6) / before.side_px)))
        return bool(
            look.presence >= PRESENCE_FLOOR
            and not joint_spread(look) > WIDEST_SPREAD
            and way_between(before, now) <= FARTHEST_JUMP
            and growth <= np.log(MOST_GROWTH)
        )

    def _velocity_by(self, now: Box, time_s: float) -> tuple[float, float]:
        """Return the velocity so far and that of the latest step, in equal parts. [px/s]."""
        step_s = time_s - self.seen_s
        if not 0 < step_s <= LONGEST_AHEAD_S:
            return (0.0, 0.0)
        across, down = now.x_px - self.box.x_px, now.y_px - self.box.y_px
        before_x, before_y = self.velocity_px_s
        return ((before_x + across / step_s) / 2, (before_y + down / step_s) / 2)


def way_between(one: Box, other: Box) -> float:
    """Return how far the middles of two crops lie apart, in sides of the first."""
    return float(np.hypot(other.x_px - one.x_px, other.y_px - one.y_px) / one.side_px)


def must_look_again(look: PoseEstimate, box: Box) -> bool:
    """Return whether a look was too far off its person, or too unsure, to be the only one."""
    return way_between(box, look.next_box) > OFF_CENTRE or joint_spread(look) > UNSURE_SPREAD


def surer(one: PoseEstimate, other: PoseEstimate) -> PoseEstimate:
    """Return the look whose joints are placed more surely; the second where none has joints."""
    return one if joint_spread(one) < joint_spread(other) else other


def trunk_colours(picture: PictureArray, look: PoseEstimate) -> FloatArray:
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


def distance_to_point(look: PoseEstimate, at_px: tuple[float, float]) -> float:
    """Return how far a point lies from a person's nearest limb, in trunk lengths."""
    return way_to_body(look.picture_px[:, :2], np.array(at_px))


def way_to_body(points_px: FloatArray, at_px: FloatArray) -> float:
    """Return how far a point lies from a body's nearest limb, in trunk lengths.

    Parameters
    ----------
    points_px : array (landmark, xy)
    at_px : array (xy,)
    """
    ways = [_way_to_bone(points_px[INDEX[a]], points_px[INDEX[b]], at_px) for a, b in _BONES]
    trunk_px = np.linalg.norm(
        points_px[[INDEX["shoulder_left"], INDEX["shoulder_right"]]].mean(0)
        - points_px[[INDEX["hip_left"], INDEX["hip_right"]]].mean(0)
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
