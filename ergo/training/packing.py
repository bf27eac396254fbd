"""Storing the weights of the branch of joints: large ones in 255 steps per output channel."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from ergo.arrays import FloatArray

MOST_STEPS = 127  # either side of zero: one byte
LARGE = 4096  # numbers in an array; smaller ones are stored as halves
_LEAST_STEP = 1e-12


def packed(weights: Mapping[str, FloatArray]) -> dict[str, Any]:
    """Return arrays as :func:`ergo.landmarks.joints.read_weights` reads them back.

    Parameters
    ----------
    weights : mapping of str to array (output channel, ...) or (number,)
    """
    stored: dict[str, Any] = {}
    for name, values in weights.items():
        if values.ndim > 1 and values.size > LARGE:
            stored[f"{name}/steps"], stored[f"{name}/step"] = _in_steps(values)
        else:
            stored[name] = values.astype(np.float16 if values.ndim > 1 else np.float32)
    return stored


def _in_steps(values: FloatArray) -> tuple[Any, Any]:
    """Return whole steps, shaped as the values, and the step of each output channel."""
    rows = values.reshape(len(values), -1)
    step = np.maximum(np.abs(rows).max(axis=1) / MOST_STEPS, _LEAST_STEP).astype(np.float32)
    return np.rint(rows / step[:, None]).astype(np.int8).reshape(values.shape), step


def write_weights(path: Path, weights: Mapping[str, FloatArray]) -> None:
    """Write the weights of the branch, packed."""
    with path.open("wb") as file:
        np.savez_compressed(file, **packed(weights))
