"""What of the teaching needs no accelerator: rates, who is shown, what is missing."""

import sys
from pathlib import Path

import pytest

from ergo.errors import MissingLibrary
from ergo.training.scenes import read_scene
from ergo.training.teach import LEAST_RATE, WARM_UP, main, rate_share, seen_people

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


def test_without_the_library_that_teaches_one_line_says_so(monkeypatch):
    monkeypatch.setitem(sys.modules, "torch", None)
    with pytest.raises(MissingLibrary, match="pip install torch"):
        main([str(SCENES)])
