"""The bands of an angle by a published rule, and the strain of an angle against them."""

from dataclasses import dataclass
from math import inf, nan
from typing import Literal

import numpy as np

from ergo.arrays import AnyArray, BoolArray, FloatArray, StepArray
from ergo.errors import InputError
from ergo.posture.angle_names import AngleName
from ergo.posture.posture_track import PostureTrack

Strain = Literal[0, 1, 2]
"""0 = within the limit, 1 = limited in time or to be watched, 2 = beyond the limit."""

NOT_KNOWN = 255
"""Strain of an angle that was not seen."""


@dataclass(frozen=True, slots=True)
class Band:
    """One band of an angle as a published rule draws it, from ``low`` to ``high``.

    An angle exactly on an edge belongs to the less strained of the two bands.

    Attributes
    ----------
    name : str
        Key of the band within its rule, for example ``"time_limited"``.
    low, high : float
        Edges, -inf and inf where open. [unit of the angle]
    strain : int
        0 within, 1 limited in time or to be watched, 2 beyond.
    """

    name: str
    low: float
    high: float
    strain: Strain


@dataclass(frozen=True, slots=True)
class LimitSet:
    """The bands of one angle by one published rule.

    Attributes
    ----------
    rule : str
        Key of the rule: ``"iso11226"``, ``"dental_sitting"``, ``"rula"``,
        ``"arm_elevation"``, ``"side_bend"``, ``"en1005_4"``,
        ``"north_american_teaching"``; see ``tables/limits_*.csv``.
    angle : AngleName
    bands : tuple of Band
        Rising, without gaps.
    source, status : str
        Where the edges are printed and how far that was verified; holds the
        word "memory" where a value was not read in any text.
    is_headline : bool
        Whether time beyond this limit may be among the things that matter most.
    supported : tuple of Band
        The same bands, by name and order, where the part is fully supported; a band
        may then be empty. Empty where the rule makes no difference.
    """

    rule: str
    angle: AngleName
    bands: tuple[Band, ...]
    source: str
    status: str
    is_headline: bool
    supported: tuple[Band, ...] = ()

    def __post_init__(self) -> None:
        if not all(map(_cover_everything, filter(None, (self.bands, self.supported)))):
            raise InputError(
                "must cover every angle without gap.", where=f"{self.rule}, {self.angle.name}"
            )
        named = [[band.name for band in bands] for bands in (self.bands, self.supported)]
        if self.supported and named[0] != named[1]:
            raise InputError(
                "must have the same bands with support.", where=f"{self.rule}, {self.angle.name}"
            )

    @property
    def limit(self) -> float:
        """Return the smallest upper edge beyond which the strain is 2; NaN if none."""
        edges = [band.low for band in self.bands if band.strain == 2 and band.low > 0]
        return min(edges, default=nan)

    @property
    def strained(self) -> list[int]:
        """Return the positions of the bands of strain 2."""
        return [at for at, band in enumerate(self.bands) if band.strain == 2]


def _cover_everything(bands: tuple[Band, ...]) -> bool:
    meets = all(a.high == b.low for a, b in zip(bands, bands[1:], strict=False))
    return meets and bands[0].low == -inf and bands[-1].high == inf


def edges_of(limits: LimitSet, is_supported: BoolArray) -> FloatArray:
    """Return the inner edges; an angle on an edge belongs to the less strained band.

    Parameters
    ----------
    limits : LimitSet
    is_supported : array (any,)
        Where the part is fully supported.

    Returns
    -------
    array (edge, any)
        Largest angle of each band but the last. [unit of the angle]
    """
    plain, supported = _edges(limits.bands), _edges(limits.supported or limits.bands)
    return np.where(is_supported, supported[:, None], plain[:, None])


def _edges(bands: tuple[Band, ...]) -> FloatArray:
    pairs = zip(bands, bands[1:], strict=False)
    return np.array(
        [a.high if a.strain <= b.strain else np.nextafter(a.high, -np.inf) for a, b in pairs],
        dtype=np.float64,
    )


def band_of(limits: LimitSet, value: FloatArray, is_supported: BoolArray | bool) -> StepArray:
    """Return the position of each angle's band, or the number of bands for NaN.

    Parameters
    ----------
    limits : LimitSet
    value : array (frame,)
        [unit of the angle]
    is_supported : array (frame,) or bool
        Where the part is fully supported.
    """
    edges = edges_of(limits, np.broadcast_to(is_supported, value.shape))
    place = np.sum(value > edges, axis=0)
    return np.where(np.isfinite(value), place, len(limits.bands)).astype(np.int64)


def bands_held(limits: LimitSet, posture: PostureTrack) -> StepArray:
    """Return the position of the band of each frame, or the number of bands where not seen."""
    name = limits.angle.name
    return band_of(limits, posture.angle(name), posture.is_supported(name))


def strain_of(limits: LimitSet, posture: PostureTrack) -> AnyArray:
    """Return the strain of each frame, array (frame,): 0, 1, 2, or NOT_KNOWN where not seen.

    Parameters
    ----------
    limits : LimitSet
    posture : PostureTrack
        What may be counted, by :func:`ergo.exposure.assessed.assessed`.
    """
    strains = np.array([*(band.strain for band in limits.bands), NOT_KNOWN], dtype=np.uint8)
    return strains[bands_held(limits, posture)]
