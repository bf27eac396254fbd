"""How far answers lie from the truth: pure arithmetic, arrays in, numbers out."""

from dataclasses import dataclass

import numpy as np
from sklearn.metrics import cohen_kappa_score, explained_variance_score

from ergo.arrays import BoolArray, FloatArray, StepArray
from ergo.scores.method_score import NOT_SEEN

HALF_WIDTH_90 = 1.6448536269514722
"""Half a 90 % interval of the normal distribution, in standard deviations."""


@dataclass(frozen=True, slots=True)
class Error:
    """How far the answers for one angle lie from the truth.

    Attributes
    ----------
    wanted, answered : int
        Values with a truth; of these the ones with an answer.
    mean_absolute, bias : float
        Over the answered ones; bias is answer minus truth. NaN without any.
    coverage : float
        Share of 90 % intervals that hold the truth, 0..1.
    explained : float
        Explained variance: 1 - variance of the error / variance of the truth.
    unmeasurable : float
        Share of the wanted ones without an answer, or whose standard deviation
        is no smaller than the spread of the postures, 0..1.
    """

    wanted: int
    answered: int
    mean_absolute: float
    bias: float
    coverage: float
    explained: float
    unmeasurable: float


def error_of(truth: FloatArray, answer: FloatArray, sd: FloatArray, spread: float) -> Error:
    """Compare answers with the truth.

    Parameters
    ----------
    truth, answer, sd : array (value,)
        NaN in ``truth``: not compared. NaN in ``answer``: not measured.
    spread : float
        Standard deviation of the angle over a set of usual postures.
    """
    wanted = np.isfinite(truth)
    both = wanted & np.isfinite(answer)
    wide = wanted & ~(both & (sd < spread))
    off = (answer - truth)[both]
    if not len(off):
        return Error(int(wanted.sum()), 0, np.nan, np.nan, np.nan, np.nan, 1.0)
    return Error(
        wanted=int(wanted.sum()),
        answered=len(off),
        mean_absolute=float(np.mean(np.abs(off))),
        bias=float(np.mean(off)),
        coverage=float(np.mean(np.abs(off) <= HALF_WIDTH_90 * sd[both])),
        explained=float(explained_variance_score(truth[both], answer[both])),
        unmeasurable=float(wide.sum() / wanted.sum()),
    )


@dataclass(frozen=True, slots=True)
class Agreement:
    """How well two series of printed steps or scores agree.

    Attributes
    ----------
    judged, not_judged : int
        Frames judged in both; frames the truth judges and the program does not.
    within_one : float
        Share of the judged that differ by at most 1, 0..1.
    kappa : float
        Cohen's kappa with linear weights (Cohen 1968).
    """

    judged: int
    not_judged: int
    within_one: float
    kappa: float

    @property
    def share_judged(self) -> float:
        """Return the share of the frames judged by the truth that are judged, 0..1."""
        return self.judged / wanted if (wanted := self.judged + self.not_judged) else np.nan


def agreement_of(truth: StepArray, answer: StepArray) -> Agreement:
    """Compare printed steps with those of the true angles; NOT_SEEN is left out and counted."""
    wanted = truth != NOT_SEEN
    both = wanted & (answer != NOT_SEEN)
    if not both.any():
        return Agreement(0, int(wanted.sum()), np.nan, np.nan)
    return Agreement(
        judged=int(both.sum()),
        not_judged=int((wanted & ~both).sum()),
        within_one=float(np.mean(np.abs(truth[both] - answer[both]) <= 1)),
        kappa=_kappa(truth[both], answer[both]),
    )


def _kappa(truth: StepArray, answer: StepArray) -> float:
    labels = np.arange(min(truth.min(), answer.min()), max(truth.max(), answer.max()) + 1)
    if len(labels) == 1:
        return np.nan  # chance alone would agree always: kappa says nothing
    return float(cohen_kappa_score(truth, answer, labels=labels, weights="linear"))


@dataclass(frozen=True, slots=True)
class Finding:
    """Whether the operator was found, and whether it was the operator.

    Attributes
    ----------
    pictures : int
        Pictures in which at least half of the operator is in view.
    found : float
        Share of these with a person found, 0..1.
    right : float
        Share of the found whose landmarks lie nearest the true operator, 0..1.
    pictures_less, found_less : int, float
        The same for pictures in which less than half is in view.
    wrong : tuple of str
        Pictures in which somebody else was taken for the operator.
    missed : tuple of str
        Pictures with half of the operator in view in which nobody was found.
    """

    pictures: int
    found: float
    right: float
    pictures_less: int
    found_less: float
    wrong: tuple[str, ...]
    missed: tuple[str, ...]

    @property
    def found_at_all(self) -> float:
        """Return the share of all pictures with a person found, 0..1."""
        less = self.found_less * self.pictures_less if self.pictures_less else 0.0
        half = self.found * self.pictures if self.pictures else 0.0
        return (half + less) / (self.pictures + self.pictures_less)


def finding_of(
    names: tuple[str, ...], is_half_visible: BoolArray, found: BoolArray, is_operator: BoolArray
) -> Finding:
    """Count who was found; every argument has one value per picture."""
    half = is_half_visible
    return Finding(
        pictures=int(half.sum()),
        found=_share(found[half]),
        right=_share(is_operator[half & found]),
        pictures_less=int((~half).sum()),
        found_less=_share(found[~half]),
        wrong=_named(names, found & ~is_operator),
        missed=_named(names, half & ~found),
    )


def _share(flags: BoolArray) -> float:
    return float(flags.mean()) if len(flags) else float("nan")


def _named(names: tuple[str, ...], flags: BoolArray) -> tuple[str, ...]:
    return tuple(name for name, flag in zip(names, flags, strict=True) if flag)
