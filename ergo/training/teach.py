"""Teach the branch of joints anew: rendered scenes in, ``joints.npz`` out.

    python -m ergo.training.teach FOLDER [FOLDER ...] [--out FILE] [--start FILE]

Needs rendered scenes (JPEG and JSON record, see :mod:`ergo.training.scenes`),
PyTorch and, for more than a trial, an accelerator; for those who use the program
nothing here runs. The last stages of the heavy network and a fresh head learn
from changed crops of true people what :func:`ergo.training.torch_head.loss`
says: likely places and depths (Laplace), and limbs in their true directions.

The committed weights come from 9,485 people in 4,635 pictures: 3,673 steps with
70 convolutions frozen, then 3,436 with 100 (``--start`` goes on from a file),
14 minutes on one accelerator. They were also asked for the direction of up,
which the program does not use and this module leaves out.
"""

import argparse
import os
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields
from math import cos, pi
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ergo.arrays import FloatArray
from ergo.errors import MissingLibrary
from ergo.landmarks.joints import MODEL_PATH, read_weights
from ergo.landmarks.network import Box, PoseNetwork
from ergo.training.collect import settled_box
from ergo.training.packing import write_weights
from ergo.training.scenes import LEAST_VISIBLE, Person, Scene, read_scene, true_box

if TYPE_CHECKING:
    from ergo.training.torch_crops import People

RATE, BODY_RATE = 1e-3, 0.25e-3  # of the head, and of what the network had learned before
DECAY, BODY_DECAY = 0.03, 0.01
WARM_UP = 200  # steps over which the rates rise; then they fall along half a cosine
LEAST_RATE = 0.01  # of the rate, at the end
MOST_SLOPE = 2.0  # longer gradients are shortened to this
AVERAGED = 0.999  # share of the running mean of weights that each step keeps: what is stored
ROLE_WEIGHT = {"operator": 1.0, "assistant": 0.8, "patient": 0.35}
UNSETTLED_WEIGHT = 0.4  # of people whom following would lose
TOLD_EVERY = 1  # steps


@dataclass(frozen=True, slots=True)
class Course:
    """How long and with what to teach.

    Attributes
    ----------
    steps : int
    crops : int
        Per step.
    frozen : int
        Convolutions, from the first, that stay as they are.
    """

    steps: int = 3000
    crops: int = 192
    frozen: int = 70


def seen_people(scenes: Sequence[Scene]) -> Iterator[tuple[int, Person, Box, float]]:
    """Yield scene, person, crop and how often to learn from it, of all who are in view."""
    cores = os.cpu_count() or 1
    eyes = PoseNetwork("heavy", at_once=cores)
    people = [
        (at, person)
        for at, scene in enumerate(scenes)
        for person in scene.people
        if person["visible_fraction"] >= LEAST_VISIBLE
    ]
    with ThreadPoolExecutor(cores) as pool:
        boxes = pool.map(lambda one: settled_box(scenes[one[0]], one[1], eyes), people)
        for (at, person), box in zip(people, boxes, strict=True):
            weight = ROLE_WEIGHT[person["role"]] * (1.0 if box else UNSETTLED_WEIGHT)
            yield at, person, box or true_box(person), weight


def rate_share(step: int, steps: int) -> float:
    """Return by what the learning rates are multiplied at one step."""
    fallen = 0.5 * (1 + cos(pi * step / steps))
    return min(1.0, (step + 1) / WARM_UP) * (LEAST_RATE + (1 - LEAST_RATE) * fallen)


def taught(
    people: "People", often: FloatArray, course: Course, start: Path | None = None
) -> dict[str, FloatArray]:
    """Return the weights of the branch after teaching, by the names they are stored under.

    Parameters
    ----------
    people : People
    often : array (person,)
        How often each is shown, against the others.
    course : Course
    start : Path, optional
        Weights to go on from.
    """
    import torch

    from ergo.training.torch_graph import read_graph
    from ergo.training.torch_head import fresh_head

    torch.manual_seed(0)
    device = str(people.pictures.device)
    graph = read_graph(device)
    learning = {name: values.to(device) for name, values in fresh_head().items()}
    learning |= graph.weights(course.frozen)
    kept: dict[str, FloatArray] = {} if start is None else read_weights(start)
    for name in learning.keys() & kept.keys():
        learning[name] = torch.tensor(kept[name], device=device)
    for values in learning.values():
        values.requires_grad_()
    fixed = {
        name: torch.tensor(kept[name], device=device) for name in kept.keys() - learning.keys()
    }
    mean = _descended(people, often, course, graph, fixed, learning)
    return kept | {name: values.cpu().numpy() for name, values in mean.items()}


def _descended(
    people: "People", often: FloatArray, course: Course, graph: Any, fixed: Any, learning: Any
) -> Any:
    """Return the running mean of weights that go down the slope of the loss."""
    import torch

    from ergo.training.torch_crops import batch
    from ergo.training.torch_head import loss, told

    optimiser = _optimiser(learning)
    mean = {name: values.detach().clone() for name, values in learning.items()}
    device = people.pictures.device
    chances = torch.tensor(often, device=device)
    for step in range(course.steps):
        crops, wanted = batch(people, torch.multinomial(chances, course.crops, replacement=True))
        for group in optimiser.param_groups:
            group["lr"] = group["initial_lr"] * rate_share(step, course.steps)
        with torch.autocast(device.type, torch.bfloat16, enabled=device.type != "cpu"):
            found = told(learning, *graph.features(fixed | learning, crops))
        missed = loss(found, wanted).mean()
        optimiser.zero_grad()
        missed.backward()
        torch.nn.utils.clip_grad_norm_(list(learning.values()), MOST_SLOPE)
        optimiser.step()
        kept = min(AVERAGED, (step + 1) / (step + 20))
        for name, values in learning.items():
            mean[name].lerp_(values.detach(), 1 - kept)
        if step % TOLD_EVERY == 0:
            sys.stdout.write(f"step {step}: loss {float(missed):.3f}\n")
    return mean


def _optimiser(learning: Any) -> Any:
    from torch.optim import AdamW

    def group(prefix: str, rate: float, decay: float) -> dict[str, Any]:
        own = [values for name, values in learning.items() if name.startswith(prefix)]
        return {"params": own, "lr": rate, "initial_lr": rate, "weight_decay": decay}

    groups = [group("head/", RATE, DECAY), group("taught/", BODY_RATE, BODY_DECAY)]
    return AdamW(groups, betas=(0.9, 0.98))


def main(arguments: Sequence[str] | None = None) -> None:
    """Teach on folders of stills and write the weights."""
    parser = argparse.ArgumentParser(prog="python -m ergo.training.teach", description=__doc__)
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--out", type=Path, default=MODEL_PATH)
    parser.add_argument("--start", type=Path)
    for field in fields(Course):
        parser.add_argument(f"--{field.name}", type=int, default=field.default)
    given = parser.parse_args(arguments)
    try:
        import torch
    except ImportError as error:
        raise MissingLibrary(
            "is needed for teaching.", where="torch", remedy="Run: pip install torch"
        ) from error

    from ergo.training.torch_crops import people_of

    scenes = [
        read_scene(path) for folder in given.folders for path in sorted(folder.glob("*.json"))
    ]
    seen = list(seen_people(scenes))
    device = "cuda" if torch.cuda.is_available() else "cpu"
    people = people_of(scenes, [one[:3] for one in seen], device)
    course = Course(given.steps, given.crops, given.frozen)
    often = np.array([weight for *_, weight in seen])
    write_weights(given.out, taught(people, often, course, given.start))


if __name__ == "__main__":
    main()
