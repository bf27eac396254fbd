"""What a published method says of every frame, the same shape for every method."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from ergo.arrays import BoolArray, FloatArray, StepArray
from ergo.errors import InputError

NOT_SEEN = 0  # printed steps begin at 1; 0 is ours for "could not be judged"

Side = Literal["left", "right", "whole"]


@dataclass(frozen=True, slots=True)
class Level:
    """One action level or verdict of a method.

    Attributes
    ----------
    printed : str
        As the method prints it (RULA "1".."4", REBA "0".."4", ISO "acceptable").
    scores : tuple of int
        First and last final score of this level, both included.
    meaning : str
        The method's own meaning, shortened.
    """

    printed: str
    scores: tuple[int, int]
    meaning: str


@dataclass(frozen=True, slots=True, eq=False)
class MethodScore:
    """One method applied to one side of the body, frame by frame.

    Attributes
    ----------
    method : str
        Key in :data:`ergo.scores.methods.METHODS`, for example ``"rula"``.
    side : str
        ``"left"``, ``"right"`` or ``"whole"``.
    reading : mapping of str to str
        The reading that was used, option by option.
    steps : mapping of str to array (frame,)
        Step of each body part and each score on the way, by its printed name
        (``"upper_arm"``, ``"posture_score_A"``, ...); NOT_SEEN where not judged.
        Of RULA and REBA, three final scores by the printed tables alone:
        ``"score_of_measured_angles"`` follows from the steps; the others would,
        if every assumed input were one step worse (``"score_if_assumed_worse"``),
        or none were counted as strained (``"score_if_not_strained"``).
    score : array (frame,)
        Final score; NOT_SEEN where any input that matters was not seen. Of RULA
        and REBA the middle one of all that the angles' uncertainty allows, unless
        the reading ``score_shown`` says otherwise.
    level : array (frame,)
        1-based position in ``levels``; NOT_SEEN where not judged.
    level_probability : array (frame, level)
        Probability of each level given the angles' standard deviations; rows
        sum to 1, or are NaN where not judged.
    levels : tuple of Level
        From least to most strained.
    assumed : tuple of str
        Inputs that no camera gave and no note stated, taken as neutral.
    strained : mapping of str to array (frame,)
        Inputs that this view does not tell, counted as strained, and the frames
        that got their score by it.
    within_one : array (frame,) or None
        Probability that the score of the true angles lies at most 1 from ``score``,
        NaN where not judged. None for methods without a score of many steps.
    additions : mapping of str to array (frame,)
        What muscle use, activity, force and load add, by the method's name for
        it; here 0 means "adds nothing".
    deciding : mapping of str to array (frame,)
        Of methods whose score is the worst of several verdicts: the inputs that alone
        would give the same verdict, and where; nowhere at the first level.
    """

    method: str
    side: Side
    reading: Mapping[str, str]
    steps: Mapping[str, StepArray]
    score: StepArray
    level: StepArray
    level_probability: FloatArray
    levels: tuple[Level, ...]
    assumed: tuple[str, ...]
    strained: Mapping[str, BoolArray] = field(default_factory=dict)
    within_one: FloatArray | None = None
    additions: Mapping[str, StepArray] = field(default_factory=dict)
    deciding: Mapping[str, BoolArray] = field(default_factory=dict)

    def __post_init__(self) -> None:
        wanted = (len(self.score), len(self.levels))
        if self.level_probability.shape != wanted:
            raise InputError(
                f"level_probability must have shape {wanted}, got {self.level_probability.shape}."
            )

    def without(self, excluded: BoolArray) -> "MethodScore":
        """Return the score with nothing judged in some frames, array (frame,)."""
        if not np.any(excluded):
            return self

        def unscored(steps: StepArray) -> StepArray:
            return np.where(excluded, NOT_SEEN, steps)

        def unknown(values: FloatArray) -> FloatArray:
            return np.where(excluded, np.nan, values.T).T

        return replace(
            self,
            steps={name: unscored(steps) for name, steps in self.steps.items()},
            score=unscored(self.score),
            level=unscored(self.level),
            level_probability=unknown(self.level_probability),
            strained={name: frames & ~excluded for name, frames in self.strained.items()},
            within_one=None if self.within_one is None else unknown(self.within_one),
            additions={name: unscored(steps) for name, steps in self.additions.items()},
        )
