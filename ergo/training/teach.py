"""Teach the branch of joints anew: rendered scenes in, ``joints.npz`` out.

    python -m ergo.training.teach FOLDER [FOLDER ...] [--out FILE] [--start FILE]

Needs rendered scenes (JPEG and JSON record, see :mod:`ergo.training.scenes`),
PyTorch and, for more than a trial, an accelerator; for those who use the program
nothing here runs. The last stages of the heavy network and two heads learn
from changed crops of true people what :func:`ergo.training.torch_head.loss`
says: likely places and depths (Laplace), and limbs in their true directions. The
second head learns from upright crops near clinicians' hands the same of the
patient, and whether there is one.

The committed weights come from two teachings. First 9,485 people in 4,635 pictures:
3,673 steps with 70 convolutions frozen, then 3,436 with 100. From there (``--start``)
50,029 people in 24,000 other pictures, the patient's head afresh: 256 crops a step, 70
frozen, 2,346 steps while the pictures were still being drawn, and, the rates raised to
0.6 of what they were, 3,138 more; 14 minutes on one accelerator. Pictures kept their
numbers as bfloat16 there.
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
    from ergo.training.torch_lying import Beds

RATE, BODY_RATE = 1e-3, 0.25e-3  # of the head, and of what the network had learned before
DECAY, BODY_DECAY = 0.03, 0.01
WARM_UP = 200  # steps over which the rates rise; then they fall along half a cosine
LEAST_RATE = 0.01  # of the rate, at the end
MOST_SLOPE = 2.0  # longer gradients are shortened to this
AVERAGED = 0.999  # share of the running mean of weights that each step keeps: what is stored
ROLE_WEIGHT = {"operator": 1.0, "assistant": 0.8, "patient": 0.35}
LYING_SHARE = 0.3  # of the crops: those in which a patient is looked for
CLINICIAN_WEIGHT = {"operator": 1.0, "assistant": 0.25}  # at whose hands
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
    detector = PoseNetwork("heavy", at_once=cores)
    people = [
        (at, person)
        for at, scene in enumerate(scenes)
        for person in scene.people
        if person["visible_fraction"] >= LEAST_VISIBLE
    ]
    with ThreadPoolExecutor(cores) as pool:
        boxes = pool.map(lambda one: settled_box(scenes[one[0]], one[1], detector), people)
        for (at, person), box in zip(people, boxes, strict=True):
            weight = ROLE_WEIGHT[person["role"]] * (1.0 if box else UNSETTLED_WEIGHT)
            yield at, person, box or true_box(person), weight


def looked_for(scenes: Sequence[Scene]) -> Iterator[tuple[int, Person, Person | None, float]]:
    """Yield scene, clinician, patient or None, and how often to look for one at those hands.

    Where a patient is there but hardly in view, nothing can be asked.
    """
    for at, scene in enumerate(scenes):
        patients = [person for person in scene.people if person["role"] == "patient"]
        if all(person["visible_fraction"] >= LEAST_VISIBLE for person in patients):
            for person in scene.people:
                weight = CLINICIAN_WEIGHT.get(person["role"], 0.0)
                if weight and person["visible_fraction"] >= LEAST_VISIBLE:
                    yield at, person, patients[0] if patients else None, weight


def rate_share(step: int, steps: int) -> float:
    """Return by what the learning rates are multiplied at one step."""
    fallen = 0.5 * (1 + cos(pi * step / steps))
    return min(1.0, (step + 1) / WARM_UP) * (LEAST_RATE + (1 - LEAST_RATE) * fallen)


def taught(
    people: "People",
    often: FloatArray,
    beds: "Beds",
    looked_often: FloatArray,
    course: Course,
    start: Path | None = None,
) -> dict[str, FloatArray]:
    """Return the weights of the branch after teaching, by the names they are stored under.

    Parameters
    ----------
    people : People
    often : array (person,)
        How often each is shown, against the others.
    beds : Beds
    looked_often : array (look,)
        How often a patient is looked for in each way, against the others.
    course : Course
    start : Path, optional
        Weights to go on from.
    """
    import torch

    from ergo.training.torch_graph import read_graph

    torch.manual_seed(0)
    device = str(people.pictures.device)
    graph = read_graph(device)
    learning = {name: values.to(device) for name, values in _fresh_heads().items()}
    learning |= graph.weights(course.frozen)
    kept: dict[str, FloatArray] = {} if start is None else read_weights(start)
    for name in learning.keys() & kept.keys():
        learning[name] = torch.tensor(kept[name], device=device)
    for values in learning.values():
        values.requires_grad_()
    fixed = {
        name: torch.tensor(kept[name], device=device) for name in kept.keys() - learning.keys()
    }
    mean = _descended((people, often), (beds, looked_often), course, graph, fixed, learning)
    return kept | {name: values.cpu().numpy() for name, values in mean.items()}


def _fresh_heads() -> dict[str, Any]:
    from ergo.training.torch_head import fresh_head

    return fresh_head("head") | fresh_head("patient")


def _descended(
    people: tuple["People", FloatArray],
    beds: tuple["Beds", FloatArray],
    course: Course,
    graph: Any,
    fixed: Any,
    learning: Any,
) -> Any:
    """Return the running mean of weights that go down the slope of the loss."""
    import torch

    optimiser = _optimiser(learning)
    mean = {name: values.detach().clone() for name, values in learning.items()}
    for step in range(course.steps):
        for group in optimiser.param_groups:
            group["lr"] = group["initial_lr"] * rate_share(step, course.steps)
        missed = _missed(people, beds, course.crops, graph, fixed | learning)
        optimiser.zero_grad()
        missed.backward()
        torch.nn.utils.clip_grad_norm_(list(learning.values()), MOST_SLOPE)
        optimiser.step()
        kept = min(AVERAGED, (step + 1) / (step + 20))
        for name, values in learning.items():
            mean[name].lerp_(values.detach(), 1 - kept)
        if step % TOLD_EVERY == 0:
            sys.stdout.write(f"step {step}: loss {float(missed.detach()):.3f}\n")
    return mean


def _missed(
    people: tuple["People", FloatArray],
    beds: tuple["Beds", FloatArray],
    crops: int,
    graph: Any,
    weights: Any,
) -> Any:
    """Return the mean loss of one batch, some of its crops near clinicians' hands."""
    import torch

    from ergo.training.torch_crops import batch
    from ergo.training.torch_head import loss, lying_loss, told
    from ergo.training.torch_lying import lying_batch

    device = people[0].pictures.device
    lying = round(LYING_SHARE * crops)
    own, near = crops - lying, lying

    def drawn(often: FloatArray, many: int) -> Any:
        return torch.multinomial(torch.tensor(often, device=device), many, replacement=True)

    bodies, wanted = batch(people[0], drawn(people[1], own))
    hands, wanted_near, is_there = lying_batch(beds[0], drawn(beds[1], near))
    with torch.autocast(device.type, torch.bfloat16, enabled=device.type != "cpu"):
        texture, impression = graph.features(weights, torch.cat([bodies, hands]))
        found = told(weights, texture[:own], impression[:own])
        found_near = told(weights, texture[own:], impression[own:], "patient")
    missed = loss(found, wanted).sum() + lying_loss(found_near, wanted_near, is_there).sum()
    return missed / crops


def _optimiser(learning: Any) -> Any:
    from torch.optim import AdamW

    def group(is_body: bool, rate: float, decay: float) -> dict[str, Any]:
        own = [one for name, one in learning.items() if name.startswith("taught/") == is_body]
        return {"params": own, "lr": rate, "initial_lr": rate, "weight_decay": decay}

    groups = [group(False, RATE, DECAY), group(True, BODY_RATE, BODY_DECAY)]
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
    from ergo.training.torch_lying import beds_of

    scenes = [
        read_scene(path) for folder in given.folders for path in sorted(folder.glob("*.json"))
    ]
    seen = list(seen_people(scenes))
    device = "cuda" if torch.cuda.is_available() else "cpu"
    people = people_of(scenes, [one[:3] for one in seen], device)
    looks = list(looked_for(scenes))
    beds = beds_of(scenes, [one[:3] for one in looks], people.pictures)
    course = Course(given.steps, given.crops, given.frozen)
    often, looked_often = (np.array([one[-1] for one in rows]) for rows in (seen, looks))
    write_weights(given.out, taught(people, often, beds, looked_often, course, given.start))


if __name__ == "__main__":
    main()
