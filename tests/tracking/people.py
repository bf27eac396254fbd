"""Invented people for tests: stick figures as the landmark network would give them."""

from dataclasses import replace

import numpy as np

from ergo.frames.frame import Frame, SourceFacts
from ergo.landmarks.names import INDEX, LANDMARKS
from ergo.landmarks.network import Box, PoseEstimate, box_round
from tests.tracking.recorded_finder import numbered_picture

RATE_HZ = 5.0
_UPRIGHT_M = {  # x right, y down, from mid-hip; the person faces the camera
    "nose": (0.0, -0.62),
    "ear_left": (0.07, -0.66),
    "ear_right": (-0.07, -0.66),
    "shoulder_left": (0.18, -0.48),
    "shoulder_right": (-0.18, -0.48),
    "elbow_left": (0.22, -0.22),
    "elbow_right": (-0.22, -0.22),
    "wrist_left": (0.08, -0.15),
    "wrist_right": (-0.08, -0.15),
    "index_left": (0.02, -0.14),
    "index_right": (-0.02, -0.14),
    "hip_left": (0.1, 0.0),
    "hip_right": (-0.1, 0.0),
    "knee_left": (0.2, 0.1),
    "knee_right": (-0.2, 0.1),
}


def person(at_px, *, px_per_m=300.0, lying=False, presence=1.0):
    """Return a look at somebody whose mid-hip lies at a point of the picture."""
    world = np.zeros((len(LANDMARKS), 3))
    for name, place in _UPRIGHT_M.items():
        world[INDEX[name], :2] = place
    if lying:
        world[:, :2] = np.column_stack([-world[:, 1], world[:, 0]])
    picture = world * px_per_m
    picture[:, :2] += at_px
    top = picture[INDEX["nose"], :2]
    return PoseEstimate(
        picture, world, np.full(len(LANDMARKS), 0.9), presence, box_round(np.array(at_px), top)
    )


def unseen():
    """Return a look at a crop in which nobody is."""
    return replace(person((0.0, 0.0)), presence=0.0, next_box=Box(0.0, 0.0, 100.0, 0.0))


class RecordedSource:
    """A clip of numbered pictures, at five a second."""

    damage = None

    def __init__(self, frames, *, kind="clip", first=0):
        self._frames, self._first = frames, first
        self.facts = SourceFacts(
            "clip", None, kind, 640, 480, frames / RATE_HZ, 30.0, None, "0" * 64
        )

    def __iter__(self):
        for number in range(self._first, self._frames):
            yield Frame(numbered_picture(number), number / RATE_HZ, 6 * number)
