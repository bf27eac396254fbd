"""Fit the network that tells operator from assistant by how both sit.

    python -m ergo.training.pairs

From ``pair_scenes.parquet``: true joints of an operator and an assistant at one
patient, in drawn scenes of which no picture was ever made. Each is seen by many
cameras; onto the true joints come errors and spreads that the joint branch made of
other people, seen from the same side, in ``examples.parquet``. How the scenes were
drawn is told in :mod:`ergo.training.draw_pairs`.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow.parquet as pq
from scipy.special import expit

from ergo.arrays import FloatArray, IndexArray
from ergo.landmarks.joints import JOINT, JOINTS
from ergo.landmarks.network import MIRRORED_JOINTS
from ergo.posture.body_points import POINTS
from ergo.tracking.pairs import MODEL_PATH, MOST_UNUSUAL, measures, mirrored
from ergo.training.examples import read_examples

SCENES_PATH = Path(__file__).parent / "pair_scenes.parquet"

VIEWS = 24  # of each scene
KNOWN_SHARE = 0.35  # of views in which the hand counts as known
LEFT_SHARE = 0.13  # left-handed operators among those not known; about a tenth of people, and doubt
ERRORS_LARGER = 1.15  # the examples were looked at more closely than people are who are told apart
WRONG_BODY_M = 0.25  # median error beyond which the look was at another body
SAME_SIDE = 40  # errors are taken from that many people seen most nearly from the same side
WIDTH_PX = 640
OFF_CENTRE = 0.08  # tangent by which cameras look past the people, one standard deviation
HIDDEN, DEEPER = 64, 32  # numbers in the two layers
LEAST_DEVIATION = 0.08  # [m] or of logarithms
ROUNDS, BATCH = 10, 512
_PACE, _DECAY, _MEMORY = 4e-3, 1e-3, (0.9, 0.999)
_POINT = {"c7": "trunk_top"}


@dataclass(frozen=True, slots=True, eq=False)
class Errors:
    """What the joint branch made of people, in the order of the side they were seen from.

    Attributes
    ----------
    side : array (person,)
        Direction of the person's own left, from the picture's right to away. [rad]
    off_m : array (person, joint, xyz)
        Seen against true joints, both from the own mid-hip in depth. [m]
    spread_m : array (person, joint)
    """

    side: FloatArray
    off_m: FloatArray
    spread_m: FloatArray


def read_scenes(path: Path = SCENES_PATH) -> tuple[FloatArray, FloatArray]:
    """Return joints, array (scene, operator or assistant, joint, xyz), and mouths (scene, xyz).

    Level axes, z up. All operators are right-handed: left-handed scenes were mirrored. [m]
    """
    table = pq.read_table(path)
    joints, mouth = (
        np.asarray(table.column(name).combine_chunks().flatten(), dtype=np.float64) / 1000
        for name in ("joints_mm", "mouth_mm")
    )
    return joints.reshape(-1, 2, len(JOINTS), 3), mouth.reshape(-1, 3)


def read_errors() -> Errors:
    """Return the errors of the examples, and of their mirror images."""
    examples = read_examples()
    true_m = examples.truth.xyz[:, [POINTS.index(_POINT.get(name, name)) for name in JOINTS]]
    true_px, px_per_m = seen(true_m, examples.focal_px)
    true_px[..., :2] += examples.centre_px[:, None]
    off_m = (examples.joint_px - true_px) / px_per_m[:, None, None]
    is_them = np.median(np.linalg.norm(off_m[..., :2], axis=-1), axis=1) < WRONG_BODY_M
    off_m, true_m = off_m[is_them], true_m[is_them]
    spread_m = (examples.joint_sd_px / px_per_m[:, None])[is_them]
    side = np.concatenate([side_of(true_m), side_of(mirrored(true_m))])
    order = np.argsort(side)
    return Errors(
        side[order],
        ERRORS_LARGER * np.concatenate([off_m, mirrored(off_m)])[order],
        ERRORS_LARGER * np.concatenate([spread_m, spread_m[:, MIRRORED_JOINTS]])[order],
    )


def seen(joints_m: FloatArray, focal_px: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return joints as the branch gives them, and the scale at mid-hip.

    Parameters
    ----------
    joints_m : array (..., joint, xyz)
        x right, y down, z ahead of the camera. [m]
    focal_px : array (...)

    Returns
    -------
    array (..., joint, xyz)
        From the middle of the picture; z from mid-hip. [px]
    array (...)
        [px / m]
    """
    hips_m = joints_m[..., [JOINT["hip_left"], JOINT["hip_right"]], 2].mean(axis=-1)
    px_per_m = focal_px / hips_m
    across = joints_m[..., :2] / joints_m[..., 2:] * focal_px[..., None, None]
    away = (joints_m[..., 2:] - hips_m[..., None, None]) * px_per_m[..., None, None]
    return np.concatenate([across, away], axis=-1), px_per_m


def side_of(joints_m: FloatArray) -> FloatArray:
    """Return array (...): direction of a person's own left, from right to away. [rad]."""
    lefts, rights = (
        joints_m[..., [JOINT[f"shoulder_{side}"], JOINT[f"hip_{side}"]], :].sum(axis=-2)
        for side in ("left", "right")
    )
    left = lefts - rights
    return np.asarray(np.arctan2(left[..., 2], left[..., 0]))


def through_cameras(
    joints_m: FloatArray, mouth_m: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Return each scene in the axes of a camera somewhere round it, and focal lengths [px].

    Parameters
    ----------
    joints_m : array (scene, person, joint, xyz)
        Level axes, z up. [m]
    mouth_m : array (scene, xyz)
        Of the patient. [m]
    """
    count = len(joints_m)
    is_high = rng.random(count) < 0.25
    rise = np.radians(np.where(is_high, rng.uniform(30, 58, count), rng.uniform(2, 30, count)))
    round_it = rng.uniform(-np.pi, np.pi, count)
    out = np.stack(
        [np.cos(rise) * np.cos(round_it), np.cos(rise) * np.sin(round_it), np.sin(rise)], axis=1
    )
    middle = joints_m[:, 0].mean(axis=1)
    aim = middle + rng.uniform(0, 0.6, (count, 1)) * (mouth_m - middle) * (1, 1, 0)
    lens = aim + out * rng.uniform(1.7, 3.2, (count, 1))
    lens[:, 2] = np.clip(lens[:, 2], 0.5, 2.6)
    reach = np.linalg.norm(aim - lens, axis=1, keepdims=True)
    ahead = _unit(aim + OFF_CENTRE * reach * rng.normal(0, 1, (count, 3)) - lens)
    right = _unit(np.cross(ahead, [0.0, 0.0, 1.0]))
    down = np.cross(ahead, right)
    roll = rng.normal(0, np.radians(2.5), (count, 1))
    right, down = (
        np.cos(roll) * right + np.sin(roll) * down,
        np.cos(roll) * down - np.sin(roll) * right,
    )
    turn = np.stack([right, down, ahead], axis=1)
    moved = np.einsum("sij,spkj->spki", turn, joints_m - lens[:, None, None])
    return moved, WIDTH_PX * rng.uniform(0.6, 1.0, count)


def _unit(way: FloatArray) -> FloatArray:
    return np.asarray(way / np.linalg.norm(way, axis=-1, keepdims=True))


def examples_of(
    joints_m: FloatArray, mouth_m: FloatArray, errors: Errors, rng: np.random.Generator
) -> FloatArray:
    """Return array (view, order, measure): the scenes as seen, the operator named first.

    Parameters
    ----------
    joints_m : array (scene, operator or assistant, joint, xyz)
    mouth_m : array (scene, xyz)
    errors : Errors
    """
    in_camera, focal_px = through_cameras(joints_m, mouth_m, rng)
    is_ahead = in_camera[..., 2].min(axis=(1, 2)) > 0.3
    in_camera, focal_px = in_camera[is_ahead], focal_px[is_ahead]
    place, px_per_m = seen(in_camera, np.repeat(focal_px[:, None], 2, axis=1))
    beside = rng.integers(-SAME_SIDE, SAME_SIDE + 1, px_per_m.shape)
    taken = (np.searchsorted(errors.side, side_of(in_camera)) + beside) % len(errors.side)
    place = place + errors.off_m[taken] * px_per_m[..., None, None]
    spread = errors.spread_m[taken] * px_per_m[..., None]
    shoulders = place[..., [JOINT["shoulder_left"], JOINT["shoulder_right"]], :2].mean(axis=2)
    in_view = np.abs(shoulders).max(axis=(1, 2)) < 0.6 * WIDTH_PX
    return _as_known(place[in_view], spread[in_view], rng)


def _as_known(place: FloatArray, spread: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Return measures; in some views the hand is known, in some of the others it is the left."""
    is_known = rng.random(len(place)) < KNOWN_SHARE
    is_left = ~is_known & (rng.random(len(place)) < LEFT_SHARE)
    place = np.where(is_left[:, None, None, None], mirrored(place), place)
    spread = np.where(is_left[:, None, None], spread[..., MIRRORED_JOINTS], spread)
    read = measures(place, spread, WIDTH_PX, is_known=False)
    read[..., -1] = is_known[:, None]
    return read


def fitted(read: FloatArray, seed: int = 0) -> dict[str, FloatArray]:
    """Return the arrays of the network for array (view, order, measure), operators named first."""
    rng = np.random.default_rng(seed)
    flat = read.reshape(-1, read.shape[-1])
    mean, deviation = flat.mean(axis=0), np.maximum(flat.std(axis=0), LEAST_DEVIATION)
    value = np.clip((read - mean) / deviation, -MOST_UNUSUAL, MOST_UNUSUAL).astype(np.float32)
    weights = _fresh(read.shape[-1], rng)
    speed = {name: np.zeros_like(values) for name, values in weights.items()}
    square = {name: np.zeros_like(values) for name, values in weights.items()}
    steps = ROUNDS * -(-len(value) // BATCH)
    for step, batch in enumerate(_batches(len(value), rng), start=1):
        pace = _PACE * min(step / (0.3 * steps), (steps - step + 1) / (0.7 * steps))
        for name, slope in slopes(weights, value[batch]).items():
            speed[name] += (1 - _MEMORY[0]) * (slope - speed[name])
            square[name] += (1 - _MEMORY[1]) * (slope**2 - square[name])
            steady = np.sqrt(square[name] / (1 - _MEMORY[1] ** step)) + 1e-8
            move = speed[name] / (1 - _MEMORY[0] ** step) / steady
            weights[name] -= np.float32(pace) * (move + np.float32(_DECAY) * weights[name])
    return {"mean": mean, "deviation": deviation, **weights}


def _fresh(count: int, rng: np.random.Generator) -> dict[str, Any]:
    shapes = {"first": (count, HIDDEN), "second": (HIDDEN, DEEPER), "last": (DEEPER,)}
    weights: dict[str, Any] = {}
    for layer, shape in shapes.items():
        reach = 1 / np.sqrt(shape[0])
        weights[f"{layer}/weight"] = rng.uniform(-reach, reach, shape).astype(np.float32)
        if layer != "last":
            weights[f"{layer}/bias"] = np.zeros(shape[1], dtype=np.float32)
    return weights


def _batches(count: int, rng: np.random.Generator) -> Iterator[IndexArray]:
    for _ in range(ROUNDS):
        order = rng.permutation(count)
        yield from (order[at : at + BATCH] for at in range(0, count, BATCH))


def slopes(weights: Mapping[str, FloatArray], value: FloatArray) -> dict[str, FloatArray]:
    """Return how the mean of -log(chance of the true order) rises with each weight.

    Parameters
    ----------
    value : array (pair, order, measure)
        Against mean and deviation; the operator named first.
    """
    first = value.reshape(-1, value.shape[-1])
    one_sum = first @ weights["first/weight"] + weights["first/bias"]
    second = one_sum * expit(one_sum)
    two_sum = second @ weights["second/weight"] + weights["second/bias"]
    third = two_sum * expit(two_sum)
    leaning = (third @ weights["last/weight"]).reshape(-1, 2)
    wrong = -expit(leaning[:, 1] - leaning[:, 0]) / len(value)
    back = np.stack([wrong, -wrong], axis=1).ravel().astype(np.float32)
    to_two = back[:, None] * weights["last/weight"] * _bend(two_sum)
    to_one = (to_two @ weights["second/weight"].T) * _bend(one_sum)
    return {
        "first/weight": first.T @ to_one,
        "first/bias": to_one.sum(axis=0),
        "second/weight": second.T @ to_two,
        "second/bias": to_two.sum(axis=0),
        "last/weight": third.T @ back,
    }


def _bend(summed: FloatArray) -> FloatArray:
    """Return the slope of x / (1 + exp(-x))."""
    share = expit(summed)
    return np.asarray(share * (1 + summed * (1 - share)))


def views_of(joints_m: FloatArray, mouth_m: FloatArray, seed: int = 0) -> FloatArray:
    """Return :data:`VIEWS` views of each scene as the fit takes them."""
    rng, errors = np.random.default_rng(seed), read_errors()
    return np.concatenate([examples_of(joints_m, mouth_m, errors, rng) for _ in range(VIEWS)])


def main() -> None:
    """Fit on the stored scenes and write the network."""
    network = fitted(views_of(*read_scenes()))
    stored = {name: values.astype(np.float16) for name, values in network.items()}
    with MODEL_PATH.open("wb") as file:
        np.savez_compressed(file, **stored)  # type: ignore[arg-type]


if __name__ == "__main__":
    main()
