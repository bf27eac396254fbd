"""Draw scenes of an operator and an assistant at one patient as joints, without a picture.

    python -m ergo.training.draw_pairs GENERATOR CACHE [--scenes N] [--out FILE]

GENERATOR is the folder of the scene generator that also made the rendered stills
(``body.py``, ``posture.py``, ``scene.py``; no part of the project, with the packages
that it names, and numpy 2), CACHE the file in which it keeps its body shapes. Its own
scenes were made more varied, so that no exact number of theirs can be learned: the
assistant's stool stands 2 to 22 cm above the usual and 3 to 25 cm further off, half
of the time with one or both hands at the mouth; the operator's hands reach the mouth
in a third of the scenes and miss it by whatever the arms allow in the others; one
operator in six sits far outside chairside work.
"""

import argparse
import importlib
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from ergo.arrays import FloatArray
from ergo.landmarks.joints import JOINTS
from ergo.tracking.pairs import mirrored
from ergo.training.scenes import recorded

SHAPES = 300
FIRST_SEED = 1_000_000  # of the scenes; none of the rendered stills has one of these
SIDES = ("left", "right")
_SCENES, _SHAPES_SEED, _ROUNDS = 3600, 7, 5


class Generator:
    """The generator's modules, and its bodies with no more skin than the points need.

    Parameters
    ----------
    folder, cache : Path
    """

    def __init__(self, folder: Path, cache: Path) -> None:
        sys.path.insert(0, str(folder))
        self.body: Any = importlib.import_module("body")
        self.posture: Any = importlib.import_module("posture")
        self.scene: Any = importlib.import_module("scene")
        self.model = self.body.Model(str(cache))
        kept = sorted(set(self.model.points.values()))
        rng = np.random.default_rng(_SHAPES_SEED)
        self._shapes = [self._shape(rng, kept) for _ in range(SHAPES)]
        self._neutral: dict[int, Any] = {}
        self.model.w, self.model.wi = self.model.w[kept], self.model.wi[kept]
        self.model.points = {name: kept.index(at) for name, at in self.model.points.items()}

    def _shape(self, rng: np.random.Generator, kept: Sequence[int]) -> Any:
        body = self.body.Body(self.model, **self.scene.phenotype(rng))
        body.V0 = body.V0[kept]
        return body.V0, body.J0

    def somebody(self, which: int, *, is_seated: bool = True) -> Any:
        """Return a body of one of the shapes, before it takes a posture."""
        one = self.body.Body.__new__(self.body.Body)
        one.m, (one.V0, one.J0) = self.model, self._shapes[which]
        one.R, one.root = np.repeat(np.eye(3)[None], len(self.model.bones), 0), one.J0[0].copy()
        if is_seated:
            if which not in self._neutral:
                self._neutral[which] = self.posture.set_neutral(one).neutral
            one.neutral = self._neutral[which]
        return one


def drawn(draw: Generator, seed: int) -> tuple[FloatArray, FloatArray]:
    """Return joints, array (operator or assistant, joint, xyz), and the mouth, array (xyz,).

    Level axes, z up, origin under the patient's head; a left-handed operator's
    scene is given mirrored. [m]
    """
    rng = np.random.default_rng(seed)
    is_left = rng.random() < 0.5
    hours, assistant_hours = rng.uniform(7.0, 12.6), rng.uniform(2.0, 4.2)
    if hours > 12:
        assistant_hours = rng.uniform(2.9, 4.2)
    if is_left:
        hours, assistant_hours = 24 - hours, 12 - assistant_hours
    shapes = rng.choice(SHAPES, 3, replace=False)
    operator, assistant = draw.somebody(shapes[0]), draw.somebody(shapes[1])
    patient = draw.somebody(shapes[2], is_seated=False)
    hips_m = _knee_m(operator) + 0.03 + rng.uniform(-0.02, 0.12)
    mouth = _lie_down(draw, patient, operator, hips_m, rng)
    _seat_operator(draw, operator, hours, hips_m, mouth, rng)
    _seat_assistant(draw, assistant, assistant_hours, mouth, rng)
    joints = np.array([_joints(operator), _joints(assistant)])
    return (mirrored(joints), mouth * (-1, 1, 1)) if is_left else (joints, mouth)


def _knee_m(body: Any) -> float:
    return float(body.joint0("lowerleg01.L")[2])


def _lie_down(
    draw: Generator, patient: Any, operator: Any, hips_m: float, rng: np.random.Generator
) -> FloatArray:
    """Let the patient lie at the operator's elbow height; return the mouth."""
    neutral = operator.neutral["points"]
    elbow_m = hips_m + neutral["elbow_left"][2] - neutral["mid_hip"][2]
    head_m = max(elbow_m + 0.02 + rng.uniform(-0.04, 0.06), hips_m + 0.24)
    incline, turn = rng.uniform(2, 16), rng.uniform(-25, 25)
    draw.posture.supine(patient, (0, 0), head_m, incline, chin=-6, turn=turn)
    points = patient.points()
    mouth = (points["nose_tip"] * 2 + points["head_centre"]) / 3 + (0, -0.055, 0)
    return np.asarray(mouth)


def _seat_operator(
    draw: Generator, body: Any, hours: float, hips_m: float, mouth: FloatArray, rng: Any
) -> None:
    draw.scene.BROAD = is_broad = rng.random() < 0.18
    pose = draw.scene.random_pose(rng)
    draw.scene.BROAD = False
    reaching = SIDES if not is_broad and rng.random() < 0.4 else ()
    turn_deg = rng.uniform(-18, 18)
    place = _place(hours, pose, rng.normal(0, 0.03))
    _seat(draw, body, pose, (*place, hips_m), turn_deg, mouth, reaching)


def _seat_assistant(draw: Generator, body: Any, hours: float, mouth: FloatArray, rng: Any) -> None:
    scene, pose = draw.scene, draw.scene.assistant_pose(rng)
    if rng.random() < 0.25:
        other = scene.random_pose(rng)
        other["trunk_flexion"] = min(other["trunk_flexion"], 28.0)
        other["neck_rotation"] = float(np.clip(other["neck_rotation"], -25, 25))
        pose = {**other, **(scene.arm_pose(rng, False) if rng.random() < 0.5 else {})}
    chance = rng.random()
    reaching: tuple[str, ...] = ()
    if chance >= 0.55:
        reaching = SIDES if chance >= 0.9 else (SIDES[int(rng.random() < 0.5)],)
    hips_m = _knee_m(body) + rng.uniform(0.02, 0.22)
    turn_deg = rng.uniform(-12, 12)
    place = _place(hours, pose, rng.uniform(0.03, 0.25))
    _seat(draw, body, pose, (*place, hips_m), turn_deg, mouth + (0, 0, 0.03), reaching)


def _place(hours: float, pose: Mapping[str, float], further_m: float) -> FloatArray:
    """Return the place of the hips on the plan, array (xy,), as the generator chooses it. [m]."""
    bearing = np.radians(hours * 30)
    lean = np.sin(np.radians(max(pose.get("trunk_flexion", 0), 0)))
    way = np.array([np.sin(bearing), np.cos(bearing)])
    return np.asarray((0.43 + further_m + 0.45 * lean) * way)


def _seat(
    draw: Generator,
    body: Any,
    pose: Mapping[str, float],
    hips_m: tuple[float, ...],
    turn_deg: float,
    mouth: FloatArray,
    reaching: Sequence[str],
) -> None:
    """Seat a body facing the mouth, less ``turn_deg``; elbows bend so that some hands reach it."""
    to_mouth = mouth[:2] - hips_m[:2]
    yaw = np.degrees(np.arctan2(to_mouth[0], -to_mouth[1])) + turn_deg
    left = draw.body.rot(draw.body.UP, yaw) @ (1.0, 0, 0)
    target = {
        "L": mouth + left * 0.04 + draw.body.UP * 0.03,
        "R": mouth - left * 0.04 + draw.body.UP * 0.03,
    }
    seat = {
        "yaw": yaw, "hip_z": hips_m[2], "hip_xy": hips_m[:2], "spread": 20, "knee": 4,
        "target": target, "hands": {"curl": 26, "pron": 0, "drop": 8},
    }  # fmt: skip
    if reaching:
        draw.posture.seated(body, pose, **seat, iters=3)
        points, pose = body.points(), dict(pose)
        for side in reaching:
            upper = draw.body.unit(points[f"elbow_{side}"] - points[f"shoulder_{side}"])
            fore = draw.body.unit(target[side[0].upper()] - points[f"elbow_{side}"])
            bend = np.degrees(np.arccos(np.clip(upper @ fore, -1, 1)))
            pose[f"elbow_flexion_{side}"] = float(np.clip(bend, 5, 140))
    draw.posture.seated(body, pose, **seat, iters=_ROUNDS)


def _joints(body: Any) -> FloatArray:
    points = body.points()
    return np.array([points[recorded(name)] for name in JOINTS])


def main() -> None:
    """Draw scenes and store them."""
    parser = argparse.ArgumentParser(prog="python -m ergo.training.draw_pairs", description=__doc__)
    parser.add_argument("generator", type=Path)
    parser.add_argument("cache", type=Path)
    parser.add_argument("--scenes", type=int, default=_SCENES)
    parser.add_argument("--out", type=Path, default=Path("pair_scenes.parquet"))
    given = parser.parse_args()
    draw = Generator(given.generator, given.cache)
    scenes = [drawn(draw, FIRST_SEED + at) for at in range(given.scenes)]
    write_scenes(given.out, *map(np.array, zip(*scenes, strict=True)))


def write_scenes(path: Path, joints_m: FloatArray, mouth_m: FloatArray) -> None:
    """Write what :func:`ergo.training.pairs.read_scenes` reads, in whole millimetres."""
    table = pa.table({"joints_mm": _millimetres(joints_m), "mouth_mm": _millimetres(mouth_m)})
    pq.write_table(table, path, compression="zstd", compression_level=15, use_dictionary=False)


def _millimetres(values_m: FloatArray) -> pa.FixedSizeListArray:
    flat = np.rint(1000 * values_m.reshape(len(values_m), -1)).astype(np.int16)
    return pa.FixedSizeListArray.from_arrays(pa.array(flat.ravel()), flat.shape[1])


if __name__ == "__main__":
    main()
