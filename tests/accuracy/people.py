"""Whose landmarks are these? The nearest true person of the picture answers."""

import numpy as np

from ergo.arrays import BoolArray, FloatArray
from tests.accuracy.truth import Truth


def nearest_role(seen_px: FloatArray, truth: Truth) -> str:
    """Return the role of the true person whose points lie nearest.

    Parameters
    ----------
    seen_px : array (landmark, xy)
        In the order of ``COMPARED_LANDMARKS``. [px]
    truth : Truth
        Of the same picture.
    """

    def mean_distance_px(role: str) -> float:
        return float(np.mean(np.linalg.norm(seen_px - truth.people_px[role], axis=-1)))

    return min(truth.people_px, key=mean_distance_px)


def is_the_operator(seen_px: FloatArray, truths: list[Truth]) -> BoolArray:
    """Return array (frame,): True where the landmarks lie nearest the true operator.

    Where nobody else is in the picture, or no true points are known, whoever was
    found is the operator.
    """
    return np.array(
        [
            bool(np.isfinite(seen).all())
            and (not truth.people_px or nearest_role(seen, truth) == "operator")
            for seen, truth in zip(seen_px, truths, strict=True)
        ]
    )
