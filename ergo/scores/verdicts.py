"""Verdicts part by part, and the worst of them: the shape ISO 11226 and the dental rules share."""

from collections.abc import Mapping, Sequence

from ergo.arrays import StepArray
from ergo.scores.body_regions import Reading
from ergo.scores.interpretations import readings_of
from ergo.scores.method_score import MethodScore, Side
from ergo.scores.steps import Judged, level_of, worst
from ergo.scores.table import levels_of


def verdict_score(
    method: str,
    side: Side,
    reading: Reading,
    counted: Mapping[str, Mapping[str, Judged]],
    shown: Mapping[str, StepArray],
    assumed: Sequence[str],
) -> MethodScore:
    """Return the worst of several verdicts as the score of one side.

    Parameters
    ----------
    method, side : str
        ``tables/METHOD_levels.csv`` names the verdicts; verdict 1 is the first.
    reading : mapping of str to str
        A choice for every option of READINGS.
    counted : mapping of str to mapping of str to Judged
        Part to the verdicts on its inputs by name, which make the score; NOT_SEEN where
        any of them was not seen.
    shown : mapping of str to array (frame,)
        Verdicts that are given beside it.
    assumed : sequence of str
    """
    parts = {name: worst(tuple(inputs.values())) for name, inputs in counted.items()}
    score = worst(tuple(parts.values()))
    inputs = {name: each for of_part in counted.values() for name, each in of_part.items()}
    levels = levels_of(f"{method}_levels")
    level = level_of(score, levels)
    return MethodScore(
        method=method,
        side=side,
        reading=readings_of(method, reading),
        steps={**{name: part.step for name, part in parts.items()}, **shown},
        score=score.step,
        level=level.step,
        level_probability=level.chance.T,
        levels=levels,
        assumed=tuple(assumed),
        deciding={
            name: (each.step == score.step) & (level.step > 1) for name, each in inputs.items()
        },
    )
