"""Joint centres, hidden ones included: a branch of the heavy network that was taught further.

The first stages of the landmark network are shared; its later stages exist a
second time with weights taught on scenes with exact truth (see the model card of
training), and a small head reads joint centres from them: where heat for a
joint lies, what texture is found there, and what the whole crop looks like. A second,
smaller head reads a patient's joints from an upright crop between a clinician's hands
and the patient's head, and whether there is a patient at all.
"""

import importlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from scipy.special import expit

from ergo.arrays import FloatArray
from ergo.errors import MissingLibrary

MODEL_PATH = Path(__file__).parent / "models" / "joints.npz"

_PAIRED = ("shoulder", "elbow", "wrist", "hip", "knee", "index", "pinky", "ear", "eye_outer")
JOINTS: tuple[str, ...] = (
    *(f"{stem}_{side}" for stem in _PAIRED for side in ("left", "right")),
    "c7",
    "nose",
)
"""Order of the joint axis. Shoulder, elbow, wrist, hip and knee are joint centres, ``index`` and
``pinky`` knuckles, ``ear`` the tragus, ``c7`` the spine's bump at the base of the neck."""

JOINT = {name: position for position, name in enumerate(JOINTS)}

CHANNELS = 48  # of the texture
CELLS = 64  # rows and columns of the texture
POOLED = {"head": 1, "patient": 2}  # cells either way that each head sees as one
HEAT_SCALE = 0.2  # of the texture, as taught
PLACE_SCALE, SIZE_SCALE, STEP = 4.0, 5.0, 0.05  # of inputs and outputs of the head, as taught
LYING_SIDE_M = 2.4  # of the upright crop in which a patient is looked for, at the clinician's hands
DEEP_STEP, USUAL, USUAL_DEEP = 0.2, -4.0, -3.0  # logarithms of usual spreads, as taught
_SPREAD = float(np.sqrt(3.0))  # standard deviation per axis of a radial Laplace distribution
_SPREAD_DEEP = float(np.sqrt(2.0))  # of a Laplace distribution


@dataclass(frozen=True, slots=True, eq=False)
class Joints:
    """Joint centres in the crop as it was shown.

    Attributes
    ----------
    place : array (joint, xyz)
        x, y -0.5..0.5 across the crop; z away from the camera relative to
        mid-hip in the same scale.
    spread : array (joint,)
        One standard deviation in the picture, per axis, in crops.
    deep_spread : array (joint,)
        One standard deviation of z, in crops.
    """

    place: FloatArray
    spread: FloatArray
    deep_spread: FloatArray


def joints_of(answer: FloatArray) -> Joints:
    """Return joints from what the branch gives out, array (5 per joint, then what is left)."""
    own = answer[: 5 * len(JOINTS)]
    across, spread, deep, deep_spread = np.split(own, np.array([2, 3, 4]) * len(JOINTS))
    place = np.column_stack([across.reshape(-1, 2), deep])
    return Joints(place, _SPREAD * np.exp(spread), _SPREAD_DEEP * np.exp(deep_spread))


def lying_of(answer: FloatArray) -> tuple[Joints, float]:
    """Return a patient's joints, and the belief, 0..1, that there is one.

    The crop has to be upright, its middle between a clinician's hands and the patient's
    head, a side :data:`LYING_SIDE_M` at the hands. Without a patient the joints mean nothing.

    Parameters
    ----------
    answer : array (number,)
        What the branch gives out: 5 per joint, 5 per joint of the patient, a logit.
    """
    joints = joints_of(answer[5 * len(JOINTS) :])
    return joints, float(expit(answer[10 * len(JOINTS)]))


def joint_branch(whole: Any, copy: Any, feeding: Sequence[Any]) -> Any:
    """Return the output of the branch on ``whole``, with the taught stages taken from ``copy``.

    Numbers that :func:`joints_of` reads, and after them, of weights that were taught
    to see patients, those that :func:`lying_of` reads.

    Parameters
    ----------
    whole, copy : model of the inference library
        The heavy network, and a copy of it.
    feeding : sequence of output
        Of ``copy``: the texture (channel, row, column), and the impression.
    """
    own = dict(zip(map(_key, copy.get_ordered_ops()), whole.get_ordered_ops(), strict=True))
    nodes, changed = copy.get_ordered_ops(), set()
    for name, weights in _weights().items():
        if name.startswith("taught/"):
            constant = _ops().constant(weights)
            before = nodes[int(name.removeprefix("taught/"))].output(0)
            if list(before.get_shape()) != list(weights.shape):
                raise MissingLibrary(
                    "reads the landmark network in another order than the joint branch expects.",
                    where="This version of openvino",
                    remedy="Install ergo again with its dependencies.",
                )
            before.replace(constant.output(0))
            changed.add(_key(constant))
    _share_first_stages(copy, own, changed)
    output = _told(*feeding)
    _weights.cache_clear()  # 40 MB that the compiled network holds by itself
    return output


def _key(node: Any) -> str:
    name: str = node.get_name()  # unique, unlike the friendly name
    return name


def _share_first_stages(copy: Any, own: Mapping[str, Any], changed: set[str]) -> None:
    """Let what was taught further in ``copy`` start from the same stages of the whole network.

    Parameters
    ----------
    own : mapping
        From the names of nodes in ``copy`` to the same nodes of the whole network.
    changed : set of str
        Names of the nodes with taught weights; grows by all that follows from them.
    """
    for node in copy.get_ordered_ops():
        sources = [(at, at.get_source_output()) for at in node.inputs()]
        if not changed.intersection(_key(source.get_node()) for _, source in sources):
            continue
        changed.add(_key(node))
        for at, source in sources:
            key = _key(source.get_node())
            if key not in changed and key in own:
                at.replace_source_output(own[key].output(source.get_index()))


def _told(texture: Any, impression: Any) -> Any:
    """Return the output of all heads that there are weights for."""
    op = _ops()
    own, _ = _head("head", texture, impression)
    if "patient/last/weight" not in _weights():
        return own.output(0)
    patient, hidden = _head("patient", texture, impression)
    return op.concat([own, patient, _linear(hidden, "patient/present")], 1).output(0)


def _head(name: str, texture: Any, impression: Any) -> tuple[Any, Any]:
    """Return what reads joints (1, 5 per joint) from texture and impression, and its last layer."""
    op, pooled = _ops(), POOLED[name]
    if pooled > 1:
        sides = [pooled] * 2
        texture = op.avg_pool(texture, sides, [0, 0], [0, 0], sides, True)
    seen = _swish(_convolved(op.multiply(texture, np.float32(HEAT_SCALE)), f"{name}/near", 1))
    seen = op.add(_swish(_convolved(seen, f"{name}/wider", 2)), seen)
    seen = op.add(_swish(_convolved(seen, f"{name}/widest", 4)), seen)
    joints, cells = len(JOINTS), (CELLS // pooled) ** 2
    heat = op.softmax(_shaped(_convolved(seen, f"{name}/places", 0), joints, cells), 2)
    textures = _shaped(_convolved(seen, f"{name}/texture", 0), -1, cells)
    own = op.matmul(heat, textures, False, True)
    middle, size = _middle_and_size(heat, CELLS // pooled)
    flat = [
        _shaped(impression, -1),
        _shaped(own, -1),
        op.multiply(_shaped(op.slice(middle, [0], [1], [1], [2]), -1), np.float32(PLACE_SCALE)),
        op.multiply(_shaped(op.slice(middle, [1], [2], [1], [2]), -1), np.float32(PLACE_SCALE)),
        op.multiply(_shaped(size, -1), np.float32(SIZE_SCALE)),
    ]
    first = _swish(_linear(op.concat(flat, 1), f"{name}/first"))
    second = op.add(_swish(_linear(first, f"{name}/second")), first)
    told = _shaped(_linear(second, f"{name}/last"), joints, 5)
    across = op.add(op.multiply(_part(told, 0, 2), np.float32(STEP)), middle)
    columns = [
        across,
        op.add(_part(told, 2, 3), np.float32(USUAL)),
        op.multiply(_part(told, 3, 4), np.float32(DEEP_STEP)),
        op.add(_part(told, 4, 5), np.float32(USUAL_DEEP)),
    ]
    return op.concat([_shaped(column, -1) for column in columns], 1), second


def _middle_and_size(heat: Any, cells: int) -> tuple[Any, Any]:
    """Return the middle (1, joint, xy) and size (1, joint, 1) of each joint's heat, in crops."""
    op = _ops()
    steps = (np.arange(cells, dtype=np.float32) + 0.5) / cells - 0.5
    down, right = (side.ravel() for side in np.meshgrid(steps, steps, indexing="ij"))
    places = np.stack([right, down], axis=1)
    squares = (places**2).sum(axis=1, keepdims=True)
    middle = op.matmul(heat, places[None], False, False)
    square = op.matmul(heat, squares[None].astype(np.float32), False, False)
    own = op.reduce_sum(op.multiply(middle, middle), np.array([2]), True)
    size = op.sqrt(op.add(op.relu(op.subtract(square, own)), np.float32(1e-6)))
    return middle, size


def _part(told: Any, start: int, stop: int) -> Any:
    return _ops().slice(told, [start], [stop], [1], [2])


def _shaped(values: Any, *shape: int) -> Any:
    return _ops().reshape(values, np.array([1, *shape]), False)


def _swish(values: Any) -> Any:
    return _ops().swish(values)


def _convolved(values: Any, layer: str, dilation: int) -> Any:
    """Return a convolution that keeps the size; dilation 0 = of single cells."""
    reach, apart = [dilation] * 2, [max(dilation, 1)] * 2
    weights, bias = _layer(layer)
    sums = _ops().convolution(values, weights, [1, 1], reach, reach, apart)
    return _ops().add(sums, bias[None, :, None, None])


def _linear(values: Any, layer: str) -> Any:
    weights, bias = _layer(layer)
    return _ops().add(_ops().matmul(values, weights, False, True), bias[None])


def _layer(name: str) -> tuple[FloatArray, FloatArray]:
    weights = _weights()
    return weights[f"{name}/weight"], weights[f"{name}/bias"]


def _ops() -> Any:
    return importlib.import_module("openvino.opset13")


@cache
def _weights() -> dict[str, Any]:
    return read_weights(MODEL_PATH)


def read_weights(path: Path) -> dict[str, Any]:
    """Return all weights by name; large ones are stored in 255 steps per output channel."""
    with np.load(path) as stored:
        plain = {name: stored[name] for name in stored.files}
    weights = {
        name: values.astype(np.float32)
        for name, values in plain.items()
        if not name.endswith(("/steps", "/step"))
    }
    for name in plain:
        if name.endswith("/steps"):
            stem = name.removesuffix("/steps")
            step = plain[stem + "/step"]
            values = plain[name] * step.reshape(-1, *[1] * (plain[name].ndim - 1))
            weights[stem] = values.astype(np.float32)
    return weights
