import pytest

from ergo.advice.rules import rules
from ergo.views.change import changes_of
from ergo.views.words import LANGUAGES, words


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_rule_has_its_words(language):
    kinds = ("name", "do", "why")
    wanted = {f"change.{kind}.{rule.key}" for rule in rules() for kind in kinds}
    found = {
        key for key in words(language).catalogue if key.split(".")[1:2] in [[k] for k in kinds]
    }
    assert {key for key in found if key.startswith("change.")} == wanted


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_change_says_what_to_do_why_how_much_and_by_which_source(session, exposure, language):
    shown = changes_of(session, exposure, words(language))
    assert shown.changes
    for change in shown.changes:
        assert change.do.endswith(".")
        assert any(letter.isdigit() for letter in change.why)
        assert len(change.source) > 20
    assert any(change.also for change in shown.changes)
