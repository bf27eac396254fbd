"""The landmark network in PyTorch, as the inference library reads it from the bundle.

Every constant that feeds the network is a weight named ``taught/N``, where N is
the place of its node in the library's order: the name under which
:mod:`ergo.landmarks.joints` puts taught weights in its place.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import torch
from torch.nn import functional

from ergo.landmarks.network import FEEDING
from ergo.landmarks.runtime import (
    LANDMARK_MEMBER,
    before_convolution,
    bundle_member,
    read_network,
)

Tensors = dict[str, Any]
_CONVOLUTIONS = ("Convolution", "GroupConvolution")


@dataclass(frozen=True, slots=True, eq=False)
class Graph:
    """The part of the network that a branch of joints starts from.

    Attributes
    ----------
    nodes : sequence
        Of the inference library, in order, inputs before what they feed.
    known : mapping of str to tensor
        Constants by node name; those among ``weight_names`` can be taught.
    weight_names : mapping of str to str
        From node names to names of weights, in order.
    feeding : sequence of str
        Nodes of the texture and the impression.
    """

    nodes: Sequence[Any]
    known: Mapping[str, Any]
    weight_names: Mapping[str, str]
    feeding: Sequence[str]

    def weights(self, frozen: int) -> Tensors:
        """Return the weights by name that come after the first ``frozen`` convolutions."""
        passed, early = 0, set[str]()
        for node in self.nodes:
            passed += node.get_type_name() in _CONVOLUTIONS and not _is_known(node, self.known)
            if passed <= frozen:
                early.update(_sources(node))
        return {
            name: self.known[key].clone()
            for key, name in self.weight_names.items()
            if key not in early
        }

    def features(self, weights: Mapping[str, Any], crops: Any) -> tuple[Any, Any]:
        """Return texture (crop, channel, row, column) and impression of each crop.

        Parameters
        ----------
        weights : mapping of str to tensor
            Those being taught; the rest is the network's own.
        crops : tensor (crop, row, column, rgb)
            0..1.
        """
        taught = {key: weights[name] for key, name in self.weight_names.items() if name in weights}
        values: Tensors = {**self.known, **taught}
        for node in self.nodes:
            name = node.get_name()
            if node.get_type_name() == "Parameter":
                values[name] = crops
            elif name not in values:
                values[name] = _run(node, values)
        texture, impression = (values[name] for name in self.feeding)
        return texture, impression.flatten(1)


def read_graph(device: str) -> Graph:
    """Return the heavy landmark network, its constants as tensors on a device."""
    whole = read_network(bundle_member("heavy", LANDMARK_MEMBER))
    feeding = [before_convolution(whole.output(name).get_node()).get_node() for name in FEEDING]
    names = [node.get_name() for node in feeding]
    place = {node.get_name(): at for at, node in enumerate(whole.get_ordered_ops())}
    nodes = _leading_to(whole.get_ordered_ops(), set(names))
    known: Tensors = {}
    for node in nodes:
        if node.get_type_name() == "Constant":
            values = torch.tensor(node.data)
            known[node.get_name()] = values.to(device) if values.is_floating_point() else values
        elif _is_known(node, known):
            known[node.get_name()] = _run(node, known)
    used = [name for node in nodes if not _is_known(node, known) for name in _sources(node)]
    weights = {
        name: f"taught/{place[name]}"
        for name in used
        if name in known and known[name].is_floating_point() and known[name].numel() > 1
    }
    return Graph(nodes, known, weights, names)


def _leading_to(nodes: Sequence[Any], wanted: set[str]) -> list[Any]:
    """Return those nodes, in order, that what is wanted follows from."""
    needed = set(wanted)
    for node in reversed(nodes):
        if node.get_name() in needed:
            needed.update(_sources(node))
    return [node for node in nodes if node.get_name() in needed]


def _sources(node: Any) -> list[str]:
    return [at.get_source_output().get_node().get_name() for at in node.inputs()]


def _is_known(node: Any, known: Mapping[str, Any]) -> bool:
    """Return whether a node follows from constants alone."""
    if node.get_type_name() == "Parameter":
        return False
    return all(name in known for name in _sources(node))


def _run(node: Any, values: Mapping[str, Any]) -> Any:
    kind = node.get_type_name()
    if kind not in _OPERATIONS:
        raise NotImplementedError(f"The network has a node of the unknown kind {kind}.")
    return _OPERATIONS[kind](node, *(values[name] for name in _sources(node)))


def _convolution(node: Any, seen: Any, weights: Any) -> Any:
    groups = 1
    if node.get_type_name() == "GroupConvolution":
        groups, weights = len(weights), weights.flatten(0, 1)
    told = node.get_attributes()
    seen = functional.pad(seen, _margins(told, seen.shape, weights.shape))
    return functional.conv2d(seen, weights, None, told["strides"], 0, told["dilations"], groups)


def _margins(told: Mapping[str, Any], seen: Sequence[int], weights: Sequence[int]) -> list[int]:
    """Return left, right, top and bottom zeros that a convolution wants."""
    if not told["auto_pad"].startswith("same"):
        (above, left), (below, right) = told["pads_begin"], told["pads_end"]
        return [left, right, above, below]
    margins = []
    for axis in (3, 2):
        stride, size = told["strides"][axis - 2], weights[axis]
        total = max(0, (-(-seen[axis] // stride) - 1) * stride + size - seen[axis])
        before = total // 2 if told["auto_pad"] == "same_upper" else total - total // 2
        margins += [before, total - before]
    return margins


def _interpolate(node: Any, seen: Any, *_: Any) -> Any:
    size = tuple(node.get_output_shape(0))[1:3]
    planes = seen.permute(0, 3, 1, 2)
    grown = functional.interpolate(planes, size=size, mode="bilinear", align_corners=False)
    return grown.permute(0, 2, 3, 1)


def _reshape(node: Any, seen: Any, *_: Any) -> Any:
    shape = list(node.get_output_shape(0))
    return seen.reshape([-1, *shape[1:]] if shape[0] == 1 else shape)


def _pad(_: Any, seen: Any, begin: Any, end: Any, *value: Any) -> Any:
    pairs = [(int(before), int(after)) for before, after in zip(begin, end, strict=True)]
    margins = [margin for pair in reversed(pairs) for margin in pair]
    return functional.pad(seen, margins, value=float(value[0]) if value else 0.0)


def _most(node: Any, seen: Any) -> Any:
    told = node.get_attributes()
    return functional.max_pool2d(seen, told["kernel"], told["strides"])


def _clamp(node: Any, seen: Any) -> Any:
    told = node.get_attributes()
    return seen.clamp(told["min"], told["max"])


_OPERATIONS: Mapping[str, Callable[..., Any]] = {
    "Add": lambda _, one, other: one + other,
    "Clamp": _clamp,
    "Convert": lambda _, seen: seen.float(),
    "Convolution": _convolution,
    "GroupConvolution": _convolution,
    "Interpolate": _interpolate,
    "MaxPool": _most,
    "Pad": _pad,
    "Reshape": _reshape,
    "Sigmoid": lambda _, seen: torch.sigmoid(seen),
    "Transpose": lambda _, seen, order: seen.permute(*order.tolist()),
    "Unsqueeze": _reshape,
}
