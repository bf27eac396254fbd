from dataclasses import replace

import numpy as np
import pytest

from ergo.advice.rules import rules
from ergo.report.html import render, report_content
from ergo.report.text.first_change import changes_of
from ergo.report.text.summary import summary_lines
from ergo.report.text.words import LANGUAGES, words


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
    assert shown.others
    for change in (shown.first, *shown.others):
        assert change.do.endswith(".")
        assert any(letter.isdigit() for letter in change.why)
        assert len(change.source) > 20
    assert any(change.also for change in (shown.first, *shown.others))


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
    told = changes_of(low, exposure, own)
    (change,) = [
        each for each in (told.first, *told.others) if each.do == own.say("change.do.raise_patient")
    ]
    assert said in change.why


@pytest.mark.parametrize("language", LANGUAGES)
def test_nobody_is_told_to_raise_a_mouth_that_was_measured_above_the_elbow(
    session, exposure, language
):
    own = words(language)
    raising = {own.say(f"change.{kind}.raise_patient") for kind in ("do", "name")}

    def is_estimated(measured_session):
        told = changes_of(measured_session, exposure, own)
        changes = (told.first, *told.others)
        shown = " ".join([told.untested, *(each.do + each.also for each in changes)])
        return any(each in shown for each in raising)

    assert is_estimated(replace(session, place=None))  # by the forearms alone
    assert not is_estimated(measured(session, "mouth_above_elbow_m", 0.13, 0.03))


@pytest.mark.parametrize("language", LANGUAGES)
def test_one_change_is_named_first_and_the_others_on_request(session, exposure, language):
    own = words(language)
    told = changes_of(session, exposure, own)
    others = [each.do for each in told.others]
    assert others
    plain = summary_lines(session, exposure, language)
    full = summary_lines(session, exposure, language, all_changes=True)
    assert sum(told.first.do in line for line in plain) == 1
    assert not any(do in line for do in others for line in plain)
    assert [line for line in full if line not in plain] == [
        f"{own.say('change.next')}: {each.do} {each.why}" for each in told.others
    ]


def test_on_the_page_the_others_are_folded_and_in_print_they_are_asked_for(session, exposure):
    own = words("en")
    told = changes_of(session, exposure, own)
    last = told.others[-1].do.replace("'", "&#39;")

    def rendered(*, for_print, all_changes):
        content = report_content(session, exposure, (), own, all_changes=all_changes)
        page = render(content, {}, for_print=for_print)
        return page[page.index('id="change"') : page.index('id="seen"')]

    screen = rendered(for_print=False, all_changes=False)
    assert screen.index(told.first.do.replace("'", "&#39;")) < screen.index("<details>")
    assert screen.index("<details>") < screen.index(last) < screen.index("</details>")
    short, whole = (rendered(for_print=True, all_changes=each) for each in (False, True))
    assert last not in short
    assert "--all-changes" in short
    assert last in whole
