"""What may be counted: the posture after excluded parts, reference posture and support.

Every figure of time in posture, every static posture, every piece of advice and every
break is made from this, so that what the notes state reaches all of them alike.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from ergo.arrays import FloatArray
from ergo.notes.excluded import is_excluded
from ergo.notes.notes import Notes
from ergo.posture.angle_names import COLUMN
from ergo.posture.posture_track import PostureTrack
from ergo.posture.projections import trunk_inclination
from ergo.scores.arms import arms_as_read
from ergo.scores.circumstances import SUPPORTS, stated
from ergo.scores.interpretations import complete_readings
from ergo.scores.steps import told_back
from ergo.timeline import Timeline

TRUNK = "trunk_inclination_deg"


def assessed(
    timeline: Timeline,
    posture: PostureTrack,
    notes: Sequence[Notes],
    readings: Mapping[str, str] | None = None,
) -> PostureTrack:
    """Return the posture as published limits are applied to it.

    Parameters
    ----------
    timeline : Timeline
    posture : PostureTrack
        As measured.
    notes : sequence of Notes
        One per source.
    readings : mapping of str to str, optional
        Choices out of READINGS; an option not named has its default.

    Returns
    -------
    PostureTrack
        Nothing is seen where the notes exclude a part; ``support`` holds what they state.
        ``trunk_inclination_deg`` is the inclination from the reference posture (ISO
        11226), negative where the trunk is told to lean backward; where its direction is
        not told, the plain inclination stands in for it, as a forward one. Upper arms are
        as :func:`ergo.scores.arms.arms_as_read` gives them.
    """
    posture = arms_as_read(posture, complete_readings(readings or {}))
    value, sd = posture.value.copy(order="K"), posture.sd.copy(order="K")
    value[:, COLUMN[TRUNK]], sd[:, COLUMN[TRUNK]] = _trunk(posture, backward_beyond(readings))
    support = {name: stated(timeline, notes, name).is_true for name in SUPPORTS}
    counted = replace(posture, value=value, sd=sd, support=support)
    return counted.without(is_excluded(timeline, notes))


def unsigned(posture: PostureTrack) -> PostureTrack:
    """Return what may be counted with the trunk's inclination as a size, without its sign."""
    value = posture.value.copy(order="K")
    value[:, COLUMN[TRUNK]] = np.abs(value[:, COLUMN[TRUNK]])
    return replace(posture, value=value)


def backward_beyond(readings: Mapping[str, str] | None) -> float:
    """Return how far behind neutral counts as backward, by that interpretation. [deg]."""
    return float(complete_readings(readings or {})["backward_beyond"])


def _trunk(posture: PostureTrack, beyond: float) -> tuple[FloatArray, FloatArray]:
    inclination, spread = trunk_inclination(posture)
    is_estimated = np.isfinite(inclination)
    value = np.where(is_estimated, inclination, np.abs(posture.angle(TRUNK)))
    flexion, flexion_sd = posture.angle("trunk_flexion_deg"), posture.angle_sd("trunk_flexion_deg")
    is_back = told_back(flexion, flexion_sd, beyond) < 0
    sd = np.where(is_estimated, spread, posture.angle_sd(TRUNK))
    return np.where(is_estimated & is_back, -value, value), sd
