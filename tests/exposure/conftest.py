"""Small sessions written down by hand: a few angles of a few frames."""

from dataclasses import dataclass

import numpy as np
import pytest

from ergo.exposure.summary import exposure_of
from ergo.notes.notes import Notes
from ergo.posture.angle_names import COLUMN, NAMES
from ergo.posture.posture_track import PostureTrack
from ergo.timeline import Timeline, build_timeline
from ergo.workplace.clock_track import ClockTrack


@dataclass(frozen=True)
class Written:
    """A session as written down; every angle that is not given was not seen."""

    timeline: Timeline
    posture: PostureTrack
    clock: ClockTrack
    notes: tuple[Notes, ...]

    def exposure(self, scores=()):
        return exposure_of(self.timeline, self.posture, self.clock, scores, self.notes)


def posture_of(frames, sd, **angles):
    value = np.full((frames, len(NAMES)), np.nan)
    for name, values in angles.items():
        value[:, COLUMN[name]] = values
    sds = np.where(np.isfinite(value), sd, np.nan)
    found = np.any(np.isfinite(value), axis=1)
    return PostureTrack(value, sds, found, np.zeros(frames, dtype=bool))


def clock_of(frames, hours):
    hours = np.broadcast_to(np.asarray(np.nan if hours is None else hours, float), (frames,))
    sd = np.where(np.isfinite(hours), 0.3, np.nan)
    return ClockTrack(hours, sd, ("not judged",) * frames, "notes")


def written(timeline, sd=0.001, hours=None, notes=None, **angles):
    frames = len(timeline)
    notes = tuple(notes) if notes else (Notes(),) * len(timeline.sources)
    return Written(timeline, posture_of(frames, sd, **angles), clock_of(frames, hours), notes)


def clip_of(time_s, name="clip.mp4"):
    return build_timeline((name,), (np.asarray(time_s, float),), (True,))


@pytest.fixture
def clip():
    """Return a clip with the given times; angles by name."""

    def make(time_s, **rest):
        return written(clip_of(time_s), **rest)

    return make


@pytest.fixture
def stills():
    """Return a session of that many stills; angles by name."""

    def make(count, **rest):
        names = tuple(f"still {number}.jpg" for number in range(count))
        timeline = build_timeline(names, (np.zeros(1),) * count, (False,) * count)
        return written(timeline, **rest)

    return make


@pytest.fixture
def on():
    """Return a session on a given timeline; angles by name."""
    return written


@pytest.fixture
def limits_in():
    """Return the shares of one angle by one rule out of an exposure or a group."""

    def find(holder, rule, angle):
        return next(
            each
            for each in holder.limits
            if (each.limits.rule, each.limits.angle.name) == (rule, angle)
        )

    return find
