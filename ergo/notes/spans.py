"""From spans of notes to one value per analysed frame.

A span holds for ``from_s <= time < to_s``; without ``to_s`` to the end. Where
spans overlap, the later one in the file wins, as far as it states anything.
"""

from collections.abc import Callable, Sequence
from typing import Protocol, TypeVar

import numpy as np

from ergo.arrays import BoolArray, FloatArray


class Span(Protocol):
    """Any span of the notes."""

    @property
    def from_s(self) -> float:
        """Begin, since the first picture of the source. [s]."""

    @property
    def to_s(self) -> float | None:
        """End; None = to the end of the source. [s]."""


AnySpan = TypeVar("AnySpan", bound=Span)
Value = TypeVar("Value")


def is_within(span: Span, time_s: FloatArray) -> BoolArray:
    """Return which frames lie in a span: array (frame,)."""
    end_s = np.inf if span.to_s is None else span.to_s
    return (time_s >= span.from_s) & (time_s < end_s)


def labels_per_frame(
    spans: Sequence[AnySpan], time_s: FloatArray, pick: Callable[[AnySpan], Value | None]
) -> tuple[Value | None, ...]:
    """Return what the spans state at each frame.

    Parameters
    ----------
    spans : sequence of spans
        In the order of the notes; later ones win.
    time_s : array (frame,)
        Since the first picture of the source. [s]
    pick : callable
        Takes the value out of a span; None where it states nothing.

    Returns
    -------
    tuple
        One value per frame; None where nothing is stated.
    """
    labels: list[Value | None] = [None] * len(time_s)
    for span in spans:
        value = pick(span)
        if value is not None:
            for frame in np.flatnonzero(is_within(span, time_s)):
                labels[frame] = value
    return tuple(labels)


def numbers_per_frame(
    spans: Sequence[AnySpan], time_s: FloatArray, pick: Callable[[AnySpan], float | None]
) -> FloatArray:
    """Return the number that the spans state at each frame; NaN where none is stated.

    Parameters
    ----------
    spans, time_s, pick
        As for :func:`labels_per_frame`.

    Returns
    -------
    array (frame,)
    """
    numbers = np.full(len(time_s), np.nan)
    for span in spans:
        value = pick(span)
        if value is not None:
            numbers[is_within(span, time_s)] = value
    return numbers
