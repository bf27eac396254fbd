"""Bench of the room: set-up from perturbed marks, level from edges, clock position.

    python -m tests.accuracy.room --scenes ../shared/scenes [--stills DIR] [--clip DIR]

``--stills`` and ``--clip`` are session folders that ``ergo analyse`` made of the
stills of ``dev`` and of ``clip_dev``; with them the clock is judged from the landmarks
that the program found. Marks are taken from the true camera and moved by 3 px.
"""

import argparse
import json
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from ergo.app.analyse import evaluate_session
from ergo.arrays import FloatArray
from ergo.camera.edges import level_of_edges
from ergo.camera.level import camera_for
from ergo.camera.set_up import solve_set_up
from ergo.camera.watch import room_edges
from ergo.errors import SetUpError
from ergo.frames.find import find_sources
from ergo.frames.frame import SourceFacts
from ergo.notes.notes import CameraNotes, Notes, SetUpNotes
from ergo.session.session import Recording
from ergo.storage.session_folder import read_session
from ergo.workplace.handedness import handed_by
from ergo.workplace.place_track import PlaceTrack
from tests.accuracy.truth import camera_notes

NOTHING_TO_COMPARE = 3
NOISE_PX, TAPE_SD_M = 3.0, 0.01
TILE_M = 0.6

Scene = Mapping[str, Any]


@dataclass
class Marker:
    """Marks what a person would mark in one scene, with an unsteady hand."""

    scene: Scene
    numbers: np.random.Generator

    def seen(self, points_m: Any) -> list[tuple[float, float]] | None:
        """Return where world points are marked; None where one is outside the picture."""
        camera = self.scene["camera"]
        points = np.atleast_2d(np.asarray(points_m, dtype=float))
        at = points @ np.array(camera["R"]).T + np.array(camera["t"])
        pixels = at @ np.array(camera["K"]).T
        pixels = pixels[:, :2] / pixels[:, 2:] + self.numbers.normal(0, NOISE_PX, (len(at), 2))
        size = (camera["width"], camera["height"])
        if (at[:, 2] < 0.3).any() or (pixels < 0).any() or (pixels > size).any():
            return None
        return [(float(x), float(y)) for x, y in pixels]

    def taped(self, length_m: float) -> float:
        return float(length_m + self.numbers.normal(0, TAPE_SD_M))


def chair_points(scene: Scene) -> dict[str, FloatArray]:
    """Return head and ends of the rendered chair, from its making round the patient."""
    patient = next(who for who in scene["persons"] if who["role"] == "patient")
    at = {name: np.array(point["xyz"]) for name, point in patient["points"].items()}
    head = at["head_centre"]
    knee, ankle = ((at[f"{j}_left"] + at[f"{j}_right"]) / 2 for j in ("knee", "ankle"))
    along = (ankle - knee) / np.linalg.norm(ankle - knee)
    return {
        "head": head,
        "head_end": np.array([0.0, head[1] + 0.09, head[2] - 0.105]),
        "foot_end": (ankle + 0.12 * along + np.array([0, 0, -0.07])) * [0, 1, 1],
    }


def marks_of(scene: Scene, seed: int) -> SetUpNotes | None:
    """Return perturbed marks: chair, vertical edges, a tile; None if the chair is not in view."""
    marker = Marker(scene, np.random.default_rng(seed))
    points = chair_points(scene)
    seen = {key: marker.seen(point) for key, point in points.items()}
    if any(place is None for place in seen.values()):
        return None
    length = float(np.linalg.norm(points["foot_end"] - points["head_end"]))
    return SetUpNotes.model_validate(
        {
            **{key: place[0] for key, place in seen.items() if place},
            "chair_length_m": marker.taped(length),
            "chair_height_m": marker.taped(points["head_end"][2]),
            "vertical": _edges(marker),
            "floor": _tile(marker),
        }
    )


def _edges(marker: Marker) -> list[dict[str, Any]]:
    found = []
    for x, y in ((-2.0, 2.2), (0.0, 2.5), (2.0, 2.2), (2.5, 0.0), (-2.5, 0.0), (1.5, -3.0)):
        for low, high in ((0.3, 1.9), (0.1, 1.2), (0.8, 1.8)):
            ends = marker.seen([[x, y, low], [x, y, high]])
            if ends is not None:
                found.append({"ends": ends})
                break
    return found[:3]


def _tile(marker: Marker) -> list[dict[str, Any]]:
    for _ in range(200):
        x, y = marker.numbers.uniform(-1.6, 1.6, 2)
        square = np.array([[0, 0, 0], [0, 1, 0], [1, 1, 0], [1, 0, 0]]) * TILE_M
        corners = marker.seen(square + [x, y, 0])
        if corners is not None:
            return [{"corners": corners, "first_side_m": TILE_M, "second_side_m": TILE_M}]
    return []


def notes_of(scene: Scene, seed: int) -> Notes | None:
    """Return the notes of a practice that marked its room: lens unknown, height measured."""
    marks = marks_of(scene, seed)
    height = scene["camera"]["position"][2] + np.random.default_rng(seed).normal(0, TAPE_SD_M)
    return None if marks is None else Notes(camera=CameraNotes(height_m=height), setup=marks)


def hours_off(found: FloatArray, true: FloatArray) -> FloatArray:
    """Return differences of clock positions, -6..6 [h]."""
    off: FloatArray = (found - true + 6) % 12 - 6
    return off


def within(off: FloatArray, limit: float) -> str:
    known = np.abs(off[np.isfinite(off)])
    return f"{np.mean(known <= limit):.0%}" if len(known) else "-"


def print_set_up(scenes: Mapping[str, Scene], facts: Mapping[str, SourceFacts]) -> None:
    """Print errors of tilt, roll and the chair's turn by view."""
    by_view: dict[str, list[tuple[float, float, float]]] = {}
    refused = 0
    for seed, (name, scene) in enumerate(scenes.items()):
        notes = notes_of(scene, seed) if scene["scene"]["patient"] else None
        if notes is None:
            continue
        try:
            found = solve_set_up(facts[name], notes)
        except SetUpError:
            refused += 1
            continue
        true = camera_notes(scene["camera"])
        errors = (
            found.camera.pitch_deg - float(true["pitch_deg"]),
            found.camera.roll_deg - float(true["roll_deg"]),
            found.residual_px,
        )
        for key in (scene["view"], "all"):
            by_view.setdefault(key, []).append(errors)
    print(f"Set-up from marks, {NOISE_PX:g} px off; refused: {refused}")
    print("view                 n  tilt: median  <=1 deg   roll: median  <=1 deg  residual px")
    for view, rows in sorted(by_view.items()):
        off = np.array(rows)
        print(
            f"{view:18} {len(off):3}  {np.median(np.abs(off[:, 0])):12.2f}"
            f" {within(off[:, 0], 1):>9}"
            f" {np.median(np.abs(off[:, 1])):13.2f} {within(off[:, 1], 1):>9}"
            f" {np.median(off[:, 2]):12.1f}"
        )


def print_gravity(scenes: Mapping[str, Scene], facts: Mapping[str, SourceFacts]) -> None:
    """Print how far up from the room's edges is off, nothing known of the camera."""
    off: list[float] = []
    for name, scene in scenes.items():
        camera = camera_for(facts[name], Notes())
        room = level_of_edges(room_edges(facts[name]), camera)
        if room is not None:
            up = replace(camera, pitch_deg=room.pitch_deg, roll_deg=room.roll_deg).up
            true_up = np.array(scene["camera"]["R"])[:, 2]
            off.append(float(np.degrees(np.arccos(np.clip(up @ true_up, -1, 1)))))
    print(
        f"\nUp from the room's edges: told in {len(off)} of {len(scenes)} stills, "
        f"median {np.median(off):.1f} deg, within 3 deg in {np.mean(np.array(off) <= 3):.0%}"
    )


def print_clock(
    title: str,
    recording: Recording,
    true: FloatArray,
    seen: FloatArray,
    notes_for: Callable[[int], Sequence[Notes]],
    repeats: int,
) -> None:
    """Print how far the clock position is off, and whether its intervals hold."""
    off, sd = [], []
    for seed in range(repeats):
        try:
            place = evaluate_session(recording, notes_for(seed)).place
        except SetUpError as error:
            print(f"  refused: {error}")
            continue
        off.append(hours_off(place.hours, true))
        sd.append(place.sd_hours)
    error, spread = np.concatenate(off), np.concatenate(sd)
    wanted = np.tile(np.isfinite(true) & (seen > 0), len(off))
    known = np.isfinite(error) & wanted
    error, spread = np.abs(error[known]), spread[known]
    held = np.mean(error < 1.645 * spread) if len(error) else np.nan
    middle = np.median(error) if len(error) else np.nan
    print(
        f"{title}: judged {known.sum() / max(wanted.sum(), 1):.0%} of {wanted.sum()}, "
        f"median {middle:.2f} h, within 0.6 h {within(error, 0.6)}, within 1 h {within(error, 1)}, "
        f"90 % intervals hold {held:.0%}"
    )


def _clock_of_stills(folder: Path, scenes: Mapping[str, Scene], root: Path) -> None:
    recording = read_session(folder).recording
    names = [Path(each.name).stem for each in recording.sources]
    facts = tuple(
        replace(f, path=root / "dev" / f"{n}.jpg")
        for f, n in zip(recording.sources, names, strict=True)
    )
    recording = replace(recording, sources=facts, edges={f.name: room_edges(f) for f in facts})
    has = [scenes[name]["scene"]["patient"] for name in names]
    true = np.array(
        [scenes[n]["clock_hours"] if h else np.nan for n, h in zip(names, has, strict=True)]
    )
    both = recording.tracks["operator"].found * 1.0
    patient = recording.tracks.get("patient")
    is_seen = both * (patient.found if patient is not None else 0.0)

    def marked(seed: int) -> list[Notes]:
        chosen = []
        for at, (name, each) in enumerate(zip(names, has, strict=True)):
            notes = notes_of(scenes[name], 100 * seed + at) if each else None
            try:
                if notes is not None:
                    solve_set_up(facts[at], notes)
            except SetUpError:
                notes = None
            chosen.append(notes or Notes())
        return chosen

    marked_once = marked(1)
    with_marks = np.array([notes.setup is not None for notes in marked_once])
    print_clock(
        "Clock, stills, set up", recording, true, both * with_marks, lambda _: marked_once, 1
    )
    nothing = [Notes()] * len(names)
    handed = [Notes(handed=scenes[name]["scene"]["handed"]) for name in names]
    for title, seen, notes in (
        ("Clock, stills, no set-up, both seen", is_seen, nothing),
        ("Clock, stills, no set-up, both there", both, nothing),
        ("Clock, stills, handedness noted, both there", both, handed),
    ):
        print_clock(title, recording, true, seen, lambda _, notes=notes: notes, 1)
    there = [scenes[name]["scene"] if h else None for name, h in zip(names, has, strict=True)]
    marked_there = [
        one if notes.setup else None for one, notes in zip(there, marked_once, strict=True)
    ]
    for title, notes, asked in (
        ("set up", marked_once, marked_there),
        ("no set-up", nothing, there),
    ):
        place = evaluate_session(recording, notes).place
        if place is not None:
            print_sides(title, place, asked)


def print_sides(title: str, place: PlaceTrack, there: Sequence[Mapping[str, Any] | None]) -> None:
    """Print how often hand and sides are told, and how often rightly; None = no patient."""
    known = [(at, scene) for at, scene in enumerate(there) if scene is not None]
    aided = [(at, scene) for at, scene in known if scene["assistant"]]
    rows = {
        "handedness": [(handed_by(place.right_handed[at]), each["handed"]) for at, each in known],
        "operator's side": [
            (_side(place.seat_m[at, 0], place.seat_sd_m[at, 0]), _side_of_hour(each["clock"]))
            for at, each in known
        ],
        "assistant's side": [
            (
                _side(place.assistant_m[at, 0], place.assistant_sd_m[at, 0]),
                _side_of_hour(each["as_clock"]),
            )
            for at, each in aided
        ],
    }
    for what, pairs in rows.items():
        right = [told == true for told, true in pairs if told and true]
        asked = sum(true is not None for _, true in pairs)
        share = f"{np.mean(right):.0%}" if right else "-"
        print(f"{what}, stills, {title}: told in {len(right)} of {asked}, of those right {share}")


BEHIND_H = 0.25
"""Who sits within this much of 12 o'clock sits on neither side. [h]"""


def _side(left_m: float, sd_m: float) -> str | None:
    """Return on which of the patient's sides a place is; None where it may be on either.

    That is where it is not known, or the middle lies within the ellipse that the plan draws.
    """
    if not abs(left_m) > sd_m:
        return None
    return "left" if left_m > 0 else "right"


def _side_of_hour(hours: float) -> str | None:
    off = (hours + 6) % 12 - 6
    return None if abs(off) < BEHIND_H else "left" if off > 0 else "right"


def _clock_of_clip(folder: Path, described: Path) -> None:
    stored = read_session(folder)
    recording = stored.recording
    content = json.loads(described.read_text())
    frames = content["frames"]
    true = np.array([frames[n]["clock_hours"] for n in recording.number])
    scene = {**frames[0], "scene": content["scene"], "view": "clip"}
    seen = recording.tracks["operator"].found * 1.0
    print_clock("Clock, clip, set up", recording, true, seen, lambda s: [notes_of(scene, s)], 8)
    print_clock("Clock, clip, no set-up", recording, true, seen, lambda _: [Notes()], 1)


def main(given: Sequence[str] | None = None) -> int:
    """Run the bench and return its exit code."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy.room", description=__doc__)
    parser.add_argument("--scenes", type=Path, default=Path("../shared/scenes"))
    parser.add_argument("--stills", type=Path, help="session folder of the stills of dev")
    parser.add_argument("--clip", type=Path, help="session folder of clip_dev")
    arguments = parser.parse_args(given)
    root = arguments.scenes
    if not (root / "dev").is_dir():
        print(f"{root}: scenes not found; name their folder with --scenes.", file=sys.stderr)
        return NOTHING_TO_COMPARE
    scenes = {
        path.stem: json.loads(path.read_text()) for path in sorted((root / "dev").glob("*.json"))
    }
    found = find_sources([root / "dev"], 1.0).sources
    facts = {Path(each.facts.name).stem: each.facts for each in found}
    print_set_up(scenes, facts)
    print_gravity(scenes, facts)
    if arguments.stills:
        _clock_of_stills(arguments.stills, scenes, root)
    if arguments.clip:
        _clock_of_clip(arguments.clip, root / "clip_dev.json")
    return 0


if __name__ == "__main__":
    sys.exit(main())
