"""A tenth of the attacks of ``python -m tests.hostile``: results or one clear line, no more."""

import pytest

from tests.hostile.__main__ import cases_of
from tests.hostile.attacks import ATTACKS
from tests.hostile.running import Answer, answers

CASES = 500
"""In all; a tenth or less of what the command runs."""


@pytest.fixture(scope="module")
def answered() -> list[Answer]:
    return list(answers(cases_of(CASES)))


@pytest.mark.parametrize("name", ATTACKS)
def test_hostile_input_is_taken_whole_or_refused_in_one_line(answered, name):
    mine = [answer for answer in answered if answer.name == name]
    failed = [
        f"{answer.name} {answer.number}: {answer.told}"
        for answer in mine
        if answer.kind == "failed"
    ]
    assert mine
    assert not failed, "\n".join(failed)


def test_attacks_both_hit_and_miss(answered):
    """An attack that is always refused, or never, would prove little."""
    for name in ("notes", "pictures", "clips", "names", "outputs", "sessions", "page"):
        kinds = {answer.kind for answer in answered if answer.name == name}
        assert {"taken", "refused"} <= kinds, name


def test_the_shares_are_those_of_all_cases():
    assert sum(share for _, share in ATTACKS.values()) == pytest.approx(1)


def test_a_case_that_ends_its_process_is_told_and_the_rest_go_on(monkeypatch):
    whole = list(answers([("no such attack", 1), ("notes", 2)]))
    assert [(each.name, each.kind) for each in whole][0] == ("no such attack", "failed")
    assert whole[1].kind in ("taken", "refused")
