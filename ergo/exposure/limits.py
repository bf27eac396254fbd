"""The published limits of each angle, read from ``tables/limits_*.csv``."""

import csv
from functools import cache
from importlib.resources import files
from itertools import groupby
from math import inf

from ergo.exposure.bands import Band, LimitSet, Strain
from ergo.posture.angle_names import ANGLES, AngleName

RULES = (
    "iso11226",
    "dental_sitting",
    "rula",
    "arm_elevation",
    "side_bend",
    "en1005_4",
    "north_american_teaching",
)
"""Keys of the rules, in the order of reports."""

SUPPORTED = "high_supported"
"""Column of the upper edges that hold with full support, in tables that make a difference."""

_STRAINS: dict[str, Strain] = {"0": 0, "1": 1, "2": 2}


@cache
def limit_sets() -> tuple[LimitSet, ...]:
    """Return every angle by every rule that limits it; left before right."""
    return tuple(limits for rule in RULES for limits in _rule(rule))


def limit_set(rule: str, angle: str) -> LimitSet:
    """Return the bands of one angle by one rule; KeyError if the rule has none."""
    return _by_key()[rule, angle]


@cache
def _by_key() -> dict[tuple[str, str], LimitSet]:
    return {(limits.rule, limits.angle.name): limits for limits in limit_sets()}


def _rule(rule: str) -> list[LimitSet]:
    text = files("ergo.exposure").joinpath("tables", f"limits_{rule}.csv").read_text("utf-8")
    lines = text.splitlines()
    source = lines[0].removeprefix("# source: ")
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return [
        _limit_set(rule, angle, source, list(printed))
        for stem, group in groupby(rows, key=lambda row: row["angle"])
        for printed in [list(group)]
        for angle in _angles(stem)
    ]


def _limit_set(rule: str, angle: AngleName, source: str, rows: list[dict[str, str]]) -> LimitSet:
    return LimitSet(
        rule=rule,
        angle=angle,
        bands=_bands(rows, "high"),
        source=source,
        status="; ".join(dict.fromkeys(row["status"] for row in rows)),
        is_headline=rows[0]["headline"] == "1",
        supported=_bands(rows, SUPPORTED) if SUPPORTED in rows[0] else (),
    )


def _bands(rows: list[dict[str, str]], high: str) -> tuple[Band, ...]:
    edges = [-inf, *(float(row[high]) for row in rows)]
    return tuple(
        Band(row["band"], low, edge, _STRAINS[row["strain"]])
        for row, low, edge in zip(rows, edges, edges[1:], strict=False)
    )


def _angles(stem: str) -> list[AngleName]:
    """Return the angle of that name, or its left and right one."""
    wanted = (stem, f"{stem}_left", f"{stem}_right")
    return [angle for angle in ANGLES if angle.name in wanted]
