"""Which RULA score comes nearest to that of the true angles? Measured on the stored examples.

    python -m tests.accuracy.left_out_scores

Every operator at the chair in ``training/examples.parquet`` is measured by a
correction that never saw the scene, scored under each reading of what is shown
and of what a view does not tell, and compared with the score of the true angles.
The defaults of ``score_shown``, ``arm_not_measurable`` and ``turn_not_measurable``
in ``scores/interpretations.py`` were chosen by this table, not on the scenes for testing.
"""

import itertools
import sys

import numpy as np

from ergo.arrays import FloatArray, IndexArray, StepArray
from ergo.notes.notes import Notes
from ergo.posture.angle_names import COLUMN, NAMES
from ergo.posture.body_points import BodyPoints
from ergo.posture.learned.body_regions import PARTS
from ergo.posture.learned.correction import VARIANTS, growth_of
from ergo.posture.posture_track import PostureTrack
from ergo.scores.interpretations import READINGS
from ergo.scores.methods import score_all
from ergo.timeline import build_timeline
from ergo.training.__main__ import average_neutral
from ergo.training.examples import Examples, read_examples
from ergo.training.fit import (
    Task,
    learned,
    left_out_angles,
    part_sd,
    plain_errors,
    task,
    wrapped,
)
from tests.accuracy.measures import agreement_of
from tests.accuracy.tables import table_text

OPTIONS = ("score_shown", "arm_not_measurable", "turn_not_measurable")


def left_out_posture(job: Task, neutral: BodyPoints) -> tuple[FloatArray, FloatArray]:
    """Return angles and standard deviations of the unmirrored examples, (example, angle)."""
    found = left_out_angles(job, neutral)
    models = learned(job, found, plain_errors(job, neutral))
    sd = np.full(found.shape, np.nan)
    for name, model in models.items():
        columns = [COLUMN[angle] for angle in PARTS[name].angles]
        spread = part_sd(job, name, model)
        sd[:, columns] = np.where(spread < model.blank_sd, spread, np.nan)
    half = len(sd) // 2
    for left in (name for name in NAMES if name.endswith("_left")):
        sd[:half, COLUMN[left.replace("_left", "_right")]] = sd[half:, COLUMN[left]]
    sd = sd[:half] * growth_of(found[:half], models)
    errors = wrapped(found - job.angle)[:half]
    return np.where(np.isnan(sd), np.nan, job.angle[:half] + errors), sd


def at_the_chair(examples: Examples, truth: FloatArray) -> IndexArray:
    """Return which examples are operators in chairside postures with all angles known."""
    is_operator = np.array([role == "operator" for role in examples.role])
    named = [name for name in NAMES if not name.startswith(("wrist", "shoulder_raise"))]
    known = np.isfinite(truth[:, [COLUMN[name] for name in named]]).all(axis=1)
    rows: IndexArray = np.flatnonzero(is_operator & known & ~examples.is_broad)
    return rows


def rula_scores(value: FloatArray, sd: FloatArray, readings: dict[str, str]) -> StepArray:
    """Return the grand scores of every picture, left sides before right ones."""
    names = tuple(str(number) for number in range(len(value)))
    timeline = build_timeline(names, (np.zeros(1),) * len(value), (False,) * len(value))
    found = np.ones(len(value), dtype=bool)
    posture = PostureTrack(value, sd, found, ~found)
    scores = score_all(timeline, posture, (Notes(),) * len(value), readings)
    return np.concatenate([score.score for score in scores if score.method == "rula"])


def main() -> None:
    """Print the agreement under every choice of the readings."""
    examples = read_examples()
    neutral = average_neutral(examples)
    rows = []
    for variant in VARIANTS:
        job = task(examples, variant)
        chosen = at_the_chair(examples, job.angle[: len(examples)])
        truth = job.angle[chosen]
        exact = rula_scores(truth, np.where(np.isfinite(truth), 0.0, np.nan), {})
        value, sd = left_out_posture(job, neutral)
        for choices in itertools.product(*(READINGS[option].choices for option in OPTIONS)):
            readings = dict(zip(OPTIONS, choices, strict=True))
            found = agreement_of(exact, rula_scores(value[chosen], sd[chosen], readings))
            share, near = f"{found.share_judged:.0%}", f"{found.within_one:.1%}"
            rows.append([variant, *choices, share, near, f"{found.kappa:.2f}"])
    headings = ("level", *OPTIONS, "share judged", "within 1", "kappa")
    sys.stdout.write(table_text(headings, rows) + "\n")


if __name__ == "__main__":
    main()
