"""Published figures for dental staff, and the session's own figures beside them.

A published figure is what others did, not what is good. Groups, instruments and
the part of the day differ, so it is set beside the session's, never subtracted.
"""

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from math import inf, nan
from typing import Literal, cast

import numpy as np

from ergo.arrays import FloatArray
from ergo.exposure.bands import Band, LimitSet
from ergo.exposure.exposure import Estimate
from ergo.exposure.percentiles import angle_percentiles
from ergo.exposure.shares import limit_shares
from ergo.posture.angle_names import ANGLES, AngleName
from ergo.posture.posture_track import PostureTrack

Measure = Literal["share_over", "p50", "p90"]
Relation = Literal["about", "exactly", "more_than"]


@dataclass(frozen=True, slots=True)
class Norm:
    """One published figure.

    Attributes
    ----------
    key : str
    stem : str
        Name of the angle, without its side.
    measure : str
        ``"share_over"``: share of time above ``threshold``; ``"p50"``,
        ``"p90"``: percentile.
    threshold : float
        NaN for percentiles. [unit of the angle]
    relation : str
        How the figure is printed: ``"about"``, ``"exactly"``, ``"more_than"``.
    value : float
        0..1, or [unit of the angle].
    group, over : str
        Who was measured, and over what time.
    source, status : str
    """

    key: str
    stem: str
    measure: Measure
    threshold: float
    relation: Relation
    value: float
    group: str
    over: str
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class OwnBesideNorm:
    """The session's own figure beside a published one.

    Attributes
    ----------
    norm : Norm
    angle : AngleName
        Left and right apart.
    own : Estimate
        Of the judged time, with its 90 % interval; NaN where not judged.
    """

    norm: Norm
    angle: AngleName
    own: Estimate


@cache
def norms() -> tuple[Norm, ...]:
    """Return the published figures."""
    text = files("ergo.exposure").joinpath("tables", "norms.csv").read_text("utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    return tuple(_norm(row) for row in rows)


def _norm(row: dict[str, str]) -> Norm:
    return Norm(
        key=row["key"],
        stem=row["angle"],
        measure=cast(Measure, row["measure"]),
        threshold=float(row["threshold"] or nan),
        relation=cast(Relation, row["relation"]),
        value=float(row["value"]),
        group=row["group"],
        over=row["over"],
        source=row["source"],
        status=row["status"],
    )


def beside_norms(posture: PostureTrack, held: FloatArray) -> tuple[OwnBesideNorm, ...]:
    """Return the session's figures beside every published one.

    Parameters
    ----------
    posture : PostureTrack
    held : array (frame,)
        [unit of the timeline]
    """
    return tuple(
        OwnBesideNorm(norm, angle, _own(norm, angle, posture, held))
        for norm in norms()
        for angle in ANGLES
        if angle.name.removesuffix("_left").removesuffix("_right") == norm.stem
    )


def _own(norm: Norm, angle: AngleName, posture: PostureTrack, held: FloatArray) -> Estimate:
    if norm.measure == "share_over":
        return _share_over(norm, angle, posture, held)
    found = [each for each in angle_percentiles(posture, held) if each.angle == angle]
    if not found:
        return Estimate(nan, nan, nan)
    return found[0].p50 if norm.measure == "p50" else found[0].p90


def _share_over(norm: Norm, angle: AngleName, posture: PostureTrack, held: FloatArray) -> Estimate:
    edge = norm.threshold
    bands = Band("up_to", -inf, edge, 0), Band("over", edge, inf, 2)
    limits = LimitSet(norm.key, angle, bands, norm.source, norm.status, is_headline=False)
    judged = np.where(np.isfinite(posture.angle(angle.name)), held, 0.0)
    over = limit_shares(posture, judged[None], [limits])[0][0].beyond
    return Estimate(over.share, over.low, over.high)
