"""Sessions of an invented operator, made of landmarks: one as it was, one made worse on purpose.

Twelve minutes, seen from the left at eye level by a camera of known place. A
posture is drawn anew every ten seconds from normal distributions (mean and
standard deviation below, in degrees) and kept, with half a degree of wandering.
``made_session`` takes changes of those means: {"neck_flexion": 15} makes a session
in which the neck is bent 15 degrees further and nothing else differs but chance.
"""

from pathlib import Path

import numpy as np

from ergo.app.analyse import evaluate_session
from ergo.frames.frame import SourceFacts
from ergo.landmarks.names import INDEX, LANDMARKS
from ergo.landmarks.pose_track import PoseTrack
from ergo.notes.notes import Notes
from ergo.posture.body_points import POINTS
from ergo.session.session import Recording, Settings
from ergo.storage.session_folder import write_session
from ergo.timeline import build_timeline
from tests.posture.bodies import Pose, built

RATE_HZ, MINUTES, KEPT_S = 1.0, 12, 10
MEANS = {"neck_flexion": -4.0, "trunk_flexion": 8.0, "trunk_side_bend": 0.0, "neck_side_bend": 0.0}
SPREADS = {"neck_flexion": 8.0, "trunk_flexion": 5.0, "trunk_side_bend": 3.0, "neck_side_bend": 3.0}
FOCAL_PX, MIDDLE_PX, AWAY_M = 900.0, (640.0, 360.0), 3.0
TO_THE_LEFT_DEG = 90.0
NOTES = {
    "handed": "right",
    "camera": {"width": 1280, "height": 720, "focal_px": FOCAL_PX, "pitch_deg": 0, "roll_deg": 0},
    "tasks": [{"task": "scaling"}],
    "clock": [{"hours": 9.0}],
}


def made_session(folder: Path, seed: int, worse: dict[str, float] | None = None) -> Path:
    """Write a session folder (session.json, landmarks.parquet)."""
    frames = int(MINUTES * 60 * RATE_HZ)
    track = _track(_postures(frames, np.random.default_rng(seed), worse or {}))
    time_s = np.arange(frames) / RATE_HZ
    name = f"{folder.name}.mp4"
    facts = SourceFacts(
        name, Path(name), "clip", 1280, 720, MINUTES * 60.0, 30.0, None, f"{seed:064x}"
    )
    timeline = build_timeline((name,), (time_s,), (True,))
    recording = Recording(
        Settings(rate_hz=RATE_HZ),
        (facts,),
        timeline,
        np.arange(frames) * 30,
        {"operator": track},
        {},
        {},
        (),
        {},
    )
    folder.mkdir(parents=True)
    write_session(evaluate_session(recording, (Notes.model_validate(NOTES),)), folder)
    return folder


def _postures(frames, chance, worse):
    """Return one Pose per frame."""
    steps = int(KEPT_S * RATE_HZ)
    drawn = {}
    for name, mean in MEANS.items():
        kept = chance.normal(mean + worse.get(name, 0.0), SPREADS[name], frames // steps + 1)
        drawn[name] = np.repeat(kept, steps)[:frames] + chance.normal(0, 0.5, frames)
    abduction = np.repeat(chance.normal(12, 3, frames // steps + 1), steps)[:frames]
    return [
        Pose(
            heading=TO_THE_LEFT_DEG,
            arms=((15.0, abduction[at], 90.0), (15.0, abduction[at], 90.0)),
            **{name: float(values[at]) for name, values in drawn.items()},
        )
        for at in range(frames)
    ]


def _points(body, names):
    """Return the named points, array (point, xyz); a network gives fingers and legs as well."""
    found = {name: body[name][0] for name in names}
    ahead = found["nose"] - (found["ear_left"] + found["ear_right"]) / 2
    for side in ("left", "right"):
        wrist, elbow = found[f"wrist_{side}"], found[f"elbow_{side}"]
        for finger in ("index", "pinky"):
            found[f"{finger}_{side}"] = wrist + 0.3 * (wrist - elbow)
        found[f"knee_{side}"] = found[f"hip_{side}"] + 0.4 * ahead / np.linalg.norm(ahead)
        found[f"ankle_{side}"] = found[f"knee_{side}"] + np.array([0.0, 0.4, 0.0])
    return np.array([found[name] for name in names])


def _track(poses):
    """Return what a network without error would say: level axes are the camera's own."""
    frames = len(poses)
    picture = np.full((frames, 1, len(LANDMARKS), 3), np.nan)
    world = picture.copy()
    ours = [name for name in LANDMARKS if name in POINTS]
    rows = [INDEX[name] for name in ours]
    for frame, pose in enumerate(poses):
        points = _points(built(pose), ours)
        depth = points[:, 2:] + AWAY_M
        picture[frame, 0, rows, :2] = FOCAL_PX * points[:, :2] / depth + MIDDLE_PX
        world[frame, 0, rows] = points - np.nanmean(points, axis=0)
    ones = np.ones(frames)
    return PoseTrack("operator", ("exact",), picture, world, np.ones(picture.shape[:3]), ones, ones)
