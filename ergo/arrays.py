"""Names of the array types that travel between the stages.

The axes of every array are written in the docstring of whatever holds it, in
reading order, for example ``array (frame, landmark, xyz)``.
"""

from typing import Any

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
"""Measured quantities; NaN means "not seen"."""

StepArray = npt.NDArray[np.int64]
"""Printed steps, scores and levels of a method; 0 means "not judged"."""

IndexArray = npt.NDArray[np.int64]
"""Positions in another array."""

BoolArray = npt.NDArray[np.bool_]

PictureArray = npt.NDArray[np.uint8]
"""array (row, column, channel): an upright RGB picture, 8 bits a channel."""

AnyArray = npt.NDArray[Any]


def frames_side_by_side(values: AnyArray) -> AnyArray:
    """Return the same array (frame, ...), in memory with its frames next to each other."""
    side_by_side: AnyArray = np.moveaxis(np.ascontiguousarray(np.moveaxis(values, 0, -1)), -1, 0)
    return side_by_side
