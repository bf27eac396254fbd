"""Fit the errors of the plain landmarks from the stored examples.

``python -m ergo.training.usual_errors`` writes both tables again. ``depth_errors.csv``:
the network answers the mirror image of a picture with something else than the mirrored
answer; half of the difference in depth is its own, whoever is in the picture. It is the
same from all sides within 0.04 trunk lengths for hips and 0.05 for shoulders, so one
number a landmark is enough. ``hybrid_errors.csv``: what then remains, by angle and view.
"""

import argparse
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from ergo.arrays import BoolArray, FloatArray
from ergo.landmarks.depth_errors import DEPTH_ERRORS_PATH, evened
from ergo.landmarks.names import INDEX
from ergo.posture import geometry as g
from ergo.posture.angle_names import ANGLES, COLUMN, NAMES, AngleName
from ergo.posture.angles import body_angles
from ergo.posture.body_points import POINTS, BodyPoints
from ergo.posture.neutral import population_neutral
from ergo.posture.placing import placed_landmarks
from ergo.posture.uncertainty import CHANGES_SIDE, ERRORS_PATH, view_azimuth_deg
from ergo.training.examples import (
    ASSUMED_FIELD_OF_VIEW_DEG,
    Examples,
    level_turn,
    read_examples,
    true_points,
)

WINDOW_DEG = 30.0
"""Examples seen from within this of a view count for it (ours)."""

WRIST_SD_DEG = 60.0
"""Rendered hands are rigid, so nothing can be fitted: a spread that tells nothing (ours)."""

_VIEWS = range(0, 360, 45)
_QUANTILE, _OF_NORMAL = 0.9, 1.645
_SOURCE = (
    "# source: fitted by us on {people} people in {scenes} invented rendered stills with exact"
    " truth (the fitting set, never the test set); landmarks of the heavy network, one look;"
    " python -m ergo.training.usual_errors",
    "# status: measured on rendered bodies, clean and tidy; recordings of people may differ",
)
_DEPTH_HEAD = (
    *_SOURCE,
    "# reading: how much too far away the network sets a landmark against mid-hip, in lengths of"
    " the trunk; half of what people and their mirror images differ by, mean of eight views",
    "landmark,trunk_lengths",
)
_ANGLE_HEAD = (
    *_SOURCE,
    "# reading: landmarks with depth_errors.csv taken off; offset = median of measured minus"
    " true, relative angles only (read against the average neutral body), mirror images counted"
    " too; sd = 90 % quantile of the remaining absolute error / 1.645, so that a 90 % interval of"
    " the normal distribution holds; views within 30 deg of azimuth_deg",
    "# wrist: rendered hands are rigid, so nothing can be fitted, hence a standard deviation"
    " that says so",
    "# azimuth_deg: 0 = seen from the front, 180 = from behind; whole body: 90 = from the side"
    " (from the left for angles that change sign when mirrored); paired angles: 90 = from the"
    " limb's own side, 270 = from the other side",
    "# level: known = the camera's exact pitch and roll; assumed = taken as level, field of view"
    " assumed",
    "angle,level,azimuth_deg,offset,sd,people",
)


def depth_errors(examples: Examples) -> dict[str, float]:
    """Return by how much too far away each landmark is set, in lengths of the trunk."""
    seen = _placed(examples, "known", examples.world_m)
    azimuth_deg = view_azimuth_deg(seen)
    names = [name for name in POINTS if name in INDEX]
    error = {name: _depth(seen, name) - _depth(examples.truth, name) for name in names}

    def own(name: str, view: int) -> float:
        here = error[name][_seen_from(azimuth_deg, view)]
        there = error[_other_side(name)][_seen_from(-azimuth_deg, view)]
        return float(np.nanmedian(here) - np.nanmedian(there)) / 2

    return {name: float(np.mean([own(name, view) for view in _VIEWS])) for name in names}


def _depth(points: BodyPoints, name: str) -> FloatArray:
    trunk = points.middle("shoulder") - points.middle("hip")
    depth: FloatArray = (points[name] - points.middle("hip"))[:, 2] / g.length(trunk)
    return depth


def plain_errors(examples: Examples, level: str) -> tuple[FloatArray, FloatArray]:
    """Return from where everybody was seen (example,) and the errors (example, angle). [deg]."""
    up = examples.up if level == "known" else np.broadcast_to(g.UP, examples.up.shape)
    placed = _placed(examples, level, evened(examples.world_m))
    seen = BodyPoints(placed.xyz @ np.swapaxes(level_turn(up), 1, 2))
    found = body_angles(seen, population_neutral())
    error = found - body_angles(true_points(examples), examples.neutral)
    in_degrees = np.array(["_deg" in name for name in NAMES])
    return view_azimuth_deg(seen), np.where(in_degrees, 180 - (180 - error) % 360, error)


def _placed(examples: Examples, level: str, world_m: FloatArray) -> BodyPoints:
    assumed_px = examples.width_px / 2 / np.tan(np.radians(ASSUMED_FIELD_OF_VIEW_DEG / 2))
    focal_px = examples.focal_px if level == "known" else assumed_px
    return placed_landmarks(examples.picture_px, world_m, focal_px, examples.centre_px)


def with_mirror_images(azimuth_deg: FloatArray, error: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return views and errors (example, angle) of everybody and of everybody in a mirror."""
    other = [COLUMN[_other_side(name)] for name in NAMES]
    sign = np.array([-1.0 if name in CHANGES_SIDE else 1.0 for name in NAMES])
    return (
        np.concatenate([azimuth_deg, -azimuth_deg]),
        np.concatenate([error, error[:, other] * sign]),
    )


def usual_errors(azimuth_deg: FloatArray, error: FloatArray) -> Iterator[tuple[str, list[float]]]:
    """Yield an angle without its side, and view, offset, sd and number of people."""
    azimuth_deg, error = with_mirror_images(azimuth_deg, error)
    for angle in ANGLES:
        if angle.side == "right":
            continue
        own = error[:, COLUMN[angle.name]]
        for view in _VIEWS if angle.side == "left" else range(0, 181, 45):
            seen = own[_seen_from(azimuth_deg, view) & np.isfinite(own)]
            yield (
                angle.name.removesuffix("_left"),
                [view, *_of_view(angle, view, seen), len(seen)],
            )


def _of_view(angle: AngleName, view: int, error: FloatArray) -> tuple[float, float]:
    if angle.name.startswith("wrist"):
        return 0.0, WRIST_SD_DEG
    is_even = angle.name in CHANGES_SIDE and view in (0, 180)  # left and right are one from there
    offset = float(np.median(error)) if angle.is_relative and not is_even else 0.0
    return offset, float(np.quantile(np.abs(error - offset), _QUANTILE)) / _OF_NORMAL


def _seen_from(azimuth_deg: FloatArray, view: float) -> BoolArray:
    near: BoolArray = np.abs(180 - (180 - (azimuth_deg - view)) % 360) < WINDOW_DEG
    return near


def _other_side(name: str) -> str:
    return name.replace("left", "right") if "left" in name else name.replace("right", "left")


def main() -> None:
    """Write both tables again."""
    parser = argparse.ArgumentParser(
        prog="python -m ergo.training.usual_errors", description=main.__doc__
    )
    parser.add_argument("depths", type=Path, nargs="?", default=DEPTH_ERRORS_PATH)
    parser.add_argument("angles", type=Path, nargs="?", default=ERRORS_PATH)
    paths = parser.parse_args()
    examples = read_examples()
    facts = {"people": len(examples), "scenes": len(set(examples.scene))}
    _write(
        paths.depths,
        [line.format(**facts) for line in _DEPTH_HEAD]
        + [f"{name},{error:.3f}" for name, error in depth_errors(examples).items()],
    )
    _write(
        paths.angles,
        [line.format(**facts) for line in _ANGLE_HEAD]
        + [
            f"{stem},{level},{view:.0f},{offset:.1f},{sd:.1f},{people:.0f}"
            for level in ("known", "assumed")
            for stem, (view, offset, sd, people) in usual_errors(*plain_errors(examples, level))
        ],
    )


def _write(path: Path, lines: list[str]) -> None:
    path.write_text("\n".join(lines).replace(",-0.0,", ",0.0,") + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
