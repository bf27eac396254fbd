"""How far from the examples of each part of the body its correction still holds.

``python -m ergo.training.reach`` writes ``posture/tables/reach.csv`` again: of the distances of
the examples' refined joints from the usual posture, the largest but one in a hundred, postures
drawn far outside chairside work counted as much as all others. Up to
there the correction was seen to help; half as far again it has faded out.
"""

import argparse
from pathlib import Path

import numpy as np

from ergo.arrays import BoolArray, FloatArray
from ergo.posture.angles import body_angles
from ergo.posture.learned.correction import (
    REACH_PATH,
    VARIANTS,
    distance_of,
    model,
    neutral_with_c7,
)
from ergo.training.examples import Examples, read_examples
from ergo.training.fit import task

SHARE = 0.99
"""Of the examples that are within reach; the few beyond are too few to learn from (ours)."""
FADING = ("trunk", "head", "upper_arm")
"""Parts whose correction fades. A forearm's is small already (a high cost in the fit), and a
straight elbow, far from all that is usual, would no longer be told (ours)."""
FADED = 1.5
"""At so many times that distance the correction has no share (ours)."""
_HEAD = (
    "# source: fitted by us on {people} people in {scenes} invented rendered stills with exact"
    " truth (the fitting set, never the test set); python -m ergo.training.reach",
    "# status: measured on rendered bodies",
    "# reading: distance of a part's angles by refined joints from its usual posture, in standard"
    " deviations (root mean square over its angles); up to full the correction counts whole, from"
    " none on not at all, between them in proportion",
    "variant,part,full,none",
)


def reach(examples: Examples, variant: str) -> dict[str, float]:
    """Return by part how far the examples of one variant reach."""
    job, models = task(examples, variant), model(variant)
    angles = body_angles(job.seen, neutral_with_c7())
    found = {}
    for name in FADING:
        distance = distance_of(angles, name, models[name], is_mirrored=False)
        known = np.isfinite(distance)
        found[name] = _largest(distance[known], job.is_broad[known])
    return found


def _largest(distance: FloatArray, is_broad: BoolArray) -> float:
    """Return the distance that :data:`SHARE` do not pass; far-out postures count as all others."""
    order = np.argsort(distance)
    weight = np.where(is_broad, (~is_broad).sum() / max(is_broad.sum(), 1), 1.0)[order]
    passed = np.cumsum(weight) / weight.sum()
    return float(distance[order][np.searchsorted(passed, SHARE)])


def table(examples: Examples) -> str:
    """Return the text of the table."""
    facts = {"people": len(examples), "scenes": len(set(examples.scene))}
    rows = [
        f"{variant},{part},{full:.2f},{FADED * full:.2f}"
        for variant in VARIANTS
        for part, full in reach(examples, variant).items()
    ]
    return "\n".join([line.format(**facts) for line in _HEAD] + rows) + "\n"


def main() -> None:
    """Write the table again."""
    parser = argparse.ArgumentParser(prog="python -m ergo.training.reach", description=main.__doc__)
    parser.add_argument("path", type=Path, nargs="?", default=REACH_PATH)
    parser.parse_args().path.write_text(table(read_examples()), encoding="utf-8")


if __name__ == "__main__":
    main()
