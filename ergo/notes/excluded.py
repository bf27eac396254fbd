"""Parts that are not to be judged: one way of finding them.

What was made of a recording leaves them out by its own ``without``: ``PostureTrack``,
``ClockTrack``, ``PlaceTrack``, ``MethodScore``, and all of these together ``Session`` and
``ergo.comparison.pool.Measured``.
"""

from collections.abc import Sequence

import numpy as np

from ergo.arrays import BoolArray
from ergo.notes.notes import Notes
from ergo.notes.spans import is_within
from ergo.timeline import Timeline


def is_excluded(timeline: Timeline, notes: Sequence[Notes]) -> BoolArray:
    """Return where the notes say that nothing is to be judged, array (frame,)."""
    excluded = np.zeros(len(timeline), dtype=bool)
    for source, stated in enumerate(notes):
        frames = timeline.frames_of(source)
        for span in stated.excluded:
            excluded[frames[is_within(span, timeline.time_s[frames])]] = True
    return excluded
