"""The room's edges in a few pictures of a still or clip."""

import numpy as np

from ergo.arrays import FloatArray
from ergo.camera.edges import MOST_EDGES, edges_px
from ergo.errors import ErgoError
from ergo.frames.fetch import picture_at
from ergo.frames.frame import SourceFacts

SHARES = (0.1, 0.5, 0.9)
"""Where in a clip the pictures are taken: people move, edges of the room stay."""


def room_edges(facts: SourceFacts) -> FloatArray:
    """Return the longest steep edges, array (edge, end, xy) [px]; none where nothing is read."""
    times = [0.0]
    if facts.kind == "clip" and facts.duration_s:
        times = [share * facts.duration_s for share in SHARES]
    found = [np.zeros((0, 2, 2))]
    for time_s in times:
        try:
            found.append(edges_px(picture_at(facts, time_s)))
        except ErgoError:
            continue
    edges = np.concatenate(found)
    length = np.linalg.norm(edges[:, 1] - edges[:, 0], axis=-1)
    longest: FloatArray = edges[np.argsort(-length, kind="stable")[:MOST_EDGES]].round(1)
    return longest
