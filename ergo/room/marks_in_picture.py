"""Marks of a set-up in px of the picture at hand; none outside it."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from ergo.errors import SetUpError
from ergo.frames.frame import SourceFacts
from ergo.notes.notes import SetUpNotes

_ONE_POINT = ("head", "head_end", "foot_end")
_POINTS = ("sides", "corners", "ends")


def marks_in_picture(marks: SetUpNotes, scale: float, facts: SourceFacts) -> SetUpNotes:
    """Return the marks in px of this picture; refuse any outside it."""
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
    return SetUpNotes.model_validate(_times(stated, scale))


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
