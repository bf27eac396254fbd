"""A recording of two phones on one session: the rendered clip of ``data``, seen twice. No test."""

import hashlib
from dataclasses import replace
from pathlib import Path

import numpy as np

from ergo.frames.frame import SourceFacts
from ergo.session.session import Recording, Settings
from ergo.timeline import build_timeline
from ergo.tracking.join import join_sources
from tests.posture.bodies import scenes
from tests.posture.two_views import camera_at, seen_by

RATE_HZ = 5.0
STARTED_LATER_S = 2.6
REAR = (-1.7, 2.15, 1.55)
NAMES = ("side.mp4", "rear.mp4")


def moments(from_s: float, to_s: float):
    """True points of the operator (frame, point, xyz) at an even rate, and their times."""
    frames = scenes()["clip"]["frames"]
    known_s = np.array([frame["time_s"] for frame in frames])
    points = np.array([frame["points_m"] for frame in frames]).reshape(len(frames), -1)
    time_s = np.arange(from_s, to_s, 1 / RATE_HZ)
    even = np.stack([np.interp(time_s, known_s, column) for column in points.T], axis=1)
    return even.reshape(len(time_s), -1, 3), time_s


def recording(folder: Path = Path("invented"), *, noise: float = 0.0) -> Recording:
    """Two clips one after the other; the second began ``STARTED_LATER_S`` after the first."""
    own = scenes()["clip"]["camera"]
    cameras = (own, camera_at(REAR, like=own))
    seen = []
    for camera, (from_s, to_s) in zip(cameras, ((0.0, 18.0), (STARTED_LATER_S, 19.4)), strict=True):
        points, time_s = moments(from_s, to_s)
        chance = np.random.default_rng(len(seen))
        seen.append(
            seen_by(camera, scenes()["names"], points, time_s - from_s, noise=noise, chance=chance)
        )
    recording = as_recording(seen, NAMES, folder)
    return replace(recording, damage={NAMES[1]: "The file is cut off."})


def _hash(path: Path, number: int) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.exists() else f"{number:064x}"


def as_recording(views, names, folder: Path = Path("invented")) -> Recording:
    """What the program would have recorded of these views; a patient is seen by the first."""
    facts = tuple(
        SourceFacts(
            name, folder / name, "clip", 640, 480, None, 30.0, None, _hash(folder / name, at)
        )
        for at, name in enumerate(names)
    )
    times_s = tuple(view.timeline.time_s for view in views)
    tracks = [{"operator": view.track} for view in views]
    tracks[0]["patient"] = replace(views[0].track, role="patient", joint_px=None, joint_sd_px=None)
    return Recording(
        settings=Settings(rate_hz=RATE_HZ),
        sources=facts,
        timeline=build_timeline(tuple(names), times_s, (True,) * len(names)),
        number=np.concatenate([np.arange(len(each)) * 6 for each in times_s]),
        tracks=join_sources(tracks, [len(each) for each in times_s]),
        damage={},
        doubt={},
        skipped=(),
        versions={"ergo": "0.1.0"},
        edges={name: np.zeros((0, 2, 2)) for name in names},
    )
