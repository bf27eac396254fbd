"""How alike neighbouring blocks are, and how much the block bootstrap misses by that.

A posture that lasts across a cut makes two blocks alike, and drawing blocks as if
they were independent makes chance look smaller than it is. From the correlation
of cells of a few seconds follows by how much: with ``r(k)`` the correlation of
cells ``k`` apart and ``m`` cells in a block, the variance of a sum over a long
time is ``1 + 2 sum r(k)`` per cell, but blocks show only
``1 + 2 sum (1 - k/m) r(k)`` of it (the bias of the block bootstrap: Künsch 1989,
status: memory). Correlations about the recording's own mean come out too small, by
the first of these sums over the number of cells; that is put back.
"""

import numpy as np

from ergo.arrays import FloatArray, IndexArray
from ergo.timeline import Timeline

CELL_S = 5.0
"""Length of a cell. [s]"""

_LEAST_CORRELATION = 0.05
_LONGEST_S = 120.0
_LAGS = int(_LONGEST_S / CELL_S)

FAR = _LAGS + 1
"""Cells whose numbers differ by this much or more are never compared."""


def cells_of(timeline: Timeline) -> IndexArray:
    """Return the number of each frame's cell.

    Parameters
    ----------
    timeline : Timeline

    Returns
    -------
    array (frame,)
        Rising by one from cell to cell of a clip, and by more from source to
        source than the longest distance at which cells are compared.
    """
    cell = np.zeros(len(timeline), dtype=np.int64)
    first = 0
    for source in range(len(timeline.sources)):
        frames = timeline.frames_of(source)
        if len(frames):
            time_s = timeline.time_s[frames] - timeline.time_s[frames[0]]
            cell[frames] = first + (time_s // CELL_S).astype(np.int64)
            first = int(cell[frames[-1]]) + FAR
    return cell


def missed_by_blocks(residual: FloatArray, cell: IndexArray, block_s: float) -> float:
    """Return by what factor blocks understate the variance of a mean, at least 1.

    Parameters
    ----------
    residual : array (frame,)
        What each frame adds to the figure, less its mean; sums to 0.
    cell : array (frame,)
        From :func:`cells_of`.
    block_s : float
        Length of a block. [s]
    """
    if not len(cell):
        return 1.0
    summed = np.bincount(cell, residual)
    own = float(summed @ summed)
    if own == 0:
        return 1.0
    lags = np.arange(1, min(_LAGS, len(summed) - 1) + 1)
    correlation = np.array([summed[:-lag] @ summed[lag:] / own for lag in lags])
    first, _ = _sums(correlation, block_s)
    whole, seen = _sums(correlation + first / np.count_nonzero(np.bincount(cell)), block_s)
    return max(1.0, whole / seen)


def _sums(correlation: FloatArray, block_s: float) -> tuple[float, float]:
    """Return what a long time shows of the variance of a cell, and what blocks show.

    Parameters
    ----------
    correlation : array (lag,)
        Of cells 1, 2, ... apart; counted up to the first that is hardly above 0.
    block_s : float
        [s]
    """
    small = np.flatnonzero(correlation < _LEAST_CORRELATION)
    counted = correlation[: small[0]] if len(small) else correlation
    within = np.maximum(0.0, 1 - np.arange(1, len(counted) + 1) * CELL_S / block_s)
    return 1 + 2 * float(np.sum(counted)), 1 + 2 * float(np.sum(counted * within))
