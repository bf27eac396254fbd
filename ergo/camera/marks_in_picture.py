"""Marks of a set-up in px of the picture at hand; none outside it."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from ergo.arrays import FloatArray
from ergo.errors import SetUpError
from ergo.frames.frame import SourceFacts
from ergo.notes.notes import SetUpNotes

LEAST_APART_PX = 1.0
"""Points of one mark that are nearer to each other, or to one line, tell nothing (ours). [px]"""
_ONE_POINT = ("head", "head_end", "foot_end")
_POINTS = ("sides", "corners", "ends")


def marks_in_picture(marks: SetUpNotes, scale: float, facts: SourceFacts) -> SetUpNotes:
    """Return the marks in px of this picture; refuse any outside it, and those that tell nothing.

    Raises
    ------
    SetUpError
        If a point lies outside the picture, if the ends of a mark lie on one another,
        or if four corners do not go round a patch of floor.
    """
    stated = marks.model_dump()
    for key, points in _points_of(stated):
        for x, y in points:
            if not (0 <= x * scale <= facts.width_px and 0 <= y * scale <= facts.height_px):
                raise SetUpError(
                    f"setup.{key} = [{x:g}, {y:g}] lies outside the picture of "
                    f"{facts.width_px} x {facts.height_px} px.",
                    where=f"{facts.name}:",
                    remedy="State points in px of the upright picture, from its top left.",
                )
        _check_shape(key, np.array(points) * scale, facts.name)
    return SetUpNotes.model_validate(_times(stated, scale))


def _check_shape(key: str, points_px: FloatArray, name: str) -> None:
    """Refuse two points that are one, and four that no camera sees a floor's rectangle as."""
    if len(points_px) == 2 and np.linalg.norm(points_px[1] - points_px[0]) < LEAST_APART_PX:
        raise SetUpError(
            f"both points of setup.{key} are the same.",
            where=f"{name}:",
            remedy="Mark two points that lie well apart.",
        )
    if len(points_px) == 4 and not _goes_round(points_px):
        raise SetUpError(
            f"setup.{key} do not go round a patch with four corners.",
            where=f"{name}:",
            remedy="Mark its four corners one after the other, round it.",
        )


def _goes_round(corners_px: FloatArray) -> bool:
    """Return whether corners turn the same way at each, by a triangle that can be seen."""
    sides = np.roll(corners_px, -1, axis=0) - corners_px
    after = np.roll(sides, -1, axis=0)
    turns = sides[:, 0] * after[:, 1] - sides[:, 1] * after[:, 0]
    least = LEAST_APART_PX * np.linalg.norm(sides, axis=1)
    return bool(np.all(turns > least) or np.all(turns < -least))


def _points_of(stated: Mapping[str, Any]) -> Iterator[tuple[str, Sequence[Any]]]:
    """Yield every marked point or points with their key."""
    for key in (*_ONE_POINT, *_POINTS):
        if stated.get(key) is not None:
            yield key, [stated[key]] if key in _ONE_POINT else stated[key]
    for key in ("floor", "tape", "vertical"):
        for n, each in enumerate(stated.get(key, ())):
            for inner, points in _points_of(each):
                yield f"{key}[{n + 1}].{inner}", points


def _times(stated: Any, scale: float) -> Any:
    """Return a copy in which every point is scaled."""
    if isinstance(stated, dict):
        scaled = {key: _times(value, scale) for key, value in stated.items()}
        for key in (*_ONE_POINT, *_POINTS):
            if stated.get(key) is not None:
                scaled[key] = (np.array(stated[key]) * scale).tolist()
        return scaled
    if isinstance(stated, tuple | list):
        return tuple(_times(each, scale) for each in stated)
    return stated
