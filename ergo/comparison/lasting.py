"""How far chance moves the mean of a recording in which a posture lasts: intervals that know it.

Moments are not independent: a posture is kept for seconds to minutes, and a recording holds
only so many of them. What the mean of a recording can be off by follows from the spectrum of
its slow changes near frequency zero. The slowest changes (cosine coefficients of cells of a
few seconds) are laid to a model with one time constant, postures that are left at any moment
alike (spectrum of an AR(1) process), beside changes without memory. The time constant is not
known and hardly told by a short recording: every value from seconds to minutes is tried, and
each counts by how well it explains the recording. So an interval is wider the less is known.

Sources: Whittle P 1953. Estimation and information in stationary time series. Ark Mat
2:423-434 (spectrum and likelihood); Müller UK 2014. HAC corrections for strongly autocorrelated
time series. J Bus Econ Stat 32(3):311-322 (few slow cosines, persistence not known); both
status: memory. The model, the values tried and the number of cosines are ours; the coverage
that follows is measured by ``tests/accuracy/interval_coverage.py``.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.fft import dct
from scipy.special import stdtr, stdtrit

from ergo.arrays import FloatArray

CELL_S = 5.0
"""Length of a cell. [s]"""

COSINES = 24
"""How many of the slowest changes are used (ours)."""

LEAST_CELLS = 12
"""A minute; less tells nothing of how long postures last (ours)."""

TIME_CONSTANTS_S = np.geomspace(2.5, 600.0, 18)
"""Tried, all equally likely beforehand (ours). [s]"""

WITHOUT_MEMORY = (0.0, 0.3, 0.6, 0.85)
"""Shares of the variance without memory that are tried, all equally likely (ours)."""

USUAL_CONSTANT_S = float(np.sqrt(TIME_CONSTANTS_S[0] * TIME_CONSTANTS_S[-1]))
"""What is taken where a recording tells nothing: the middle of those tried. [s]"""

CONFIDENCE = 0.95
"""Of the intervals of comparisons and trends."""

_RATIOS = np.geomspace(0.7, 60.0, 80)
_FREEDOMS = np.geomspace(0.6, 300.0, 200)
_QUANTILES = stdtrit(_FREEDOMS, (1 + CONFIDENCE) / 2)


@dataclass(frozen=True, slots=True)
class LongRun:
    """What chance does to the sum of a series.

    Attributes
    ----------
    variance : float
        Of the sum. [squared unit of the series]
    freedom : float
        Degrees of freedom of Student's t that stand for how well the variance is known; 0
        where the series is too short.
    effective : float
        Number of independent values that would tell as much of the mean.
    """

    variance: float
    freedom: float
    effective: float


def effective_number(length_s: float, constant_s: float = USUAL_CONSTANT_S) -> float:
    """Return the effective number of postures in a length of time [s], by a time constant [s]."""
    return length_s / (2 * constant_s)


def long_run(residual: FloatArray) -> LongRun:
    """Return what chance does to the sum of the residuals of one recording.

    Parameters
    ----------
    residual : array (cell,)
        What each cell of :data:`CELL_S` adds to a figure, less its mean; sums to 0.
    """
    cells = len(residual)
    usual = effective_number(cells * CELL_S)
    if cells < LEAST_CELLS or not np.any(residual):
        return LongRun(0.0, 0.0, usual)
    spectra, of_mean = _models(cells)
    power = dct(residual, norm="ortho")[1 : spectra.shape[1] + 1] ** 2
    explained = (1 / spectra) @ power
    fit = -0.5 * np.log(spectra).sum(axis=1) - 0.5 * len(power) * np.log(explained)
    weight = np.exp(fit - fit.max())
    weight /= weight.sum()
    variance = explained / len(power) * of_mean  # of the mean, by every model
    middle = float(np.exp(weight @ np.log(variance)))
    return LongRun(
        middle * cells**2,
        _freedom(variance / middle, weight, len(power)),
        float(np.mean(residual**2)) / middle,
    )


def _freedom(variance: FloatArray, weight: FloatArray, freedom: int) -> float:
    """Return the freedom of the t whose 95 % interval is that of weighted t's."""
    below = weight @ stdtr(freedom, _RATIOS / np.sqrt(variance)[:, None])
    ratio = np.interp((1 + CONFIDENCE) / 2, below, _RATIOS)
    return float(np.interp(-ratio, -_QUANTILES, _FREEDOMS))


@cache
def _models(cells: int) -> tuple[FloatArray, FloatArray]:
    """Return spectrum and variance of the mean of every model, for a variance of 1.

    Returns
    -------
    array (model, cosine)
    array (model,)
    """
    frequency = np.pi * np.arange(1, min(cells - 1, COSINES) + 1) / cells
    kept = np.exp(-CELL_S / TIME_CONSTANTS_S)
    lag = np.arange(1, cells)
    spectrum = (1 - kept**2)[:, None] / (
        1 - 2 * np.outer(kept, np.cos(frequency)) + kept[:, None] ** 2
    )
    of_mean = (1 + 2 * (kept[:, None] ** lag) @ (1 - lag / cells)) / cells
    without = np.array(WITHOUT_MEMORY)[:, None]
    spectra = (1 - without)[:, :, None] * spectrum + without[:, :, None]
    means = (1 - without) * of_mean + without / cells
    return spectra.reshape(-1, len(frequency)), means.reshape(-1)
