"""The stored examples: landmarks of rendered people, with the truth about them.

One row per person and picture in ``examples.parquet``: what the network saw in a
closer look, the camera, and the true body points. The pictures themselves are not
needed for fitting and are not kept; the network was never taught on any of them.
"""

import zlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq

from ergo.arrays import BoolArray, FloatArray, IndexArray
from ergo.landmarks.joints import JOINTS
from ergo.landmarks.names import LANDMARKS
from ergo.posture import geometry as g
from ergo.posture.body_points import POINTS, BodyPoints
from ergo.posture.joints import placed_joints
from ergo.posture.placing import hip_depth_m

EXAMPLES_PATH = Path(__file__).parent / "examples.parquet"
FOLDS = 5
LOOKS = 1
ASSUMED_FIELD_OF_VIEW_DEG = 65.0


@dataclass(frozen=True, slots=True, eq=False)
class Examples:
    """People as seen and as they were.

    Attributes
    ----------
    scene : tuple of str
        Name of the picture; its people are never split between folds.
    role : tuple of str
    is_broad : array (example,)
        True where the posture was drawn far outside chairside work.
    focal_px, centre_px, up : arrays (example,), (example, xy), (example, xyz)
        The true camera; ``up`` in camera axes.
    width_px : array (example,)
    picture_px : array (example, look, landmark, xy)
    world_m : array (example, look, landmark, xyz)
    joint_px, joint_sd_px : array (example, joint, xyz), (example, joint)
        Joint centres; the branch that places them was taught on other scenes.
    truth : BodyPoints
        Camera axes, ``trunk_top`` is C7.
    neutral : BodyPoints
        The same person's neutral posture in level axes; NaN where not known.
    """

    scene: tuple[str, ...]
    role: tuple[str, ...]
    is_broad: BoolArray
    focal_px: FloatArray
    centre_px: FloatArray
    width_px: FloatArray
    up: FloatArray
    picture_px: FloatArray
    world_m: FloatArray
    joint_px: FloatArray
    joint_sd_px: FloatArray
    truth: BodyPoints
    neutral: BodyPoints

    def __len__(self) -> int:
        """Return the number of examples."""
        return len(self.scene)

    @property
    def fold(self) -> IndexArray:
        """array (example,): which fold a scene belongs to, by its name alone."""
        return np.array([zlib.crc32(scene.encode()) % FOLDS for scene in self.scene])


def read_examples(path: Path = EXAMPLES_PATH) -> Examples:
    """Return the stored examples, in the order of the file."""
    table = pq.read_table(path)

    def numbers(name: str, *shape: int) -> FloatArray:
        values = table.column(name).combine_chunks()
        flat = values.flatten() if shape else values
        return np.asarray(flat.to_numpy(zero_copy_only=False), dtype=np.float64).reshape(-1, *shape)

    return Examples(
        scene=tuple(table.column("scene").to_pylist()),
        role=tuple(table.column("role").to_pylist()),
        is_broad=np.array(table.column("is_broad").to_pylist(), dtype=bool),
        focal_px=numbers("focal_px").ravel(),
        centre_px=numbers("centre_px", 2),
        width_px=numbers("width_px").ravel(),
        up=numbers("up", 3),
        picture_px=numbers("picture_px", LOOKS, len(LANDMARKS), 2),
        world_m=numbers("world_m", LOOKS, len(LANDMARKS), 3),
        joint_px=numbers("joint_px", len(JOINTS), 3),
        joint_sd_px=numbers("joint_sd_px", len(JOINTS)),
        truth=BodyPoints(numbers("truth_m", len(POINTS), 3)),
        neutral=BodyPoints(numbers("neutral_m", len(POINTS), 3)),
    )


def level_turn(up: FloatArray) -> FloatArray:
    """Return array (example, xyz, xyz) that turns camera axes level, as ``Camera`` does."""
    down = -up
    ahead = g.unit(g.without(np.broadcast_to([0.0, 0.0, 1.0], up.shape), down))
    return np.stack([np.cross(down, ahead), down, ahead], axis=1)


def seen_points(examples: Examples, variant: str) -> tuple[BodyPoints, FloatArray]:
    """Return joints in level axes and their spread, by the true camera or an assumed one.

    Returns
    -------
    BodyPoints
    array (example, point)
        [m]
    """
    known = variant == "known"
    assumed_px = examples.width_px / 2 / np.tan(np.radians(ASSUMED_FIELD_OF_VIEW_DEG / 2))
    lens = (examples.focal_px if known else assumed_px, examples.centre_px)
    depth_m = hip_depth_m(examples.picture_px, examples.world_m, *lens)
    points, spread_m = placed_joints(examples.joint_px, examples.joint_sd_px, depth_m, *lens)
    up = examples.up if known else np.broadcast_to(g.UP, examples.up.shape)
    return BodyPoints(points.xyz @ np.swapaxes(level_turn(up), 1, 2)), spread_m


def true_points(examples: Examples) -> BodyPoints:
    """Return the true points in level axes."""
    return BodyPoints(examples.truth.xyz @ np.swapaxes(level_turn(examples.up), 1, 2))
