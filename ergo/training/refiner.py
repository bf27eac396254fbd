"""``python -m ergo.training.refiner SCENES... MODEL``: fit the refiner of joint centres anew.

Needs rendered scenes and PyTorch, neither of which is part of the project; for
those who use the program nothing here runs. Fixed seeds, one thread: the same
machine gives the same model. The committed correction is fitted on joints by
refiners that had not seen their scene (``--without FOLD`` leaves one fold out).
"""

import argparse
import zlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from ergo.arrays import FloatArray
from ergo.landmarks.network import PoseNetwork
from ergo.landmarks.refine import JOINTS
from ergo.training.collect import Seen, seen_in

FOLDS = 3
EPOCHS, BATCH = 45, 128
WIDTH = 384
MOST_RATE, DECAY = 2e-3, 0.02
DROPPED_INPUTS, DROPPED_UNITS = 0.1, 0.3
BROAD_WEIGHT, PATIENT_WEIGHT = 3.0, 0.3


def fold_of(scene: str) -> int:
    """Return the fold of a scene, by its name alone."""
    return zlib.crc32(scene.encode()) % FOLDS


def standardised(inputs: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return inputs for the network, and the mean and deviation that made them."""
    mean, deviation = inputs.mean(axis=0), inputs.std(axis=0) + 0.02
    return np.clip((inputs - mean) / deviation, -5.0, 5.0), mean, deviation


def weight_of(seen: Seen) -> float:
    """Return how much one crop counts."""
    broad = BROAD_WEIGHT if "broad" in seen.scene else 1.0
    return broad * (PATIENT_WEIGHT if seen.role == "patient" else 1.0)


def fitted(seen: Sequence[Seen]) -> dict[str, FloatArray]:
    """Return the layers of a refiner fitted on crops."""
    import torch

    torch.manual_seed(0)
    torch.set_num_threads(1)
    inputs, mean, deviation = standardised(np.array([one.inputs for one in seen]))
    columns = [
        torch.tensor(np.asarray(column, dtype=np.float32))
        for column in (
            inputs,
            [one.start for one in seen],
            [one.truth for one in seen],
            [weight_of(one) for one in seen],
        )
    ]
    network = _network(inputs.shape[1])
    _descend(network, columns)
    layers = {"mean": mean, "deviation": deviation}
    for number, name in enumerate(("first", "second", "third", "last"), start=1):
        layers[f"w{number}"] = network[name].weight.detach().numpy()
        layers[f"b{number}"] = network[name].bias.detach().numpy()
    return layers


def _network(inputs: int) -> Any:
    from torch.nn import Linear, ModuleDict
    from torch.nn.init import zeros_

    network = ModuleDict(
        {
            "first": Linear(inputs, WIDTH),
            "second": Linear(WIDTH, WIDTH),
            "third": Linear(WIDTH, WIDTH),
            "last": Linear(WIDTH, 5 * len(JOINTS)),
        }
    )
    zeros_(network["last"].weight)
    zeros_(network["last"].bias)
    return network


def _descend(network: Any, columns: Sequence[Any]) -> None:
    import torch

    steps = -(-len(columns[0]) // BATCH)
    optimiser = torch.optim.AdamW(network.parameters(), lr=MOST_RATE / 2, weight_decay=DECAY)
    rate = torch.optim.lr_scheduler.OneCycleLR(
        optimiser, MOST_RATE, total_steps=EPOCHS * steps, pct_start=0.15
    )
    order = torch.Generator().manual_seed(0)
    for _ in range(EPOCHS):
        for some in torch.randperm(len(columns[0]), generator=order).split(BATCH):
            loss = _loss(network, *(column[some] for column in columns))
            optimiser.zero_grad()
            loss.backward()
            torch.nn.utils.clip_grad_norm_(network.parameters(), 1.0)
            optimiser.step()
            rate.step()


def _loss(network: Any, inputs: Any, start: Any, truth: Any, weight: Any) -> Any:
    """Return the negative log likelihood of Laplace distributions in the picture and in depth."""
    from torch.nn.functional import dropout, relu

    hidden = dropout(relu(network["first"](dropout(inputs, DROPPED_INPUTS))), DROPPED_UNITS)
    for name in ("second", "third"):
        hidden = dropout(hidden + relu(network[name](hidden)), DROPPED_UNITS)
    moved, spread, deeper, spread_deep = network["last"](hidden).split(
        [2 * len(JOINTS), len(JOINTS), len(JOINTS), len(JOINTS)], dim=1
    )
    spread, spread_deep = spread - 3.5, spread_deep - 3.0
    off = (start[..., :2] + 0.1 * moved.view(-1, len(JOINTS), 2) - truth[..., :2]).norm(dim=2)
    off_deep = (start[..., 2] + 0.1 * deeper - truth[..., 2]).abs()
    flat = 2 * spread + off * (-spread).exp()
    deep = spread_deep + off_deep * (-spread_deep).exp()
    return ((flat + 0.5 * deep).mean(dim=1) * weight).mean()


def main() -> None:
    """Look at every scene, fit, and write the model."""
    parser = argparse.ArgumentParser(prog="python -m ergo.training.refiner", description=__doc__)
    parser.add_argument("scenes", type=Path, nargs="+", help="folders of rendered scenes")
    parser.add_argument("model", type=Path, help="where to write the model (.npz)")
    parser.add_argument("--without", type=int, help="leave this fold of scenes out")
    given = parser.parse_args()
    eyes = PoseNetwork("heavy")
    records = [path for folder in given.scenes for path in sorted(folder.glob("*.json"))]
    used = [path for path in records if fold_of(path.stem) != given.without]
    layers = fitted([one for path in used for one in seen_in(path, eyes)])
    rounded = {
        name: value.astype(np.float16 if name.startswith("w") else np.float32)
        for name, value in layers.items()
    }
    np.savez(given.model, **rounded)  # type: ignore[arg-type]


if __name__ == "__main__":
    main()
