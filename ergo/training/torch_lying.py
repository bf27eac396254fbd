"""Upright crops near clinicians' hands, to teach the patient's head by."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import torch

from ergo.landmarks.joints import JOINT, LYING_SIDE_M
from ergo.landmarks.network import Box
from ergo.training.scenes import Person, Scene, hands_px, px_per_m
from ergo.training.torch_crops import People, change, cut_out, people_of, wanted
from ergo.training.torch_head import Wanted

MISSCALED, MISPLACED_M = 0.12, 0.12  # of the clinician's scale (logarithm), of the crop's middle
MISTURNED_RAD = 0.14  # at most


@dataclass(frozen=True, slots=True, eq=False)
class Beds:
    """Clinicians' hands, and the patient near them or nobody.

    Attributes
    ----------
    people : People
        The patients; where there is none, anybody. Their boxes are x and y of the
        middle of the clinician's knuckles and, as side, the scale there. [px, px per m]
    is_there : tensor (look,)
        1 where there is a patient, otherwise 0.
    """

    people: People
    is_there: Any


def beds_of(
    scenes: Sequence[Scene], looks: Sequence[tuple[int, Person, Person | None]], pictures: Any
) -> Beds:
    """Return where patients are looked for, as tensors.

    Parameters
    ----------
    scenes : sequence of Scene
    looks : sequence of (int, Person, Person or None)
        Which scene, the clinician, the patient.
    pictures : tensor (picture, row, column, rgb)
        Of the scenes, as :class:`People` has them.
    """
    device = str(pictures.device)
    shown = []
    for at, clinician, patient in looks:
        x, y = hands_px(clinician)
        box = Box(x, y, px_per_m(scenes[at], clinician), 0.0)
        shown.append((at, patient or clinician, box))
    is_there = np.array([patient is not None for *_, patient in looks], dtype=np.float32)
    return Beds(people_of(scenes, shown, device, pictures), torch.tensor(is_there, device=device))


def lying_batch(beds: Beds, rows: Any) -> tuple[Any, Wanted, Any]:
    """Return changed crops (crop, row, column, rgb), what they show, and whether of a patient."""
    people, is_there = beds.people, beds.is_there[rows]
    box = _placed(people, rows, is_there)
    crops = cut_out(people, rows, box)
    is_mirrored = torch.rand(len(rows), device=box.device) < 0.5
    crops = torch.where(is_mirrored[:, None, None, None], crops.flip(2), crops)
    changed = change(crops.permute(0, 3, 1, 2)).permute(0, 2, 3, 1).contiguous()
    return changed, wanted(people, rows, box, is_mirrored), is_there


def _placed(people: People, rows: Any, is_there: Any) -> Any:
    """Return crops somewhere between hands and head, or at hands that have no patient."""
    hands = people.box[rows]
    many, device = len(rows), hands.device
    head = people.across[rows][:, [JOINT["ear_left"], JOINT["ear_right"]]].mean(1)
    share = torch.rand(many, 1, device=device) * is_there[:, None]
    scale = hands[:, 2:3] * torch.exp(MISSCALED * torch.randn(many, 1, device=device))
    middle = hands[:, :2] + share * (head - hands[:, :2])
    middle = middle + MISPLACED_M * scale * torch.randn(many, 2, device=device)
    turn = MISTURNED_RAD * (2 * torch.rand(many, 1, device=device) - 1)
    return torch.cat([middle, LYING_SIDE_M * scale, turn], 1)
