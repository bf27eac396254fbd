"""Postures and circumstances made to measure."""

from collections.abc import Callable, Mapping, Sequence

import numpy as np
import pytest

from ergo.notes.notes import Notes
from ergo.posture.angle_names import COLUMN, NAMES
from ergo.posture.posture_track import PostureTrack
from ergo.scores.circumstances import Circumstances, MuscleUse, circumstances
from ergo.timeline import Timeline

NEUTRAL = {
    "elbow_flexion_deg_left": 80.0,
    "elbow_flexion_deg_right": 80.0,
    "trunk_flexion_deg": 1.0,
    "trunk_inclination_deg": 1.0,
    "neck_flexion_deg": 5.0,
    "head_inclination_deg": 5.0,
}


def make_posture(
    frames: int = 1,
    sd: float | Mapping[str, float] = 0.0,
    **angles: float | Sequence[float],
) -> PostureTrack:
    value = np.zeros((frames, len(NAMES)))
    spread = np.full((frames, len(NAMES)), sd if isinstance(sd, float) else 0.0)
    for name, angle in (NEUTRAL | angles).items():
        value[:, COLUMN[name]] = angle
    if not isinstance(sd, float):
        for name, of_angle in sd.items():
            spread[:, COLUMN[name]] = of_angle
    spread[np.isnan(value)] = np.nan
    found = np.any(np.isfinite(value), axis=1)
    return PostureTrack(value, spread, found, np.zeros(frames, dtype=bool))


def make_timeline(frames: int = 1, rate_hz: float = 5.0) -> Timeline:
    return Timeline(
        sources=("clip.mp4",),
        source_index=np.zeros(frames, dtype=np.int64),
        time_s=np.arange(frames) / rate_hz,
        held=np.full(frames, 1 / rate_hz),
        is_still=np.zeros(frames, dtype=bool),
        unit="second",
    )


def make_circumstances(
    frames: int = 1, static: bool = False, repeated: bool = False, **notes: object
) -> Circumstances:
    use = MuscleUse(np.full(frames, static), np.full(frames, repeated))
    groups = ("left", "right", "body")
    by_group = {(method, group): use for method in ("rula", "reba") for group in groups}
    stated = Notes.model_validate(notes)
    return circumstances(make_timeline(frames), [stated], by_group)


@pytest.fixture(scope="session")
def posture_of() -> Callable[..., PostureTrack]:
    return make_posture


@pytest.fixture(scope="session")
def timeline_of() -> Callable[..., Timeline]:
    return make_timeline


@pytest.fixture(scope="session")
def circumstances_of() -> Callable[..., Circumstances]:
    return make_circumstances
