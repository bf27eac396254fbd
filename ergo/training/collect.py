"""Look at rendered people and store what is seen, with the truth about them.

    python -m ergo.training.collect FOLDER [FOLDER ...] [--out FILE]

Every picture lies beside a JSON record of the true people (see
:mod:`ergo.training.scenes`). Operators and assistants are looked at as the
program does it in stills: the whole body, the upper body closer, and mirror
images of both.
"""

import argparse
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from ergo.landmarks.joints import JOINTS
from ergo.landmarks.names import LANDMARKS
from ergo.landmarks.network import Box, PoseEstimate, PoseNetwork
from ergo.posture.body_points import POINTS
from ergo.training.examples import EXAMPLES_PATH, LOOKS
from ergo.training.scenes import LEAST_VISIBLE, Person, Scene, read_scene, recorded, true_box

ROLES = ("operator", "assistant")  # patients are measured by nobody
SETTLING = 2  # looks from the true place of a person to the crop that following would take
MOST_GROWTH = 0.7  # logarithm of the settled crop's side against the true one's
MOST_SHIFT = 0.25  # of the true crop's side; further off it is another person's crop
_LEVEL = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])  # from x, y, z up


def settled_box(scene: Scene, person: Person, detector: PoseNetwork) -> Box | None:
    """Return the crop that following would take; None where it leaves the person."""
    true = box = true_box(person)
    for _ in range(SETTLING):
        box = detector.look(scene.picture, box).next_box
    shift_px = np.hypot(box.x_px - true.x_px, box.y_px - true.y_px)
    is_near = shift_px < MOST_SHIFT * true.side_px
    return box if is_near and abs(np.log(box.side_px / true.side_px)) < MOST_GROWTH else None


def examples_of(scene: Scene, detector: PoseNetwork) -> Iterator[dict[str, Any]]:
    """Yield one row of the examples for each person who can be looked at."""
    for person in scene.people:
        if person["role"] not in ROLES or person["visible_fraction"] < LEAST_VISIBLE:
            continue
        box = settled_box(scene, person, detector)
        if box is not None:
            look = detector.look(scene.picture, box)
            yield (
                _scene_columns(scene)
                | _truth_columns(scene, person)
                | _seen(scene, box, look, detector)
            )


def _scene_columns(scene: Scene) -> dict[str, Any]:
    height_px, width_px = scene.picture.shape[:2]
    return {
        "scene": scene.name,
        "view": scene.view,
        "is_broad": "broad" in scene.name,
        "focal_px": scene.lens[0, 0],
        "centre_px": scene.lens[:2, 2],
        "width_px": width_px,
        "height_px": height_px,
        "up": scene.turn[:, 2],
    }


def _truth_columns(scene: Scene, person: Person) -> dict[str, Any]:
    """Return true points; a neutral posture is recorded for operators alone."""
    neutral = np.full((len(POINTS), 3), np.nan)
    if person["role"] == "operator":
        neutral = np.array([scene.neutral[recorded(name)] for name in POINTS]) @ _LEVEL.T
    return {
        "role": person["role"],
        "truth_m": scene.in_camera_m(person, POINTS),
        "neutral_m": neutral,
    }


def _seen(scene: Scene, box: Box, look: PoseEstimate, detector: PoseNetwork) -> dict[str, Any]:
    if look.joints is None:
        raise TypeError("The network has no branch for joints.")
    joints = detector.closer_joints(scene.picture, box, look.joints, is_mirrored_too=True)
    return {
        "picture_px": look.picture_px[:, :2],
        "world_m": look.world_m,
        "joint_px": joints.place,
        "joint_sd_px": joints.spread,
    }


def table_of(rows: Sequence[dict[str, Any]]) -> pa.Table:
    """Return the rows as :func:`ergo.training.examples.read_examples` wants them, in order."""
    rows = sorted(rows, key=lambda row: (row["scene"], row["role"]))
    return pa.table(
        [pa.array([_plain(row[field.name]) for row in rows], field.type) for field in SCHEMA],
        SCHEMA,
    )


def _plain(value: Any) -> Any:
    return value.ravel().tolist() if isinstance(value, np.ndarray) else value


def _many(count: int) -> pa.DataType:
    return pa.list_(pa.float32(), count)


SCHEMA = pa.schema(
    [
        ("scene", pa.string()),
        ("role", pa.string()),
        ("view", pa.string()),
        ("is_broad", pa.bool_()),
        ("focal_px", pa.float32()),
        ("centre_px", _many(2)),
        ("width_px", pa.float32()),
        ("height_px", pa.float32()),
        ("up", _many(3)),
        ("picture_px", _many(2 * LOOKS * len(LANDMARKS))),
        ("world_m", _many(3 * LOOKS * len(LANDMARKS))),
        ("truth_m", _many(3 * len(POINTS))),
        ("neutral_m", _many(3 * len(POINTS))),
        ("joint_px", _many(3 * len(JOINTS))),
        ("joint_sd_px", _many(len(JOINTS))),
    ]
)


def main(arguments: Sequence[str] | None = None) -> None:
    """Look at all people of folders of stills and write the examples."""
    parser = argparse.ArgumentParser(prog="python -m ergo.training.collect", description=__doc__)
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--out", type=Path, default=EXAMPLES_PATH)
    given = parser.parse_args(arguments)
    detector = PoseNetwork("heavy")
    paths = [path for folder in given.folders for path in sorted(folder.glob("*.json"))]
    rows = [row for path in paths for row in examples_of(read_scene(path), detector)]
    pq.write_table(table_of(rows), given.out, compression="zstd")


if __name__ == "__main__":
    main()
