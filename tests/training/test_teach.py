"""What of the teaching needs no accelerator: rates, who is shown, what is missing."""

import sys
from dataclasses import replace
from pathlib import Path

import pytest

from ergo.errors import MissingLibrary
from ergo.training.scenes import hands_px, px_per_m, read_scene
from ergo.training.teach import LEAST_RATE, WARM_UP, looked_for, main, rate_share, seen_people

SCENES = Path(__file__).parent / "scenes"


def test_rates_rise_first_and_fall_to_the_least():
    shares = [rate_share(step, 3000) for step in range(3001)]
    assert shares[0] == pytest.approx(1 / WARM_UP)
    highest = max(range(3001), key=shares.__getitem__)
    assert highest == pytest.approx(WARM_UP, abs=2)
    # half-way down a half cosine
    assert shares[1500] == pytest.approx((1 + LEAST_RATE) / 2)
    assert shares[-1] == pytest.approx(LEAST_RATE)


def test_everybody_in_view_is_shown_the_operator_most_often():
    scenes = [read_scene(SCENES / f"{name}.json") for name in ("train_001", "train_016")]
    shown = [(at, person["role"], weight) for at, person, _, weight in seen_people(scenes)]
    assert [(at, role) for at, role, _ in shown] == [
        (0, "operator"),
        *((1, person["role"]) for person in scenes[1].people),
    ]
    weights = {role: weight for at, role, weight in shown if at == 1}
    assert weights["operator"] > weights["assistant"] > weights["patient"]


def test_a_patient_is_looked_for_at_the_hands_of_all_who_treat():
    scenes = [read_scene(SCENES / f"{name}.json") for name in ("train_001", "train_016")]
    looks = [
        (at, clinician["role"], patient and patient["role"], weight)
        for at, clinician, patient, weight in looked_for(scenes)
    ]
    assert [look[:3] for look in looks] == [
        (0, "operator", None),
        (1, "operator", "patient"),
        (1, "assistant", "patient"),
    ]
    assert looks[1][3] > looks[2][3]


def test_where_a_patient_can_hardly_be_seen_nobody_is_asked_for_one():
    scene = read_scene(SCENES / "train_016.json")
    hidden = [
        {**person, "visible_fraction": 0.05} if person["role"] == "patient" else person
        for person in scene.people
    ]
    assert list(looked_for([replace(scene, people=hidden)])) == []


def test_the_scale_at_the_hands_is_that_of_the_record():
    # independent of the record's turn and move: its own depths and pixels
    scene = read_scene(SCENES / "train_015.json")
    operator = scene.people[0]
    points = [operator["points"][f"index_knuckle_{side}"] for side in ("left", "right")]
    depth = (points[0]["depth"] + points[1]["depth"]) / 2
    assert px_per_m(scene, operator) == pytest.approx(scene.lens[0, 0] / depth, rel=1e-3)
    assert hands_px(operator)[0] == pytest.approx((points[0]["px"][0] + points[1]["px"][0]) / 2)


def test_without_the_library_that_teaches_one_line_says_so(monkeypatch):
    monkeypatch.setitem(sys.modules, "torch", None)
    with pytest.raises(MissingLibrary, match="pip install torch"):
        main([str(SCENES)])
