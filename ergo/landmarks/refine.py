"""Joint centres from what the landmark network saw, hidden ones included.

A small network on top of the landmark network, learned from scenes with exact
truth: its targets are true joint centres and skin points, its inputs the
network's own points, their heat and the texture that the network saw at them.
It needs no camera and costs about a millisecond.
"""

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from scipy.special import expit

from ergo.arrays import FloatArray
from ergo.landmarks.names import INDEX, LANDMARKS

MODEL_PATH = Path(__file__).parent / "models" / "refiner.npz"

_PAIRED = ("shoulder", "elbow", "wrist", "hip", "knee", "index", "pinky", "ear", "eye_outer")
JOINTS: tuple[str, ...] = (
    *(f"{stem}_{side}" for stem in _PAIRED for side in ("left", "right")),
    "c7",
    "nose",
)
"""Order of the joint axis. Shoulder, elbow, wrist, hip and knee are joint centres, ``index`` and
``pinky`` knuckles, ``ear`` the tragus, ``c7`` the spine's bump at the base of the neck."""

JOINT = {name: position for position, name in enumerate(JOINTS)}

_C7_BETWEEN = ("shoulder_left", "shoulder_right", "ear_left", "ear_right")
_STARTS = [
    [INDEX[name] for name in (_C7_BETWEEN if joint == "c7" else (joint,))] for joint in JOINTS
]
_HIPS = [INDEX["hip_left"], INDEX["hip_right"]]
_NEAR = 4  # half the 9 x 9 window in which a heat map is described
_LIMIT = 5.0  # standard deviations beyond which an input is no further off
_STEP = 0.1  # what one unit of the network's output moves a joint, in crops


@dataclass(frozen=True, slots=True, eq=False)
class Glimpse:
    """What the landmark network saw in one crop, in the crop as it was shown.

    Attributes
    ----------
    place : array (landmark, xy)
        The points, -0.5..0.5 across the crop.
    raw_place : array (landmark, xy)
        The same before heat maps moved them; texture is read there.
    world_m : array (landmark, xyz)
        The metric guess. [m]
    seen : array (landmark,)
        Logit of the belief that the landmark is in view.
    heat : array (row, column, landmark)
        Logits.
    texture : array (channel, row, column)
        What the heat maps are made from.
    """

    place: FloatArray
    raw_place: FloatArray
    world_m: FloatArray
    seen: FloatArray
    heat: FloatArray
    texture: FloatArray


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
    """

    place: FloatArray
    spread: FloatArray


def joints_in(glimpse: Glimpse) -> Joints:
    """Return the joint centres of the person in a crop."""
    layers = _layers()
    inputs = (inputs_of(glimpse) - layers["mean"]) / layers["deviation"]
    hidden = np.maximum(_through("1", np.clip(inputs, -_LIMIT, _LIMIT)), 0.0)
    for layer in ("2", "3"):
        hidden = hidden + np.maximum(_through(layer, hidden), 0.0)
    moved, spread, deeper, _ = np.split(_through("4", hidden), np.array([2, 3, 4]) * len(JOINTS))
    place = starts(glimpse)
    place[:, :2] += _STEP * moved.reshape(-1, 2)
    place[:, 2] += _STEP * deeper
    return Joints(place, np.sqrt(3.0) * np.exp(spread - 3.5))  # of a radial Laplace distribution


def starts(glimpse: Glimpse) -> FloatArray:
    """Return array (joint, xyz) in crops: where the landmarks alone would put each joint."""
    flat = glimpse.place - glimpse.place.mean(axis=0)
    world = glimpse.world_m[:, :2] - glimpse.world_m[:, :2].mean(axis=0)
    scale = (flat * world).sum() / max((world**2).sum(), 1e-6)  # crops per metre
    deep = scale * (glimpse.world_m[:, 2] - glimpse.world_m[_HIPS, 2].mean())
    points = np.concatenate([glimpse.place, deep[:, None]], axis=1)
    return np.stack([points[landmarks].mean(axis=0) for landmarks in _STARTS])


def inputs_of(glimpse: Glimpse) -> FloatArray:
    """Return array (input,): everything the refiner looks at."""
    return np.concatenate(
        [
            glimpse.place.ravel() * 4.0,
            glimpse.world_m.ravel() * 3.0,
            glimpse.seen * 0.1,
            _texture_at(glimpse).ravel(),
            _heat_at(glimpse).ravel(),
        ]
    )


def _cells(glimpse: Glimpse) -> FloatArray:
    """Return array (landmark, xy): raw places in cells of the heat map, inside it."""
    size = glimpse.heat.shape[0]
    cells: FloatArray = np.clip((glimpse.raw_place + 0.5) * size - 0.5, 0.0, size - 1.001)
    return cells


def _texture_at(glimpse: Glimpse) -> FloatArray:
    """Return array (landmark, channel): the texture at each raw place, between cells."""
    cells = _cells(glimpse)
    low = cells.astype(int)
    (x, y), (right, down) = low.T, (cells - low).T
    texture = glimpse.texture
    found: FloatArray = (
        texture[:, y, x] * (1 - right) * (1 - down)
        + texture[:, y, x + 1] * right * (1 - down)
        + texture[:, y + 1, x] * (1 - right) * down
        + texture[:, y + 1, x + 1] * right * down
    ).T
    return found


def _heat_at(glimpse: Glimpse) -> FloatArray:
    """Return array (landmark, 5): the heat's middle (x, y in cells), size, height; highest heat."""
    described = np.empty((len(LANDMARKS), 5))
    highest = expit(glimpse.heat[:, :, : len(LANDMARKS)].max(axis=(0, 1)))
    for landmark, (x, y) in enumerate(_cells(glimpse)):
        column, row = round(x), round(y)
        rows = slice(max(row - _NEAR, 0), row + _NEAR + 1)
        columns = slice(max(column - _NEAR, 0), column + _NEAR + 1)
        warm = expit(glimpse.heat[rows, columns, landmark])
        total = warm.sum() + 1e-6
        across = np.arange(columns.start, columns.start + warm.shape[1]) - x
        along = np.arange(rows.start, rows.start + warm.shape[0]) - y
        described[landmark] = (
            warm.sum(axis=0) @ across / total,
            warm.sum(axis=1) @ along / total,
            np.sqrt(total),
            warm.max(),
            highest[landmark],
        )
    return described


def _through(layer: str, values: FloatArray) -> FloatArray:
    """Return what a layer makes of values; ``einsum`` starts no threads, which cost more here."""
    layers = _layers()
    passed: FloatArray = np.einsum("ij,j->i", layers["w" + layer], values) + layers["b" + layer]
    return passed


@cache
def _layers() -> dict[str, FloatArray]:
    with np.load(MODEL_PATH) as stored:
        return {name: stored[name].astype(np.float64) for name in stored.files}
