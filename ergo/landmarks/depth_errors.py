"""The landmark network is lopsided in depth; what is its own is taken off where tracks are made.

It answers the mirror image of a picture with something else than the mirrored answer: whoever
is in the picture and from wherever, it sets the left hip, wrist and hand too far away and the
left shoulder and elbow too near, the right ones the other way round, so that every trunk seems
twisted. ``tables/depth_errors.csv`` holds by how much, in lengths of the trunk
(``python -m ergo.training.usual_errors``). A second pass over the mirror image would tell the
same and cost as much as the first.
"""

import csv
from functools import cache
from importlib.resources import files
from pathlib import Path

import numpy as np

from ergo.arrays import FloatArray
from ergo.landmarks.names import INDEX, LANDMARKS

DEPTH_ERRORS_PATH = Path(__file__).parent / "tables" / "depth_errors.csv"
_HIPS, _SHOULDERS = (
    [INDEX[f"{stem}_{side}"] for side in ("left", "right")] for stem in ("hip", "shoulder")
)


def evened(world_m: FloatArray) -> FloatArray:
    """Return landmarks without the network's own depth error.

    Parameters
    ----------
    world_m : array (..., landmark, xyz)
        The network's metric guess; z away from the camera. [m]
    """
    trunk = world_m[..., _SHOULDERS, :].mean(axis=-2) - world_m[..., _HIPS, :].mean(axis=-2)
    even = world_m.copy()
    even[..., 2] -= np.linalg.norm(trunk, axis=-1)[..., None] * _trunk_lengths()
    return even


@cache
def _trunk_lengths() -> FloatArray:
    """Return array (landmark,): how much too far away each is set, in lengths of the trunk."""
    text = files("ergo.landmarks").joinpath("tables", "depth_errors.csv").read_text("utf-8")
    table = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    error = {row["landmark"]: float(row["trunk_lengths"]) for row in table}
    return np.array([error.get(name, 0.0) for name in LANDMARKS])
