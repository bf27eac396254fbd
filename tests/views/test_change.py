from dataclasses import replace

import numpy as np
import pytest

from ergo.advice.rules import rules
from ergo.views.change import changes_of
from ergo.views.words import LANGUAGES, words


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_rule_has_its_words(language):
    kinds = ("name", "do", "why")  # and words for what was measured, where they differ
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


def measured(session, name, value, sd):
    """The session with one measure of the place known in all frames."""
    place = session.place
    frames = len(place.hours)
    return replace(
        session,
        place=replace(
            place,
            measured={**place.measured, name: np.full(frames, value)},
            measured_sd={**place.measured_sd, name: np.full(frames, sd)},
        ),
    )


@pytest.mark.parametrize(
    ("language", "said"),
    [
        ("en", "the mouth 9 cm below the elbow (14 cm below the elbow to 4 cm below the elbow)"),
        ("de", "der Mund 9 cm unter dem Ellbogen (14 cm unter dem Ellbogen bis 4 cm unter dem"),
    ],
)
def test_the_sentence_prints_what_was_measured(session, exposure, language, said):
    low = measured(session, "mouth_above_elbow_m", -0.09, 0.03)
    own = words(language)
    (change,) = [
        each
        for each in changes_of(low, exposure, own).changes
        if each.do == own.say("change.do.raise_patient")
    ]
    assert said in change.why


@pytest.mark.parametrize("language", LANGUAGES)
def test_nobody_is_told_to_raise_a_mouth_that_was_measured_above_the_elbow(
    session, exposure, language
):
    high = measured(session, "mouth_above_elbow_m", 0.13, 0.03)
    own = words(language)
    told = changes_of(high, exposure, own)
    raising = {own.say(f"change.{kind}.raise_patient") for kind in ("do", "name")}
    shown = " ".join([told.untested, *(each.do + each.also for each in told.changes)])
    assert not any(each in shown for each in raising)
