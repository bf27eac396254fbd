"""Right- or left-handed: from which belief on it is told.

The belief comes from how operator, assistant and patient sit to each other
(:mod:`ergo.tracking.roles`). Which hand is nearer to the mouth tells nothing: both
work there.
"""

from ergo.workplace.clock_track import Handed

TOLD_FROM = 0.95
"""Belief from which handedness is told (ours)."""


def handed_by(belief: float) -> Handed | None:
    """Return the handedness that a belief in right-handed tells; None where it is not known."""
    if belief >= TOLD_FROM:
        return "right"
    return "left" if belief <= 1 - TOLD_FROM else None
