from dataclasses import replace

import numpy as np
import pytest

from ergo.exposure.microbreaks import break_plan
from ergo.posture.angle_names import COLUMN
from ergo.report.plots.breaks import breaks_figure
from ergo.report.plots.variation import variation_figure, variations
from ergo.report.text.published_norms import break_sentences, breaks_table, norms_table
from ergo.report.text.words import words

EN = words("en")


def test_a_hold_that_passes_its_line_gets_a_break_where_it_reaches_it(exposure):
    (row,) = breaks_table(exposure, EN).rows
    # held from 6:40 on, 140 s allowed
    assert row[1] == "9:00"
    assert row[3].replace("\u00a0", " ") == "2 min 20 s"
    assert "1 short break" in break_sentences(exposure, EN)[0]


def test_postures_that_are_never_recommended_are_not_promised_to_be_mended_by_breaks(exposure):
    assert any("for any time: 1." in said for said in break_sentences(exposure, EN))


def test_without_long_holds_there_is_no_plan_and_no_figure(exposure):
    calm = replace(exposure, holds=())
    assert break_sentences(calm, EN) == [EN.say("breaks.none")]
    assert breaks_table(calm, EN) is None
    assert breaks_figure(calm, EN, 7.0) is None


def test_stills_have_neither_plan_nor_variation(session, exposure):
    stills = replace(exposure, unit="picture", holds=())
    assert break_sentences(stills, EN) == [EN.say("breaks.stills")]
    assert variation_figure(session, stills, EN, 7.0) is None


def test_the_figure_of_breaks_shows_both_timelines(exposure):
    real, planned = breaks_figure(exposure, EN, 7.0).axes
    assert [real.get_title(loc="left"), planned.get_title(loc="left")] == [
        "as recorded",
        "with breaks",
    ]
    stretches = break_plan(exposure.holds).stretches
    assert len(planned.patches) == len(stretches)
    assert len(planned.patches) == len(real.patches) + 1


def test_every_share_of_the_variation_is_drawn_and_they_add_up(session, exposure):
    for each in variations(session, exposure):
        assert float(np.sum(each.share)) + each.unjudged == pytest.approx(1)
    assert variation_figure(session, exposure, EN, 7.0) is not None
    assert variation_figure(session, exposure, EN, 3.75) is not None


def test_own_figures_stand_beside_published_ones_with_their_source(session):
    rows = norms_table(session, EN).rows
    neck = next(row for row in rows if row[0].startswith("Neck") and "30°" in row[0])
    value = session.posture.value[:, COLUMN["neck_flexion_deg"]]
    own = np.mean(value[np.isfinite(value)] > 30)
    assert neck[1].startswith(EN.share(float(own)))
    assert neck[2] == EN.share(0.85)
    assert "Marklin" in neck[4]
    assert neck[4].endswith("✓ marklin-2005")
