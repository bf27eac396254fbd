"""Stopped at random moments: as before or as after, and whole when it is repeated."""

import time
from pathlib import Path

import pytest

from tests.hostile.kills import LONGEST_S, Act, acts, stopped
from tests.hostile.material import Material


@pytest.fixture(scope="module")
def material(tmp_path_factory):
    return Material(tmp_path_factory.mktemp("material"))


@pytest.mark.parametrize("name", ["addition", "correction", "deletion", "export", "migration"])
def test_what_is_stopped_leaves_all_or_nothing_and_can_be_repeated(name, material, tmp_path):
    assert stopped(name, acts(material)[name], 2, tmp_path) == []


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_an_act_that_is_done_by_halves_is_told(tmp_path):
    def halves(folder: Path) -> None:
        ends = folder.name == "whole" or (folder / "first").exists()
        (folder / "first").write_text("1")
        time.sleep(1.0 if ends else LONGEST_S)  # begun, it waits to be stopped
        (folder / "second").write_text("2")

    wrong = stopped("careless", Act(lambda _: None, halves, names), 4, tmp_path)
    assert any("neither as before nor as after" in line for line in wrong)


def test_an_act_that_cannot_be_repeated_is_told(tmp_path):
    def once(folder: Path) -> None:
        (folder / "made").mkdir()
        time.sleep(0.3)

    wrong = stopped("once", Act(lambda _: None, once, names), 3, tmp_path)
    assert any("the act failed" in line for line in wrong)
