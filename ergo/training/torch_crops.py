"""Crops of rendered people for teaching, as tensors: cut out, mirrored and changed.

Changes make pictures as different from one another as real rooms and cameras
are: sharpness, colours, light, things in front, noise.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import torch
from torch.nn import functional

from ergo.landmarks.joints import JOINT, JOINTS
from ergo.landmarks.network import CLOSER, CLOSER_TO_HEAD, INPUT_PX, MIRRORED_JOINTS, Box
from ergo.training.scenes import Person, Scene, true_px
from ergo.training.torch_head import Wanted

CLOSER_SHARE = 0.35  # of crops that show the upper body alone, as the second look does
MISPLACED, MISSIZED, MISTURNED_RAD = 0.04, 0.09, 0.15  # a crop while following: shift, log side
CLOSER_MISPLACED, CLOSER_MISSIZED = 0.05, 0.15
COVERS, COVERED_SHARE = 3, 0.22  # pieces laid over a crop, and how often each


@dataclass(frozen=True, slots=True, eq=False)
class People:
    """People of rendered stills, ready to be cut out.

    Attributes
    ----------
    pictures : tensor (picture, row, column, rgb)
        Whole numbers, 0..255; smaller pictures fill the upper left corner.
    picture : tensor (person,)
        Which one shows the person.
    size : tensor (person, xy)
        Of that picture. [px]
    box : tensor (person, number)
        The crop that following would take: x, y, side [px], angle [rad].
    across, deep : tensor (person, joint, xy), (person, joint)
        Where joints truly lie; depth from mid-hip in the same scale. [px]
    focal, centre : tensor (person,), (person, xy)
        Of the camera. [px]
    """

    pictures: Any
    picture: Any
    size: Any
    box: Any
    across: Any
    deep: Any
    focal: Any
    centre: Any


def people_of(
    scenes: Sequence[Scene],
    seen: Sequence[tuple[int, Person, Box]],
    device: str,
    pictures: Any = None,
) -> People:
    """Return people as tensors.

    Parameters
    ----------
    scenes : sequence of Scene
    seen : sequence of (int, Person, Box)
        Which scene shows the person, and the crop that following would take.
    device : str
    pictures : tensor, optional
        Those of the scenes, where they lie on the device already.
    """
    if pictures is None:
        pictures = _pictures(scenes).to(device)

    def numbers(values: Sequence[Any]) -> Any:
        return torch.tensor(np.array(values, dtype=np.float32), device=device)

    places = [scenes[at] for at, _, _ in seen]
    return People(
        pictures=pictures,
        picture=torch.tensor([at for at, _, _ in seen], device=device),
        size=numbers([scene.picture.shape[1::-1] for scene in places]),
        box=numbers([(box.x_px, box.y_px, box.side_px, box.angle_rad) for _, _, box in seen]),
        across=numbers([true_px(person, JOINTS) for _, person, _ in seen]),
        deep=numbers([_deep_px(scenes[at], person) for at, person, _ in seen]),
        focal=numbers([scene.lens[0, 0] for scene in places]),
        centre=numbers([scene.lens[:2, 2] for scene in places]),
    )


def _pictures(scenes: Sequence[Scene]) -> Any:
    largest = np.max([scene.picture.shape[:2] for scene in scenes], axis=0)
    pictures = torch.zeros((len(scenes), *largest.tolist(), 3), dtype=torch.uint8)
    for at, scene in enumerate(scenes):
        height, width = scene.picture.shape[:2]
        pictures[at, :height, :width] = torch.from_numpy(scene.picture)
    return pictures


def _deep_px(scene: Scene, person: Person) -> Any:
    """Return array (joint,): depths from mid-hip in the picture's scale at mid-hip. [px]."""
    depth_m = scene.in_camera_m(person, JOINTS)[:, 2]
    hips_m = depth_m[[JOINT["hip_left"], JOINT["hip_right"]]].mean()
    return (depth_m - hips_m) * scene.lens[0, 0] / hips_m


def batch(people: People, rows: Any) -> tuple[Any, Wanted]:
    """Return changed crops (crop, row, column, rgb) of some people, and what they truly show."""
    box = _shaken(people, rows)
    crops = cut_out(people, rows, box)
    is_mirrored = torch.rand(len(rows), device=box.device) < 0.5
    crops = torch.where(is_mirrored[:, None, None, None], crops.flip(2), crops)
    changed = change(crops.permute(0, 3, 1, 2)).permute(0, 2, 3, 1).contiguous()
    return changed, wanted(people, rows, box, is_mirrored)


def _shaken(people: People, rows: Any) -> Any:
    """Return crops somewhat off those that following takes, some of them of the upper body."""
    box = people.box[rows].clone()
    many = len(rows)

    def normal(*shape: int) -> Any:
        return torch.randn(*shape, device=box.device)

    shoulders, ears = (
        people.across[rows][:, [JOINT[f"{stem}_left"], JOINT[f"{stem}_right"]]].mean(1)
        for stem in ("shoulder", "ear")
    )
    closer = box.clone()
    closer[:, :2] = (1 - CLOSER_TO_HEAD) * shoulders + CLOSER_TO_HEAD * ears
    closer[:, 2] *= CLOSER
    closer[:, :2] += CLOSER_MISPLACED * closer[:, 2:3] * normal(many, 2)
    closer[:, 2] *= torch.exp(CLOSER_MISSIZED * normal(many))
    is_closer = torch.rand(many, 1, device=box.device) < CLOSER_SHARE
    box = torch.where(is_closer, closer, box)
    box[:, 2] *= torch.exp(MISSIZED * normal(many))
    box[:, :2] += MISPLACED * box[:, 2:3] * normal(many, 2)
    box[:, 3] += MISTURNED_RAD * normal(many)
    return box


def cut_out(people: People, rows: Any, box: Any) -> Any:
    """Return crops (crop, row, column, rgb), 0..1, edges repeated outside the picture."""
    steps = (torch.arange(INPUT_PX, device=box.device) + 0.5) / INPUT_PX - 0.5
    down, right = torch.meshgrid(steps, steps, indexing="ij")
    across = torch.stack([right, down], -1) @ _turn(box)[:, None].transpose(-1, -2)
    places = across * box[:, 2, None, None, None] + box[:, None, None, :2] - 0.5
    last = (people.size[rows] - 1)[:, None, None]
    places = torch.minimum(places.clamp(min=0), last)
    corner = places.floor()
    share = places - corner
    which = people.picture[rows][:, None, None]

    def at(right: int, down: int) -> Any:
        offset = torch.tensor([right, down], device=box.device)
        column, row = torch.minimum(corner + offset, last).long().unbind(-1)
        return people.pictures[which, row, column].float() / 255

    x, y = share[..., :1], share[..., 1:]
    above, below = at(0, 0) * (1 - x) + at(1, 0) * x, at(0, 1) * (1 - x) + at(1, 1) * x
    return above * (1 - y) + below * y


def _turn(box: Any) -> Any:
    """Return (crop, xy, xy) that turns crop directions into picture directions."""
    cosine, sine = torch.cos(box[:, 3]), torch.sin(box[:, 3])
    return torch.stack([cosine, -sine, sine, cosine], -1).reshape(-1, 2, 2)


def wanted(people: People, rows: Any, box: Any, is_mirrored: Any) -> Wanted:
    """Return what crops (x, y, side [px], angle [rad]) truly show, in crops."""
    side = box[:, 2]

    def in_crop(places: Any) -> Any:
        across = (places - box[:, None, :2]) @ _turn(box) / side[:, None, None]
        flip = torch.where(is_mirrored, -1.0, 1.0)[:, None]
        return torch.cat([across[..., :1] * flip[..., None], across[..., 1:]], -1)

    across, deep = in_crop(people.across[rows]), people.deep[rows] / side[:, None]
    swapped = torch.tensor(MIRRORED_JOINTS, device=box.device)
    return Wanted(
        across=torch.where(is_mirrored[:, None, None], across[:, swapped], across),
        deep=torch.where(is_mirrored[:, None], deep[:, swapped], deep),
        focal=people.focal[rows] / side,
        centre=in_crop(people.centre[rows][:, None])[:, 0],
    )


def change(crops: Any) -> Any:
    """Return crops (crop, rgb, row, column), 0..1, each changed in its own way."""
    changed = _lit(_coloured(_blurred_by_size(crops)))
    for _ in range(COVERS):
        changed = _covered(changed)
    return _noisy(changed)


def _random(crops: Any, *shape: int) -> Any:
    return torch.rand(len(crops), *shape, device=crops.device)


def _normal(crops: Any, *shape: int) -> Any:
    return torch.randn(len(crops), *shape, device=crops.device)


def _some(share: float, changed: Any, crops: Any) -> Any:
    return torch.where(_random(crops, 1, 1, 1) < share, changed, crops)


def _blurred_by_size(crops: Any) -> Any:
    size = int(torch.randint(70, 200, (1,)))
    small = functional.interpolate(crops, size=(size, size), mode="area")
    again = functional.interpolate(small, size=crops.shape[2:], mode="bilinear")
    return _some(0.3, again, crops)


def _coloured(crops: Any) -> Any:
    mixed = 0.12 * _normal(crops, 3, 3) * (_random(crops, 1, 1) < 0.7)
    mixed = mixed + torch.eye(3, device=crops.device)
    crops = torch.einsum("bij,bjhw->bihw", mixed, crops)
    return _some(0.12, crops.mean(1, keepdim=True).expand_as(crops), crops)


def _lit(crops: Any) -> Any:
    """Return crops in other light: curve, brightness, tint, contrast, brighter to one side."""
    lit = crops.clamp(1e-4, 1) ** torch.exp(0.3 * _normal(crops, 1, 1, 1))
    lit = lit * torch.exp(0.2 * _normal(crops, 1, 1, 1) + 0.07 * _normal(crops, 3, 1, 1))
    mean = lit.mean((1, 2, 3), keepdim=True)
    lit = (lit - mean) * torch.exp(0.25 * _normal(crops, 1, 1, 1)) + mean
    ramp = torch.linspace(-1, 1, crops.shape[-1], device=crops.device)
    across, down = 0.25 * _normal(crops, 1, 1, 1) * ramp, 0.25 * _normal(crops, 1, 1, 1) * ramp
    return lit * (1 + across + down.transpose(2, 3)).clamp(0.3, 1.8)


def _covered(crops: Any) -> Any:
    """Return crops with a turned rectangle laid over some: of one colour, or of another crop."""
    steps = torch.linspace(0, 1, crops.shape[-1], device=crops.device)
    down, right = torch.meshgrid(steps, steps, indexing="ij")
    x, y, angle = right - _random(crops, 1, 1), down - _random(crops, 1, 1), _random(crops, 1, 1)
    cosine, sine = torch.cos(torch.pi * angle), torch.sin(torch.pi * angle)
    wide, high = (0.02 + 0.13 * _random(crops, 1, 1) for _ in range(2))
    is_inside = ((x * cosine + y * sine).abs() < wide) & ((y * cosine - x * sine).abs() < high)
    is_inside &= _random(crops, 1, 1) < COVERED_SHARE
    other = crops[torch.randperm(len(crops), device=crops.device)].roll((37, 91), (2, 3))
    cover = _some(0.5, other, _random(crops, 3, 1, 1).expand_as(crops))
    return torch.where(is_inside[:, None], cover, crops)


def _noisy(crops: Any) -> Any:
    soft = crops
    for _ in range(int(torch.randint(1, 4, (1,)))):
        soft = functional.avg_pool2d(functional.pad(soft, (1, 1, 1, 1), mode="replicate"), 3, 1)
    crops = _some(0.3, soft, crops)
    strength = 0.04 * _random(crops, 1, 1, 1) * (_random(crops, 1, 1, 1) < 0.6)
    return (crops + strength * _normal(crops, *crops.shape[1:])).clamp(0, 1)
