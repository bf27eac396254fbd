"""A small session folder of an invented operator, and a writer to be killed. No test."""

import os
import signal
import sys
import time
from pathlib import Path

import numpy as np

from ergo.app.analyse import evaluate_session
from ergo.frames.frame import SourceFacts
from ergo.landmarks.names import LANDMARKS
from ergo.landmarks.pose_track import PoseTrack
from ergo.library.library import open_library
from ergo.notes.notes import Notes
from ergo.session.session import Recording, Settings
from ergo.storage.session_folder import write_session
from ergo.timeline import build_timeline

ROUNDS = 50


def write_small_session(folder: Path, frames: int = 12) -> Path:
    """Write session.json and landmarks.parquet of a clip of a few frames."""
    chance = np.random.default_rng(5)
    points = chance.normal(300, 60, (frames, 1, len(LANDMARKS), 3))
    ones = np.ones(points.shape[:3])
    track = PoseTrack(
        "operator", ("heavy",), points, points / 500, ones, np.ones(frames), np.ones(frames)
    )
    facts = SourceFacts("a.mp4", Path("a.mp4"), "clip", 640, 480, 2.4, 30.0, None, "0" * 64)
    timeline = build_timeline(("a.mp4",), (np.arange(frames) / 5,), (True,))
    recording = Recording(
        Settings(), (facts,), timeline, np.arange(frames), {"operator": track}, {}, {}, (), {}
    )
    folder.mkdir(parents=True)
    write_session(evaluate_session(recording, (Notes(),)), folder)
    (folder / "plots").mkdir()
    (folder / "plots" / "drawing.svg").write_text("<svg/>")
    return folder


def write_until_killed(library: Path, source: Path, diary: Path, mark: str) -> None:
    """Add and delete sessions, writing down what is finished; never return."""
    with open_library(library) as opened, diary.open("a") as said:
        for number in range(10_000):
            name = f"{mark} {number}"
            opened.add(source, name, tags=["kept"])
            said.write(f"added {name}\n")
            said.flush()
            if number % 3 == 2:
                said.write(f"deleting {name}\n")
                said.flush()
                opened.delete(name)


def kill_at_random_moments(library: Path, source: Path, diary: Path) -> None:
    """Start the writer again and again; kill it within the time that a few sessions take."""
    chance = np.random.default_rng(8)
    longest_s = _some_work_s(library.with_name("warming up"), source)
    for turn in range(ROUNDS):
        child = os.fork()
        if child == 0:
            try:
                write_until_killed(library, source, diary, f"round {turn}")
            finally:
                os._exit(1)
        time.sleep(chance.uniform(0, longest_s))
        os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        if os.WTERMSIG(status) != signal.SIGKILL:
            raise RuntimeError(f"the writer of round {turn} ended by itself")


def _some_work_s(library: Path, source: Path) -> float:
    begun = time.monotonic()
    with open_library(library) as opened:
        for number in range(3):
            opened.add(source, str(number))
    return time.monotonic() - begun


if __name__ == "__main__":
    kill_at_random_moments(*map(Path, sys.argv[1:4]))
