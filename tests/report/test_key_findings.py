from dataclasses import replace

import numpy as np
import pytest

from ergo.exposure.exposure import Share
from ergo.notes.notes import Notes
from ergo.report.text.key_findings import film_next, first_sentences
from ergo.report.text.words import words

ENGLISH = words("en")


def plain(sentence):
    return sentence.replace("\u00a0", " ")


def with_first(exposure, **changes):
    return replace(exposure, first_three=(replace(exposure.first_three[0], **changes),))


def without(exposure, share_of):
    """The exposure with these shares of each angle not judged."""

    def changed(limits):
        share = share_of(limits.limits.angle.name)
        return replace(limits, unjudged=replace(limits.unjudged, share=share))

    return replace(exposure, limits=tuple(changed(each) for each in exposure.limits))


def test_where_nothing_could_be_judged_one_line_says_what_to_film(session, exposure):
    for tongue in (ENGLISH, words("de")):
        said = film_next(session, without(exposure, lambda _: 1.0), tongue)
        assert said == [tongue.say("next.nothing")]


def test_a_part_that_was_left_out_is_no_reason_to_film_otherwise(session, exposure):
    seconds = session.recording.timeline.total
    half = Notes.model_validate({"excluded": [{"from_s": 0, "to_s": seconds / 2}]})
    left_out = replace(session, notes=(half,))
    assert left_out.excluded_share() == pytest.approx(0.5, abs=0.01)
    said = film_next(left_out, without(exposure, lambda _: 0.5), ENGLISH)
    assert not any("not judged" in line for line in said)
    unseen = film_next(left_out, without(exposure, lambda _: 0.9), ENGLISH)
    assert any("not judged for 80\xa0% of the time" in line for line in unseen)


def test_angles_that_one_camera_place_shows_share_a_line(session, exposure):
    shares = {"trunk_flexion_deg": 0.4, "neck_flexion_deg": 0.8, "neck_side_bend_deg": 0.5}
    said = film_next(session, without(exposure, lambda name: shares.get(name, 0.0)), ENGLISH)
    side, rear = (line for line in said if "not judged" in line)
    assert "Trunk, forward bend; Neck, forward bend" in side
    assert ENGLISH.say("next.from_to", least="40\xa0%", most="80\xa0%") in side
    assert "Neck, side bend" in rear
    assert "Neck, side bend" not in side


def test_the_first_sentence_says_what_how_long_how_sure_and_where(exposure):
    told = with_first(
        exposure,
        judged=700.0,
        beyond=Share(720.0, 440 / 720, 390 / 720, 490 / 720),
    )
    assert plain(first_sentences(told, ENGLISH)[0]) == (
        "Of 11 min 40 s that could be judged, your neck was bent more than 25° for 7 min 20 s "
        "(between 6 min 30 s and 8 min 10 s), longest hold 94 s, mostly at 9 o'clock "
        "while the trunk was upright. Limit: ISO 11226."
    )


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"beyond": Share(720.0, 0.1, 0.05, 0.2)}, "72 s (between 36 s and 2 min 24 s)"),
        ({"judged": 300.0}, "Of 5 min that could be judged"),
        ({"limit": 20.0}, "more than 20°"),
        ({"clock_hour": 11}, "mostly at 11 o'clock"),
        ({"clock_share": 0.4}, "most often at 9 o'clock"),
        ({"while_key": "trunk_bent"}, "while the trunk leaned forward"),
    ],
)
def test_a_changed_figure_changes_the_sentence(exposure, changes, said):
    before = plain(first_sentences(with_first(exposure), ENGLISH)[0])
    after = plain(first_sentences(with_first(exposure, **changes), ENGLISH)[0])
    assert said in after
    assert said not in before


@pytest.mark.parametrize(
    ("changes", "unsaid"),
    [
        ({"longest": None}, "hold"),
        ({"clock_hour": None}, "o'clock"),
        ({"while_key": None}, "trunk"),
    ],
)
def test_what_is_not_known_is_not_said(exposure, changes, unsaid):
    assert unsaid in first_sentences(with_first(exposure), ENGLISH)[0]
    assert unsaid not in first_sentences(with_first(exposure, **changes), ENGLISH)[0]


def test_a_long_hold_names_its_length_and_what_the_standard_allows(exposure):
    sentence = plain(first_sentences(exposure, ENGLISH)[1])
    assert "held at 33° for 4 min 30 s" in sentence
    assert "ISO 11226 allows 2 min 20 s" in sentence


def test_pictures_are_counted_in_and_not_for(exposure):
    stills = replace(
        with_first(exposure, judged=12.0, beyond=Share(12.0, 0.5, 0.25, 0.75)), unit="picture"
    )
    sentence = plain(first_sentences(stills, ENGLISH)[0])
    assert sentence.startswith("Of 12 pictures that could be judged")
    assert "in 6 pictures (between 3 pictures and 9 pictures)" in sentence


def test_without_facts_the_report_says_that_nothing_could_be_judged(exposure):
    assert first_sentences(replace(exposure, first_three=()), ENGLISH) == [
        ENGLISH.say("first.nothing")
    ]


def test_an_angle_that_was_mostly_not_seen_gets_a_camera_place(session, exposure):
    unseen = tuple(
        replace(x, unjudged=Share(exposure.total, 0.8, 0.8, 0.8))
        if x.limits.angle.name == "neck_flexion_deg"
        else replace(x, unjudged=Share(exposure.total, 0.0, 0.0, 0.0))
        for x in exposure.limits
    )
    advice = film_next(session, replace(exposure, limits=unseen), ENGLISH)
    assert plain(advice[0]).startswith("Neck, forward bend: not judged for 80 % of the time.")
    assert ENGLISH.say("advice.side") in advice[0]
    assert not any(line.startswith("Trunk") for line in advice)


def test_a_camera_taken_as_level_is_asked_for_and_a_stated_one_is_not(session, exposure):
    known = replace(
        session, cameras=tuple(replace(c, level_origin="notes") for c in session.cameras)
    )
    assert ENGLISH.say("next.level") in film_next(session, exposure, ENGLISH)
    assert ENGLISH.say("next.level") not in film_next(known, exposure, ENGLISH)


def test_a_missing_clock_position_is_asked_for(session, exposure):
    clock = replace(session.clock, hours=np.full(len(session.posture), np.nan))
    unknown = replace(session, clock=clock)
    assert ENGLISH.say("next.clock") in film_next(unknown, exposure, ENGLISH)
    assert ENGLISH.say("next.clock") not in film_next(session, exposure, ENGLISH)
