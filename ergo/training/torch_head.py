"""The heads that read joints from texture and impression, in PyTorch, and what they are taught by.

The same heads as :func:`ergo.landmarks.joints.joint_branch` builds for the
inference library, with weights of the same names: ``head/...`` of the person whom the
crop was made for, ``patient/...`` of a patient near a clinician's hands.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import torch
from torch import nn
from torch.nn import functional

from ergo.landmarks.joints import (
    CHANNELS,
    DEEP_STEP,
    HEAT_SCALE,
    JOINT,
    JOINTS,
    PLACE_SCALE,
    POOLED,
    SIZE_SCALE,
    STEP,
    USUAL,
    USUAL_DEEP,
)

WIDTH = {"head": 96, "patient": 48}  # numbers per cell
TEXTURE, HIDDEN, IMPRESSION = 32, 512, 1152  # numbers per joint, layer, crop
DROPPED = 0.1  # of the inputs of each layer, while teaching
QUIET = 0.3  # by which the last layer starts smaller, near the middle of the heat

IN_CROP = 0.58  # of a crop's side from its middle: joints beyond can hardly be seen
UNSEEN_WEIGHT = 0.15  # of a joint outside the crop
DEEP_WEIGHT = 0.5  # of depths against places: they are less sure
LIKELIHOOD_WEIGHT, PLACE_WEIGHT, HEAT_WEIGHT, LIMB_WEIGHT = 0.5, 6.0, 3.0, 4.0
PRESENT_WEIGHT = 0.5  # of whether there is a patient
LEAST_LOG, LEAST_DEEP_LOG = -7.0, -6.0  # of spreads in crops: a quarter of a picture element

_SIDES = ("left", "right")
_LIMBS: tuple[tuple[tuple[str, ...], tuple[str, ...], float], ...] = (
    (("hip_left", "hip_right"), ("c7",), 1.5),
    (("hip_left", "hip_right"), ("shoulder_left", "shoulder_right"), 1.0),
    (("ear_left", "ear_right"), ("eye_outer_left", "eye_outer_right"), 1.0),
    *(((f"{stem}_right",), (f"{stem}_left",), 1.0) for stem in ("hip", "shoulder", "ear")),
    *(((f"shoulder_{side}",), (f"elbow_{side}",), 1.0) for side in _SIDES),
    *(((f"elbow_{side}",), (f"wrist_{side}",), 1.0) for side in _SIDES),
    *(((f"hip_{side}",), (f"knee_{side}",), 0.3) for side in _SIDES),
)
"""From the middle of joints to the middle of joints; how much the limb's direction counts."""


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """What the head tells of a batch of crops.

    Attributes
    ----------
    across : tensor (crop, joint, xy)
        -0.5..0.5 across the crop.
    deep : tensor (crop, joint)
        Away from the camera relative to mid-hip, in crops.
    spread, deep_spread : tensor (crop, joint)
        Logarithms of the scales of their Laplace distributions, in crops.
    middle : tensor (crop, joint, xy)
        Of the heat.
    present : tensor (crop,) or None
        Logit of there being a patient; None from the head that is not asked.
    """

    across: Any
    deep: Any
    spread: Any
    deep_spread: Any
    middle: Any
    present: Any = None


@dataclass(frozen=True, slots=True, eq=False)
class Wanted:
    """What the crops of a batch truly show.

    Attributes
    ----------
    across, deep : tensor (crop, joint, xy), (crop, joint)
        As of :class:`Told`.
    focal, centre : tensor (crop,), (crop, xy)
        Of the camera, in crops, from the middle of the crop along its own axes.
    """

    across: Any
    deep: Any
    focal: Any
    centre: Any


def fresh_head(head: str = "head") -> dict[str, Any]:
    """Return weights of one head, ``head`` or ``patient``, that has learned nothing."""
    joints, width = len(JOINTS), WIDTH[head]
    layers: dict[str, Any] = {
        "near": nn.Conv2d(CHANNELS, width, 3),
        "wider": nn.Conv2d(width, width, 3),
        "widest": nn.Conv2d(width, width, 3),
        "places": nn.Conv2d(width, joints, 1),
        "texture": nn.Conv2d(width, TEXTURE, 1),
        "first": nn.Linear(IMPRESSION + joints * (TEXTURE + 3), HIDDEN),
        "second": nn.Linear(HIDDEN, HIDDEN),
        "last": nn.Linear(HIDDEN, joints * 5),
    }
    if head == "patient":
        layers["present"] = nn.Linear(HIDDEN, 1)
    nn.init.zeros_(layers["last"].bias)
    layers["last"].weight.data *= QUIET
    return {
        f"{head}/{name}/{part}": values.detach()
        for name, layer in layers.items()
        for part, values in layer.named_parameters()
    }


def told(weights: Mapping[str, Any], texture: Any, impression: Any, head: str = "head") -> Told:
    """Return what a head tells of crops while it is taught (some inputs are dropped)."""
    joints = len(JOINTS)
    if POOLED[head] > 1:
        texture = functional.avg_pool2d(texture, POOLED[head])
    seen = functional.silu(_convolved(weights, f"{head}/near", texture * HEAT_SCALE, 1))
    seen = functional.silu(_convolved(weights, f"{head}/wider", seen, 2)) + seen
    seen = functional.silu(_convolved(weights, f"{head}/widest", seen, 4)) + seen
    heat = torch.softmax(_convolved(weights, f"{head}/places", seen, 0).flatten(2).float(), -1)
    own = heat @ _convolved(weights, f"{head}/texture", seen, 0).flatten(2).float().transpose(1, 2)
    middle, size = _middle_and_size(heat)
    flat = [
        impression.float(),
        own.flatten(1),
        PLACE_SCALE * middle[..., 0],
        PLACE_SCALE * middle[..., 1],
        SIZE_SCALE * size,
    ]
    first = functional.silu(_linear(weights, f"{head}/first", torch.cat(flat, 1)))
    second = functional.silu(_linear(weights, f"{head}/second", first)) + first
    last = functional.linear(second, weights[f"{head}/last/weight"], weights[f"{head}/last/bias"])
    present = None
    if f"{head}/present/weight" in weights:
        present = _linear(weights, f"{head}/present", second).float()[:, 0]
    last = last.float().reshape(-1, joints, 5)
    return Told(
        across=middle + STEP * last[..., :2],
        deep=DEEP_STEP * last[..., 3],
        spread=last[..., 2] + USUAL,
        deep_spread=last[..., 4] + USUAL_DEEP,
        middle=middle,
        present=present,
    )


def _convolved(weights: Mapping[str, Any], layer: str, seen: Any, dilation: int) -> Any:
    """Return a convolution that keeps the size; dilation 0 = of single cells."""
    kernel, bias = weights[f"{layer}/weight"], weights[f"{layer}/bias"]
    return functional.conv2d(seen, kernel, bias, 1, dilation, max(dilation, 1))


def _linear(weights: Mapping[str, Any], layer: str, values: Any) -> Any:
    kept = functional.dropout(values, DROPPED)
    return functional.linear(kept, weights[f"{layer}/weight"], weights[f"{layer}/bias"])


def _middle_and_size(heat: Any) -> tuple[Any, Any]:
    """Return the middle (crop, joint, xy) and size (crop, joint) of each joint's heat."""
    cells = round(heat.shape[-1] ** 0.5)
    steps = (torch.arange(cells, device=heat.device) + 0.5) / cells - 0.5
    down, right = torch.meshgrid(steps, steps, indexing="ij")
    places = torch.stack([right.flatten(), down.flatten()], 1)
    # sums, no matrix product, which would be rounded to few digits on an accelerator
    middle = (heat[..., None] * places).sum(2)
    square = (heat * (places**2).sum(1)).sum(2) - (middle**2).sum(-1)
    return middle, torch.sqrt(square.relu() + 1e-6)


def loss(found: Told, true: Wanted) -> Any:
    """Return what is to be made small, one number per crop.

    Places and depths are Laplace distributed round what is told, with the told
    scales: a radial one in the picture, a plain one in depth. To minus the
    logarithm of their likelihood come the distance of the told places and of
    the heat's middle, and the angle between true and told limbs in space.
    """
    off = _length(found.across - true.across)
    heat_off = _length(found.middle - true.across)
    is_in = (true.across.abs() < IN_CROP).all(-1).float()
    spread, deep_spread = (
        found.spread.clamp(LEAST_LOG, 0),
        found.deep_spread.clamp(LEAST_DEEP_LOG, 0),
    )
    unlikely = 2 * spread + off * torch.exp(-spread)
    deep_off = (found.deep - true.deep).abs()
    unlikely = unlikely + DEEP_WEIGHT * (deep_spread + deep_off * torch.exp(-deep_spread))
    unlikely = LIKELIHOOD_WEIGHT * unlikely * (is_in + UNSEEN_WEIGHT * (1 - is_in))
    misplaced = (PLACE_WEIGHT * off + HEAT_WEIGHT * heat_off) * is_in
    return (unlikely + misplaced).mean(1) + LIMB_WEIGHT * _turned(found, true, is_in)


def lying_loss(found: Told, true: Wanted, is_there: Any) -> Any:
    """Return what is to be made small of crops near a clinician's hands, one number per crop.

    Parameters
    ----------
    is_there : tensor (crop,)
        1 where there is a patient: without one the places count nothing.
    """
    doubt = functional.binary_cross_entropy_with_logits(found.present, is_there, reduction="none")
    return PRESENT_WEIGHT * doubt + loss(found, true) * is_there


def _length(values: Any) -> Any:
    return torch.sqrt((values**2).sum(-1) + 1e-8)


def _turned(found: Told, true: Wanted, is_in: Any) -> Any:
    """Return the weighted mean angle between true and told limbs inside each crop. [rad]."""
    told_space = _in_space(found.across, found.deep, true)
    true_space = _in_space(true.across, true.deep, true)
    total = torch.zeros_like(true.focal)
    for told_limb, true_limb, weight in zip(
        _limbs(told_space), _limbs(true_space), _limb_weights(is_in), strict=True
    ):
        cosine = functional.cosine_similarity(told_limb, true_limb, dim=-1)
        total = total + weight * torch.acos(cosine.clamp(-0.9999, 0.9999))
    return total / sum(weight for *_, weight in _LIMBS)


def _in_space(across: Any, deep: Any, true: Wanted) -> Any:
    """Return joints (crop, joint, xyz) in camera axes turned with the crop; scale is free."""
    focal = true.focal[:, None]
    depth = (1 + deep / focal).clamp(min=0.2)
    rays = (across - true.centre[:, None]) / focal[..., None]
    return torch.cat([rays * depth[..., None], depth[..., None]], -1)


def _limbs(space: Any) -> Iterator[Any]:
    for start, end, _ in _LIMBS:
        yield _middle(space, end) - _middle(space, start)


def _limb_weights(is_in: Any) -> Iterator[Any]:
    """Yield how much each limb counts, (crop,): nothing where an end lies outside the crop."""
    for start, end, weight in _LIMBS:
        yield weight * is_in[:, [JOINT[name] for name in (*start, *end)]].amin(1)


def _middle(space: Any, names: tuple[str, ...]) -> Any:
    return space[:, [JOINT[name] for name in names]].mean(1)
