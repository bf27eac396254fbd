"""Bench of the neutral moment: people whose neutral posture differs from the average.

    python -m tests.accuracy.neutral --scenes ../shared/scenes [--session DIR --truth CSV --at S]

The operator of ``clip_dev`` is given other necks and backs (head and trunk turned by a fixed
angle in every frame, the neutral posture too, so that the true relative angles stay), sits in
the neutral posture for two seconds first, and is projected into the clip's camera with errors
as large as those of the network's joints. ``--session`` is a folder that ``ergo analyse`` made
of a clip of real people, ``--truth`` the angles of it by time, ``--at`` an upright moment.
"""

import argparse
import csv
import json
import sys
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from ergo.app.analyse import evaluate_session
from ergo.arrays import FloatArray
from ergo.notes.notes import NeutralMoment, Notes
from ergo.posture.angle_names import ANGLES
from ergo.posture.mixing import rolled
from ergo.posture.posture_track import PostureTrack
from ergo.session.session import Recording
from ergo.storage.session_folder import read_session
from tests.accuracy.together import (
    HEAD,
    NEUTRAL_FRAMES,
    NOTHING_TO_COMPARE,
    PLACES,
    projected,
    true_of,
    truths,
    with_even_tragi,
)

Scene = Mapping[str, Any]

PEOPLE = ((0, 0), (8, 0), (-8, 0), (10, 4), (-6, -4), (4, -3), (-3, 5))
"""Head and trunk of each person: pitched forward against the average in the neutral posture.
Heads of people differ by 5 to 6 degrees (sd; Raine and Twomey 1997, from memory). [deg]"""
SEEDS = range(4)
RELATIVE = tuple(each.name for each in ANGLES if each.is_relative and "_deg" in each.name)
_LOWER = ("hip", "knee", "ankle", "heel", "toe")
_OF_HEAD = (*HEAD, "nose_tip", "head_centre")

Points = Mapping[str, FloatArray]


def turned_person(points: Points, head_deg: float, trunk_deg: float) -> dict[str, FloatArray]:
    """Return world points (z up) of the same person with another back and another neck."""
    hips = (points["hip_left"] - points["hip_right"]) * (1, 1, 0)
    left = hips / np.linalg.norm(hips)
    forward = Rotation.from_rotvec(left * np.radians(trunk_deg))
    middle = points["mid_hip"]
    moved = {
        name: place
        if any(each in name for each in _LOWER)
        else forward.apply(place - middle) + middle
        for name, place in points.items()
    }
    tragi = moved["tragus_left"], moved["tragus_right"]
    across = (tragi[0] - tragi[1]) / np.linalg.norm(tragi[0] - tragi[1])
    nod, ears = Rotation.from_rotvec(across * np.radians(head_deg)), (tragi[0] + tragi[1]) / 2
    return moved | {n: nod.apply(moved[n] - ears) + ears for n in _OF_HEAD if n in moved}


def as_person(clip: Scene, head_deg: float, trunk_deg: float) -> Scene:
    """Return the clip with another operator of the same true relative angles."""

    def turned(points: Points) -> dict[str, FloatArray]:
        arrays = {name: np.array(place, float) for name, place in points.items()}
        return turned_person(arrays, head_deg, trunk_deg)

    def moved(person: Mapping[str, Any]) -> dict[str, Any]:
        points = turned({name: each["xyz"] for name, each in person["points"].items()})
        return {**person, "points": {name: {"xyz": place} for name, place in points.items()}}

    frames = [
        {**f, "persons": [moved(p) for p in f["persons"] if p["role"] == "operator"]}
        for f in clip["frames"]
    ]
    return {**clip, "frames": frames, "neutral_points": turned(clip["neutral_points"])}


def both(recording: Recording, notes: Notes) -> tuple[PostureTrack, PostureTrack]:
    """Return the angles without and with the neutral moment of the notes."""
    alone = replace(recording, beside=())
    without = notes.model_copy(update={"neutral": None})
    return evaluate_session(alone, (without,)).posture, evaluate_session(alone, (notes,)).posture


def print_rows(title: str, off: Mapping[str, Sequence[tuple[FloatArray, FloatArray]]]) -> None:
    """Print mean error, and how often 90 % intervals hold, without and with the moment."""
    print(f"\n{title}\nangle                     error without  with   holds without   with   sd")
    for name, pairs in off.items():
        cells = []
        for error, sd in pairs:
            known = np.isfinite(error)
            cells.append((np.abs(error[known]), sd[known]))
        without, moment = cells
        print(
            f"{name:24} {np.mean(without[0]):12.1f} {np.mean(moment[0]):7.1f}"
            f" {np.mean(without[0] < 1.645 * without[1]):14.0%}"
            f" {np.mean(moment[0] < 1.645 * moment[1]):7.0%}"
            f"   {np.mean(without[1]):.1f} -> {np.mean(moment[1]):.1f}"
        )


def print_people(clip: Scene, people: Sequence[tuple[float, float]], title: str) -> None:
    """Print the errors over some people."""
    off: dict[str, list[list[tuple[FloatArray, FloatArray]]]] = {n: [[], []] for n in RELATIVE}
    true = truths(clip, range(0, len(clip["frames"]), 2))
    for person in people:
        for seed in SEEDS:
            made = as_person(clip, *person)
            place = next(iter(PLACES.values()))
            recording, notes = projected(made, place, 1.0, seed, neutral=True)
            for at, posture in enumerate(both(recording, notes)):
                for name in RELATIVE:
                    error = posture.angle(name)[NEUTRAL_FRAMES:] - true[:, true_of(name)]
                    sd = posture.angle_sd(name)[NEUTRAL_FRAMES:]
                    off[name][at].append((rolled(name, error), sd))
    print_rows(title, {name: [_together(each) for each in pairs] for name, pairs in off.items()})


def _together(pairs: Sequence[tuple[FloatArray, FloatArray]]) -> tuple[FloatArray, FloatArray]:
    return np.concatenate([e for e, _ in pairs]), np.concatenate([sd for _, sd in pairs])


def print_session(folder: Path, truth: Path, at_s: float) -> None:
    """Print the errors of a session of real people, a moment of it taken as neutral."""
    stored = read_session(folder)
    with truth.open(encoding="utf-8") as file:
        table = list(csv.DictReader(file))
    times = np.array([float(row["time_s"]) for row in table])
    nearest = [int(np.abs(times - t).argmin()) for t in stored.recording.timeline.time_s]
    notes = stored.notes[0].model_copy(update={"neutral": NeutralMoment(time_s=at_s)})
    postures = both(stored.recording, notes)
    off = {}
    for name in RELATIVE:
        true = np.array([float(row[name] or "nan") for row in table])[nearest]
        if np.isfinite(true).any():
            off[name] = [(rolled(name, p.angle(name) - true), p.angle_sd(name)) for p in postures]
    print_rows(f"{folder.name}, upright at {at_s:g} s", off)


def main(given: Sequence[str] | None = None) -> int:
    """Run the bench and return its exit code."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy.neutral", description=__doc__)
    parser.add_argument("--scenes", type=Path, default=Path("../shared/scenes"))
    parser.add_argument("--session", type=Path, help="session folder of a clip of real people")
    parser.add_argument("--truth", type=Path, help="true angles of that clip, by time_s")
    parser.add_argument("--at", type=float, default=0.2, help="an upright moment of it [s]")
    arguments = parser.parse_args(given)
    described = arguments.scenes / "clip_dev.json"
    if not described.is_file():
        print(f"{described}: not found; name its folder with --scenes.", file=sys.stderr)
        return NOTHING_TO_COMPARE
    if arguments.session and arguments.truth:
        print_session(arguments.session, arguments.truth, arguments.at)
        return 0
    clip = with_even_tragi(json.loads(described.read_text()))
    print_people(clip, PEOPLE[:1], "The average neutral posture")
    print_people(clip, PEOPLE[1:], "Neutral postures that differ")
    return 0


if __name__ == "__main__":
    sys.exit(main())
