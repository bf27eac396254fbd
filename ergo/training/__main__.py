"""``python -m ergo.training``: fit the correction again from the stored examples."""

import argparse
import sys
from pathlib import Path

import numpy as np

from ergo.arrays import FloatArray
from ergo.posture.angle_names import NAMES
from ergo.posture.body_points import BodyPoints
from ergo.posture.learned.correction import MODEL_PATH, VARIANTS, PartModel
from ergo.posture.limbs import mirrored_points
from ergo.training.examples import Examples, read_examples
from ergo.training.fit import learned, left_out_angles, plain_errors, task, wrapped


def average_neutral(examples: Examples) -> BodyPoints:
    """Return the mean neutral body, the same on both sides; one frame."""
    mean = BodyPoints(np.nanmean(examples.neutral.xyz, axis=0, keepdims=True))
    return BodyPoints((mean.xyz + mirrored_points(mean).xyz) / 2)


def fitted(examples: Examples) -> tuple[dict[str, FloatArray], dict[str, FloatArray]]:
    """Return everything that is stored, and the left-out errors per variant."""
    neutral = average_neutral(examples)
    stored: dict[str, FloatArray] = {"neutral": neutral.xyz.astype(np.float32)}
    errors = {}
    for variant in VARIANTS:
        job = task(examples, variant)
        found = left_out_angles(job, neutral)
        errors[variant] = wrapped(found - job.angle)
        for name, model in learned(job, found, plain_errors(job, neutral)).items():
            for field in PartModel.__slots__:
                value = np.asarray(getattr(model, field))
                kind = np.float16 if field == "centres" else np.float32
                stored[f"{variant}/{name}/{field}"] = value.astype(kind)
    return stored, errors


def main() -> None:
    """Write the model file and print the left-out mean absolute errors."""
    parser = argparse.ArgumentParser(prog="python -m ergo.training", description=main.__doc__)
    parser.add_argument("path", type=Path, nargs="?", default=MODEL_PATH)
    path = parser.parse_args().path
    examples = read_examples()
    stored, errors = fitted(examples)
    np.savez_compressed(path, **stored)  # type: ignore[arg-type]
    broad = np.tile(examples.is_broad, 2)
    for variant, error in errors.items():
        for label, rows in (("chairside", ~broad), ("far outside", broad)):
            mean = np.nanmean(np.abs(error[rows]), axis=0)
            line = ", ".join(
                f"{name} {value:.1f}"
                for name, value in zip(NAMES, mean, strict=True)
                if not name.endswith("right")
            )
            sys.stdout.write(f"{variant}, {label}: {line}\n")


if __name__ == "__main__":
    main()
