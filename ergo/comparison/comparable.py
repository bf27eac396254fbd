"""Whether two recordings can be compared at all: view, camera place, what was done."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ergo.camera.camera import Camera
from ergo.comparison.pool import Measured
from ergo.exposure.groups import task_labels
from ergo.notes.excluded import is_excluded

DoubtKey = Literal[
    "other_view",
    "view_unknown",
    "other_camera_level",
    "other_camera_height",
    "other_lens",
    "other_tasks",
    "tasks_unknown",
    "other_unit",
    "other_share_seen",
    "single_sessions",
]

SAME_VIEW_DEG = 20.0
SAME_LEVEL_DEG = 5.0
SAME_HEIGHT_M = 0.2
SAME_LENS_SHARE = 0.1
SAME_TASK_SHARE = 0.3
SAME_SEEN_SHARE = 0.25
"""Differences up to these count as the same (ours)."""

SPOILING: frozenset[DoubtKey] = frozenset(
    {"other_view", "other_camera_level", "other_camera_height", "other_lens", "other_unit"}
)
"""Doubts after which the errors of measurement can no longer be taken as shared."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """One reason why a difference may not come from the change that was made.

    Attributes
    ----------
    key : str
    before, after : float
        The figures that differ; NaN where there is none. View, level: [deg];
        height: [m]; lens: horizontal field of view [deg]; tasks: share of time
        that would have to be spent otherwise; seen: share of time.
    """

    key: DoubtKey
    before: float
    after: float


def doubts_about(before: Sequence[Measured], after: Sequence[Measured]) -> tuple[Doubt, ...]:
    """Return what speaks against comparing two groups of sessions.

    Parameters
    ----------
    before, after : sequence of Measured
        At least one each.
    """
    found = [
        *_view(before, after),
        *_beyond("other_camera_level", before, after, lambda c: c.pitch_deg, SAME_LEVEL_DEG),
        *_beyond("other_camera_level", before, after, lambda c: c.roll_deg, SAME_LEVEL_DEG),
        *_beyond("other_camera_height", before, after, lambda c: c.height_m, SAME_HEIGHT_M),
        *_lens(before, after),
        *_tasks(before, after),
        *_seen(before, after),
    ]
    if {each.timeline.unit for each in before} != {each.timeline.unit for each in after}:
        found.append(Doubt("other_unit", np.nan, np.nan))
    if len(before) == len(after) == 1:
        found.append(Doubt("single_sessions", 1, 1))
    return tuple(found)


def _view(before: Sequence[Measured], after: Sequence[Measured]) -> list[Doubt]:
    first, second = _mean_azimuth_deg(before), _mean_azimuth_deg(after)
    apart = abs((second - first + 180) % 360 - 180)
    if not np.isfinite(apart):
        return [Doubt("view_unknown", first, second)]
    return [Doubt("other_view", first, second)] if apart > SAME_VIEW_DEG else []


def _mean_azimuth_deg(sessions: Sequence[Measured]) -> float:
    azimuth = np.concatenate([each.view_azimuth_deg for each in sessions])
    held = np.concatenate([each.timeline.held for each in sessions])
    known = np.isfinite(azimuth) & (held > 0)
    if not np.any(known):
        return float("nan")
    turned = np.sum(held[known] * np.exp(1j * np.radians(azimuth[known])))
    return float(np.degrees(np.angle(turned)))


def _cameras(sessions: Sequence[Measured]) -> list[Camera]:
    return [camera for each in sessions for camera in each.cameras]


def _beyond(
    key: DoubtKey,
    before: Sequence[Measured],
    after: Sequence[Measured],
    figure: Callable[[Camera], float | None],
    same: float,
) -> list[Doubt]:
    """Return a doubt if the mean figure of known cameras differs by more than ``same``."""
    means = []
    for sessions in (before, after):
        known = [
            value
            for camera in _cameras(sessions)
            if camera.level_origin != "assumed" and (value := figure(camera)) is not None
        ]
        means.append(float(np.mean(known)) if known else float("nan"))
    return [Doubt(key, *means)] if abs(means[1] - means[0]) > same else []


def _lens(before: Sequence[Measured], after: Sequence[Measured]) -> list[Doubt]:
    angles = [
        float(np.mean([_field_of_view_deg(camera) for camera in cameras])) if cameras else np.nan
        for cameras in (_cameras(before), _cameras(after))
    ]
    is_other = abs(angles[1] - angles[0]) > SAME_LENS_SHARE * angles[0]
    return [Doubt("other_lens", *angles)] if is_other else []


def _field_of_view_deg(camera: Camera) -> float:
    return float(np.degrees(2 * np.arctan(camera.width_px / 2 / camera.focal_px)))


def _tasks(before: Sequence[Measured], after: Sequence[Measured]) -> list[Doubt]:
    """Compare the shares of tasks: half the sum of differences (total variation distance)."""
    first, second = _task_shares(before), _task_shares(after)
    if first is None or second is None:
        return [Doubt("tasks_unknown", np.nan, np.nan)]
    moved = sum(abs(first[task] - second[task]) for task in {*first, *second}) / 2
    return [Doubt("other_tasks", 0.0, float(moved))] if moved > SAME_TASK_SHARE else []


def _task_shares(sessions: Sequence[Measured]) -> Counter[str] | None:
    held: Counter[str] = Counter()
    for each in sessions:
        labels, excluded = (
            task_labels(each.timeline, each.notes),
            is_excluded(each.timeline, each.notes),
        )
        for label, amount, is_out in zip(
            labels, each.timeline.held.tolist(), excluded.tolist(), strict=True
        ):
            if label is not None and not is_out:
                held[label] += amount
    total = sum(held.values())
    return Counter({task: amount / total for task, amount in held.items()}) if total else None


def _seen(before: Sequence[Measured], after: Sequence[Measured]) -> list[Doubt]:
    shares = [_share_seen(sessions) for sessions in (before, after)]
    is_other = abs(shares[1] - shares[0]) > SAME_SEEN_SHARE
    return [Doubt("other_share_seen", *shares)] if is_other else []


def _share_seen(sessions: Sequence[Measured]) -> float:
    seen = sum(float(np.sum(each.timeline.held[each.posture.person_found])) for each in sessions)
    total = sum(each.timeline.total for each in sessions)
    return seen / total if total > 0 else float("nan")
