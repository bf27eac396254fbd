"""What lies in a part that the notes exclude changes nothing that is read or drawn."""

from dataclasses import replace

import numpy as np
import pytest

from ergo.exposure.summary import exposure_of
from ergo.notes.excluded import is_excluded
from ergo.notes.notes import Notes
from ergo.report.html import report_content
from ergo.report.moment_links import leads_of
from ergo.report.plots.canvas import WIDE_IN, svg_of
from ergo.report.plots.report_plots import FIGURES
from ergo.report.text.words import words
from tests.report.conftest import invented_session

EN = words("en")
NOTES = Notes.model_validate({"excluded": [{"from_s": 10, "to_s": 55}]})


@pytest.fixture(scope="module")
def both():
    """The same session twice, with other things in the excluded part."""
    one = replace(invented_session(600), notes=(NOTES,))
    out = is_excluded(one.recording.timeline, [NOTES])

    def other(values, instead):
        return np.where(out.reshape(-1, *[1] * (values.ndim - 1)), instead, values)

    posture = replace(
        one.posture, value=other(one.posture.value, 77.0), sd=other(one.posture.sd, 1.0)
    )
    clock = replace(one.clock, hours=other(one.clock.hours, 3.0))
    place = replace(
        one.place,
        seat_m=other(one.place.seat_m, 0.9),
        hours=other(one.place.hours, 3.0),
        measured={name: other(each, 0.7) for name, each in one.place.measured.items()},
        knees_under=other(one.place.knees_under, 0.0),
    )
    scores = tuple(
        replace(
            score,
            score=other(score.score, 7),
            level=other(score.level, 4),
            steps={name: other(steps, 7) for name, steps in score.steps.items()},
            strained={name: frames | out for name, frames in score.strained.items()},
            within_one=None if score.within_one is None else other(score.within_one, 0.1),
        )
        for score in one.scores
    )
    two = replace(one, posture=posture, clock=clock, place=place, scores=scores)
    return one, two


def exposure(session):
    timeline = session.recording.timeline
    return exposure_of(timeline, session.posture, session.clock, session.scores, session.notes)


def test_the_exposure_is_the_same(both):
    one, two = map(exposure, both)
    assert one.total == pytest.approx(120)
    assert repr(one) == repr(two)


def test_every_sentence_and_table_is_the_same(both):
    one, two = (report_content(each, exposure(each), (), EN) for each in both)
    assert {key: repr(each) for key, each in one.items() if key != "words"} == {
        key: repr(each) for key, each in two.items() if key != "words"
    }


@pytest.mark.parametrize("key", FIGURES)
def test_every_figure_is_the_same(both, key):
    one, two = (FIGURES[key](each.without_excluded(), exposure(each), EN, WIDE_IN) for each in both)
    assert (one is None) == (two is None)
    if one is not None:
        assert svg_of(one) == svg_of(two)


def test_rows_lead_to_the_same_moments(both):
    one, two = (leads_of(each, exposure(each)) for each in both)
    assert one == two
