"""A person's own zero: relative angles read against the neutral moment, as far as it tells.

A body that was measured in its neutral posture tells two things at once: how this person's
neutral posture differs from the average one, together with what this view gets wrong of it
throughout; and what is off in that moment alone. So the zero is drawn from the population's
towards the person's own by the spreads of both (shrinkage towards the mean: Efron B,
Morris C (1977) Sci Am 236(5):119-127), and what the moment tells makes angles surer.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from ergo.arrays import BoolArray, FloatArray, IndexArray
from ergo.posture.angle_names import ANGLES, COLUMN
from ergo.posture.mixing import apart, mixed
from ergo.published_tables import rows

Path = Literal["learned", "plain"]

_RELATIVE: BoolArray = np.array([angle.is_relative for angle in ANGLES])
_TRUNK = COLUMN["trunk_flexion_deg"]
_LEAST_VARIANCE = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class _Zero:
    """How far the zero goes over to the person's own, and by how much variances change.

    Attributes
    ----------
    share : array (angle,)
        0 = the population's zero, 1 = the person's own.
    growth : array (angle,)
        Multiplies the variance of every frame.
    """

    share: FloatArray
    growth: FloatArray


def with_own_zero(
    average: FloatArray,
    own: FloatArray,
    variance: FloatArray,
    variance_then: FloatArray,
    moment: IndexArray,
    path: Path,
) -> tuple[FloatArray, FloatArray]:
    """Return angles read against this person's own zero, and their variance.

    Parameters
    ----------
    average : array (frame, angle)
        Of one source, against the average body. [deg], shoulder raise [mm]
    own : array (frame, angle)
        The same against the person as measured in the neutral moment.
    variance : array (frame, angle)
        Of ``average``, population's spread included. NaN or infinite = not told.
    variance_then : array (frame of the moment, angle)
        In the neutral moment.
    moment : array (frame of the moment,)
        Positions of its frames in the others.
    path : str
        By which the angles were measured; ``"learned"`` has corrected limbs.

    Returns
    -------
    array (frame, angle), array (frame, angle)
        An angle that was not seen or not told in the moment keeps the population's zero.
        Upper arms against the trunk (not relative) follow the trunk's zero.
    """
    zero = _zero(apart(average, own)[moment], variance, variance_then, path)
    return mixed(average, own, np.broadcast_to(zero.share, average.shape)), variance * zero.growth


def _zero(offset: FloatArray, variance: FloatArray, variance_then: FloatArray, path: Path) -> _Zero:
    between_sd, again_sd, most_share = _table(path)
    then, usual = _middle(variance_then), _middle(variance)
    off2 = _middle(offset) ** 2
    is_estimated = (
        _RELATIVE & np.isfinite(off2) & (then > _LEAST_VARIANCE) & (usual > _LEAST_VARIANCE)
    )
    then, usual, off2 = (np.where(is_estimated, each, 1.0) for each in (then, usual, off2))
    people = np.minimum(between_sd**2, most_share * np.minimum(then, usual))
    alone = then - people + again_sd**2
    # an offset larger than both spreads allow: this person, or this view, differs by more
    larger = np.maximum(people, off2 - alone)
    share = larger / (larger + alone)
    left = usual - people + larger * alone / (larger + alone)
    share, growth = np.where(is_estimated, share, 0.0), np.where(is_estimated, left / usual, 1.0)
    return _Zero(np.where(_RELATIVE, share, share[_TRUNK]), growth)


def _middle(values: FloatArray) -> FloatArray:
    """Return the median over the frames in which each column is known; NaN where in none."""
    middle = np.full(values.shape[1], np.nan)
    for column, of_column in enumerate(values.T):
        known = of_column[np.isfinite(of_column)]
        if len(known):
            middle[column] = np.median(known)
    return middle


def _table(path: Path) -> FloatArray:
    """Return spread between people, of taking it again, and most share, array (3, angle)."""
    told = {row["angle"]: row for row in rows("posture", "neutral_moment") if row["path"] == path}
    found = np.zeros((3, len(ANGLES)))
    for column, angle in enumerate(ANGLES):
        stem = angle.name.removesuffix("_left").removesuffix("_right")
        if angle.is_relative:
            found[:, column] = [
                float(told[stem][key]) for key in ("between_sd", "again_sd", "most_share")
            ]
    return found
