import gzip
import json
from pathlib import Path

import numpy as np
import pytest

from ergo.camera.camera import Camera
from ergo.notes.notes import CameraNotes
from ergo.posture.angle_names import NAMES
from tests.accuracy.people import nearest_role
from tests.accuracy.program import lay_out
from tests.accuracy.truth import (
    COMPARED_LANDMARKS,
    FIELD,
    TRUE_NAMES,
    Truth,
    angles_of,
    camera_notes,
)

DATA = json.loads(
    gzip.decompress((Path(__file__).parents[1] / "data/scenes_truth.json.gz").read_bytes())
)
STILLS = DATA["stills"]


def test_every_angle_but_the_wrists_has_a_true_field():
    angles = angles_of(STILLS[0]["angles"])
    assert {name for name, value in zip(TRUE_NAMES, angles, strict=True) if np.isnan(value)} == {
        name for name in NAMES if name.startswith("wrist")
    }
    assert set(FIELD) <= set(NAMES)


@pytest.mark.parametrize("still", STILLS[::10], ids=lambda still: still["id"])
def test_a_camera_made_from_the_notes_has_the_true_up(still):
    notes = camera_notes(still["camera"])
    CameraNotes.model_validate(notes)
    camera = Camera(
        notes["width"],
        notes["height"],
        notes["focal_px"],
        tuple(notes["principal_px"]),
        pitch_deg=notes["pitch_deg"],
        roll_deg=notes["roll_deg"],
    )
    assert camera.up == pytest.approx(np.array(still["camera"]["R"])[:, 2], abs=1e-4)


def test_landmarks_belong_to_the_nearest_person():
    operator = np.arange(2.0 * len(COMPARED_LANDMARKS)).reshape(-1, 2)
    people = {"operator": operator, "patient": operator + 200.0}
    truth = Truth("a", 0.0, "rear", np.full(len(TRUE_NAMES), np.nan), people, 1.0, np.nan)
    assert nearest_role(operator + 60.0, truth) == "operator"
    assert nearest_role(operator + 160.0, truth) == "patient"


def test_notes_are_laid_beside_a_picture_only_when_the_camera_is_known(tmp_path):
    for name in ("one.jpg", "two.jpg"):
        (tmp_path / name).write_bytes(b"")
    pictures = {tmp_path / "one.jpg": {"pitch_deg": -3.5}, tmp_path / "two.jpg": None}
    folder = lay_out(tmp_path / "laid", pictures)
    assert sorted(path.name for path in folder.iterdir()) == [
        "ergo.toml",
        "one.jpg",
        "one.toml",
        "two.jpg",
    ]
    assert (folder / "one.toml").read_text() == "[camera]\npitch_deg = -3.5\n"
