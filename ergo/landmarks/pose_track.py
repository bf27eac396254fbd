"""The landmarks of one person over one session, as the networks gave them."""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ergo.arrays import BoolArray, FloatArray, IndexArray
from ergo.errors import InputError
from ergo.landmarks.names import LANDMARKS

Role = Literal["operator", "assistant", "patient"]


@dataclass(frozen=True, slots=True, eq=False)
class PoseTrack:
    """Landmarks of one person over one session; the expensive product.

    Several *looks* at the same frame (two networks, a mirrored crop) lie on one
    axis, so that an estimator may use them all. A mirrored look is stored
    already mirrored back, with left and right as the person's own.

    Attributes
    ----------
    role : str
        ``"operator"``, ``"assistant"`` or ``"patient"``.
    looks : tuple of str
        Name of each look, for example ``("heavy", "heavy_mirrored")``.
    picture_px : array (frame, look, landmark, xyz)
        x to the right and y down in the upright picture; z towards (-) or away
        from (+) the camera relative to mid-hip, in the same scale. [px]
        NaN where the person was not found.
    world_m : array (frame, look, landmark, xyz)
        The network's own metric guess, origin mid-hip, axes as the picture's; its own
        depth error is taken off (:mod:`ergo.landmarks.depth_errors`). [m]
    visibility : array (frame, look, landmark)
        The network's belief that the landmark is in view, 0..1.
    presence : array (frame,)
        The network's belief that there is a person in the crop, 0..1; NaN where
        nobody was looked for.
    identity : array (frame,)
        Our belief that this is the person of this role, 0..1; NaN where not found.
    joint_px : array (frame, joint, xyz) or None
        Refined joint centres of :data:`ergo.landmarks.joints.JOINTS`, the mean of
        the looks; axes as of ``picture_px``. [px]
    joint_sd_px : array (frame, joint) or None
        One standard deviation of each in the picture, per axis. [px]
    right_handed : array (frame,) or None
        Belief that the operator is right-handed by how everybody sits, 0..1; NaN where
        not judged.
    """

    role: Role
    looks: tuple[str, ...]
    picture_px: FloatArray
    world_m: FloatArray
    visibility: FloatArray
    presence: FloatArray
    identity: FloatArray
    joint_px: FloatArray | None = None
    joint_sd_px: FloatArray | None = None
    right_handed: FloatArray | None = None

    def __post_init__(self) -> None:
        wanted = (len(self.presence), len(self.looks), len(LANDMARKS), 3)
        for name in ("picture_px", "world_m"):
            if getattr(self, name).shape != wanted:
                raise InputError(
                    f"{name} must have shape {wanted}, got {getattr(self, name).shape}."
                )
        if self.visibility.shape != wanted[:3]:
            raise InputError(
                f"visibility must have shape {wanted[:3]}, got {self.visibility.shape}."
            )
        if self.identity.shape != wanted[:1]:
            raise InputError(f"identity must have shape {wanted[:1]}.")

    def __len__(self) -> int:
        """Return the number of frames."""
        return len(self.presence)

    def frames(self, which: IndexArray) -> "PoseTrack":
        """Return some of the frames."""
        return replace(
            self,
            picture_px=self.picture_px[which],
            world_m=self.world_m[which],
            visibility=self.visibility[which],
            presence=self.presence[which],
            identity=self.identity[which],
            joint_px=self.joint_px[which] if self.joint_px is not None else None,
            joint_sd_px=self.joint_sd_px[which] if self.joint_sd_px is not None else None,
            right_handed=self.right_handed[which] if self.right_handed is not None else None,
        )

    @property
    def found(self) -> BoolArray:
        """array (frame,): True where this person's landmarks are known."""
        return np.isfinite(self.picture_px[:, 0, 0, 0])
