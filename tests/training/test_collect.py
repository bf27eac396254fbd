"""Looking at rendered people: what is stored, and that the committed examples come from it."""

from pathlib import Path

import numpy as np
import pytest

from ergo.errors import InputError
from ergo.landmarks.joints import JOINTS
from ergo.posture.body_points import POINTS, POSITION
from ergo.training.collect import main
from ergo.training.examples import read_examples
from ergo.training.scenes import read_scene, true_box, true_px

SCENES = Path(__file__).parent / "scenes"


@pytest.fixture(scope="module")
def collected(tmp_path_factory):
    out = tmp_path_factory.mktemp("collected") / "examples.parquet"
    main([str(SCENES), "--out", str(out)])
    return read_examples(out)


def test_operators_and_assistants_are_collected_and_no_patient(collected):
    # train_001 shows the operator alone, the others all three
    people = set(zip(collected.scene, collected.role, strict=True))
    assert people == {
        ("train_001", "operator"),
        *(
            (f"train_{still}", role)
            for still in ("015", "016")
            for role in ("operator", "assistant")
        ),
    }


def test_the_committed_examples_come_from_collecting(collected):
    committed = read_examples()
    rows = {
        person: row for row, person in enumerate(zip(committed.scene, committed.role, strict=True))
    }
    at = [rows[person] for person in zip(collected.scene, collected.role, strict=True)]
    # processors round differently, and a landmark between two answers moves by a pixel
    allowed = {"picture_px": (0.1, 2.0), "joint_px": (0.2, 1.0), "world_m": (2e-3, 1e-2)}
    for name, (for_most, at_most) in allowed.items():
        apart = np.abs(getattr(collected, name) - getattr(committed, name)[at])
        assert np.quantile(apart, 0.9) < for_most, name
        assert apart.max() < at_most, name
    assert np.array_equal(collected.up, committed.up[at])
    assert collected.truth.xyz == pytest.approx(committed.truth.xyz[at])


def test_true_points_lie_on_their_lines_of_sight(collected):
    # independent of the record's turn and move: its pixels, through the lens
    for row, (name, role) in enumerate(zip(collected.scene, collected.role, strict=True)):
        scene = read_scene(SCENES / f"{name}.json")
        person = next(one for one in scene.people if one["role"] == role)
        xyz = collected.truth.xyz[row]
        seen = collected.centre_px[row] + collected.focal_px[row] * xyz[:, :2] / xyz[:, 2:]
        assert seen == pytest.approx(true_px(person, POINTS), abs=0.05)


def test_a_neutral_body_is_upright_and_only_known_of_operators(collected):
    for role, neutral in zip(collected.role, collected.neutral.xyz, strict=True):
        hips = (neutral[POSITION["hip_left"]] + neutral[POSITION["hip_right"]]) / 2
        if role == "operator":
            rise = hips[1] - neutral[POSITION["trunk_top"], 1]  # y points down
            assert 0.4 < rise < 0.7
            assert abs(neutral[POSITION["trunk_top"], 0] - hips[0]) < 0.02
        else:
            assert np.isnan(neutral).all()


def test_the_crop_round_a_true_person_holds_all_of_the_body():
    for path in sorted(SCENES.glob("*.json")):
        for person in read_scene(path).people:
            box = true_box(person)
            centre = np.array([box.x_px, box.y_px])
            places = true_px(person, JOINTS)
            assert np.linalg.norm(places - centre, axis=1).max() < box.side_px / 2


def test_a_record_without_its_picture_is_named(tmp_path):
    (tmp_path / "alone.json").write_text("{}")
    with pytest.raises(InputError, match="alone.json"):
        read_scene(tmp_path / "alone.json")
