"""Static holds beside the ISO 11226 holding lines, and the rest between them."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from math import nan

import numpy as np
from scipy.special import ndtri

from ergo.arrays import BoolArray, FloatArray
from ergo.exposure.assessed import TRUNK, unsigned
from ergo.exposure.bands import Strain, band_of
from ergo.exposure.exposure import HoldRecord
from ergo.exposure.groups import Labels
from ergo.exposure.limits import limit_set
from ergo.posture.angle_names import ANGLES, COLUMN
from ergo.posture.posture_track import PostureTrack
from ergo.posture.static_postures import Hold, find_holds
from ergo.scores.steps import told_back
from ergo.timeline import Timeline

HOLD_ANGLES = (
    "head_inclination_deg",
    "neck_flexion_deg",
    "trunk_inclination_deg",
    "upper_arm_elevation_deg_left",
    "upper_arm_elevation_deg_right",
)
"""The angles that ISO 11226 limits, so that a hold of them means something."""

HoldingLine = Callable[[str, FloatArray, BoolArray], FloatArray | None]
"""Maximum acceptable holding time of an angle by name, and where its part is fully
supported; None = no line drawn. [s]"""

_Against = tuple[float | None, bool | None, float]
"""The limit [s], whether it was passed, and how probable that is."""

_PROBES = ndtri((np.arange(40) + 0.5) / 40)


def hold_records(
    timeline: Timeline,
    posture: PostureTrack,
    line: HoldingLine,
    hours: Labels,
    tasks: Labels,
    backward_beyond: float = 0.0,
) -> tuple[HoldRecord, ...]:
    """Return the static holds of every limited angle, by source and time.

    Parameters
    ----------
    timeline : Timeline
    posture : PostureTrack
        What may be counted, by :func:`ergo.exposure.assessed.assessed`.
    line : callable
        The holding lines.
    hours, tasks : tuple (frame,) of str or None
        Clock hour and task of each frame.
    backward_beyond : float
        How far behind neutral counts as backward, by that interpretation. [deg]

    Returns
    -------
    tuple of HoldRecord
    """
    records: list[HoldRecord] = []
    usual_hour, usual_task = _UsualLabel(hours), _UsualLabel(tasks)
    for angle in HOLD_ANGLES:
        found = _holds(timeline, posture, angle)
        holds, is_supported = [hold for hold, _ in found], np.array([yes for _, yes in found], bool)
        strains = _strains(holds, is_supported, backward_beyond)
        columns = (
            _against_line(holds, is_supported, line, backward_beyond),
            usual_hour.of(holds),
            usual_task.of(holds),
            _rests_s(holds, strains),
        )
        records += map(_record, holds, strains, *columns)
    order = {source: place for place, source in enumerate(timeline.sources)}
    return tuple(sorted(records, key=lambda each: (order[each.source], each.start_s)))


def _record(
    hold: Hold, strain: Strain, against: _Against, hour: str | None, task: str | None, rest_s: float
) -> HoldRecord:
    limit_s, is_beyond, probability = against
    return HoldRecord(
        angle=ANGLES[COLUMN[hold.angle]],
        source=hold.source,
        start_s=hold.start_s,
        length_s=hold.length_s,
        mean=hold.mean,
        sd=hold.sd,
        strain=strain,
        limit_s=limit_s,
        is_beyond_line=is_beyond,
        beyond_probability=probability,
        clock_hour=None if hour is None else int(hour),
        task=task,
        rest_after_s=rest_s,
    )


def _holds(timeline: Timeline, posture: PostureTrack, angle: str) -> list[tuple[Hold, bool]]:
    """Return the holds of one angle, and whether with full support: a change of it ends one."""
    supported, signed = posture.is_supported(angle), posture.angle(angle)
    held = unsigned(posture) if angle == TRUNK else posture
    if not np.any(supported):
        found = [(hold, False) for hold in find_holds(timeline, held, angle)]
    else:
        found = [
            (hold, is_supported)
            for is_supported in (False, True)
            for hold in find_holds(timeline, _only(held, supported == is_supported), angle)
        ]
        found.sort(key=lambda each: each[0].first)
    return [(_signed(hold, signed), is_supported) for hold, is_supported in found]


def _only(posture: PostureTrack, where: BoolArray) -> PostureTrack:
    return replace(posture, value=np.where(where[:, None], posture.value, np.nan))


def _signed(hold: Hold, value: FloatArray) -> Hold:
    """Return a hold found by the size of an angle with the sign of most of its frames."""
    of_hold = value[hold.first : hold.last + 1]
    is_back = hold.mean > 0 and np.sum(of_hold < 0) > np.sum(of_hold >= 0)
    return replace(hold, mean=-hold.mean) if is_back else hold


def _against_line(
    holds: Sequence[Hold], is_supported: BoolArray, line: HoldingLine, beyond: float
) -> list[_Against]:
    """Return each hold of one angle against the holding line of its angle."""
    if not holds:
        return []
    mean, sd, length_s = np.array([(hold.mean, hold.sd, hold.length_s) for hold in holds]).T
    probed = mean[:, None] + sd[:, None] * np.concatenate([[0.0], _PROBES])
    probed = told_back(probed, sd[:, None], beyond)
    carried = np.repeat(is_supported, probed.shape[1])
    limits_s = line(holds[0].angle, probed.ravel(), carried)
    if limits_s is None:
        return [(None, None, nan)] * len(holds)
    limits_s = limits_s.reshape(probed.shape)
    passed = length_s[:, None] > limits_s
    columns = limits_s[:, 0], passed[:, 0], passed[:, 1:].mean(axis=1)
    return list(zip(*(column.tolist() for column in columns), strict=True))


def _strains(holds: Sequence[Hold], is_supported: BoolArray, beyond: float) -> list[Strain]:
    """Return the strain of each hold of one angle; one counts as backward only if surely so."""
    if not holds:
        return []
    limits = limit_set("iso11226", holds[0].angle)
    mean, sd = np.array([(hold.mean, hold.sd) for hold in holds]).T
    places = band_of(limits, told_back(mean, sd, beyond), is_supported)
    return [limits.bands[place].strain for place in places.tolist()]


class _UsualLabel:
    """Tells the label of most of the frames of a hold that have one."""

    def __init__(self, labels: Labels) -> None:
        self._labels = labels
        self._names = [name for name in dict.fromkeys(labels) if name is not None]
        of_frame = np.array(labels, dtype=object)
        counts = [np.cumsum(of_frame == name) for name in self._names]
        self._so_far = np.zeros((len(labels) + 1, len(counts)), dtype=np.int64)
        if counts:
            self._so_far[1:] = np.array(counts).T

    def of(self, holds: Sequence[Hold]) -> list[str | None]:
        """Return the usual label of each hold; of equally usual ones the first."""
        if not self._names or not holds:
            return [None] * len(holds)
        first, last = np.array([(hold.first, hold.last) for hold in holds]).T
        counts = self._so_far[last + 1] - self._so_far[first]
        most = counts.max(axis=1)
        is_tied = (counts == most[:, None]).sum(axis=1) > 1
        columns = (counts.argmax(axis=1), most > 0, is_tied)
        return [
            self._first_of_most(hold) if tied else self._names[at] if named else None
            for hold, at, named, tied in zip(holds, *(c.tolist() for c in columns), strict=True)
        ]

    def _first_of_most(self, hold: Hold) -> str | None:
        named = Counter(self._labels[hold.first : hold.last + 1])
        del named[None]
        return named.most_common(1)[0][0] if named else None


def _rests_s(holds: Sequence[Hold], strains: Sequence[Strain]) -> list[float]:
    """Return the time from each hold of one angle to the next strained one."""
    rests_s: list[float] = []
    next_start_s = {hold.source: nan for hold in holds}
    for hold, strain in zip(reversed(holds), reversed(strains), strict=True):
        rests_s.append(next_start_s[hold.source] - hold.start_s - hold.length_s)
        if strain > 0:
            next_start_s[hold.source] = hold.start_s
    return rests_s[::-1]


def longest(holds: Sequence[HoldRecord], angle: str) -> HoldRecord | None:
    """Return the longest strained hold of one angle, or None."""
    strained = [hold for hold in holds if hold.is_strained and hold.angle.name == angle]
    return max(strained, key=lambda hold: hold.length_s, default=None)
