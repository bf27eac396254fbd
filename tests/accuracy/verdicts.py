"""Which goals a result meets."""

from collections.abc import Iterator

import numpy as np

from tests.accuracy.goals import (
    COVERAGE,
    FOUND,
    HARM_DEG,
    KAPPA,
    LEAST_COVERAGE_OUTSIDE,
    LEAST_IN_VIEW,
    RIGHT,
    WITHIN_ONE,
    Verdict,
    at_least,
    at_most,
    goal,
)
from tests.accuracy.result import Errors, Result


def verdicts_of(result: Result) -> list[Verdict]:
    """Return every goal that applies to a result, met or missed."""
    kind = result.title.split("_")[0]
    if kind == "dev":
        return [
            *_finding(result, result.finding.found, FOUND),
            *_still_errors(result),
            *_coverages(result),
            *_scores(result),
        ]
    if kind == "clip":
        return [*_finding(result, result.finding.found_at_all, 1.0), *_clip_errors(result)]
    return list(_harm(result, HARM_DEG[kind]))


def _finding(result: Result, found: float, wanted: float) -> Iterator[Verdict]:
    yield at_least("operator found", found, wanted)
    yield at_least("right person", result.finding.right, RIGHT)


def _still_errors(result: Result) -> Iterator[Verdict]:
    for angle, error in result.whole.items():
        if np.isfinite(wanted := goal(angle, result.camera)):
            yield at_most(f"{angle}: error", error.mean_absolute, wanted)
        if np.isfinite(explained := goal(angle, "explained")):
            yield at_least(f"{angle}: explained variance", error.explained, explained)
        if error.unmeasurable <= 0.5:
            no_picture = result.no_picture[angle].mean_absolute
            yield at_most(f"{angle}: better than no picture", error.mean_absolute, no_picture)
    for angle in ("trunk_flexion_deg", "neck_flexion_deg"):
        sides = [result.by_view[view][angle] for view in _side_views(result)]
        mean = _mean([(each.mean_absolute, each.answered) for each in sides])
        yield at_most(f"{angle}: error, side views", mean, goal(angle, "side_view"))


def _side_views(result: Result) -> list[str]:
    return [view for view in result.by_view if view.startswith("side")]


def _mean(weighted: list[tuple[float, int]]) -> float:
    total = sum(weight for _, weight in weighted)
    return sum(value * weight for value, weight in weighted) / total if total else np.nan


def _clip_errors(result: Result) -> Iterator[Verdict]:
    for angle in ("trunk_flexion_deg", "neck_flexion_deg", "upper_arm_elevation_deg"):
        yield at_most(f"{angle}: error", result.whole[angle].mean_absolute, goal(angle, "clip"))


def _coverages(result: Result) -> Iterator[Verdict]:
    for place, errors in {"all views": result.whole, **result.by_view}.items():
        yield from _coverage(place, errors)


def _coverage(place: str, errors: Errors) -> Iterator[Verdict]:
    low, high = COVERAGE
    for angle, error in errors.items():
        if error.answered < LEAST_IN_VIEW:
            continue
        what = f"{angle}: 90 % interval, {place}"
        yield Verdict(what, error.coverage, 0.9, low <= round(error.coverage, 4) <= high)


def _scores(result: Result) -> Iterator[Verdict]:
    yield at_least("RULA grand score within 1", result.grand.within_one, WITHIN_ONE)
    for part, wanted in KAPPA.items():
        yield at_least(f"RULA band {part}: kappa", result.bands[part].kappa, wanted)


def _harm(result: Result, allowed_deg: float) -> Iterator[Verdict]:
    for angle, error in result.whole.items():
        if not error.answered or angle.endswith("_mm"):
            continue
        plain = result.plain[angle].mean_absolute
        yield at_most(f"{angle}: no worse than plain", error.mean_absolute, plain + allowed_deg)
        yield at_least(f"{angle}: 90 % interval", error.coverage, LEAST_COVERAGE_OUTSIDE)
