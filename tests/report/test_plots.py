import re
from dataclasses import replace

import numpy as np
import pytest

from ergo.exposure.exposure import Share
from ergo.report.plots.canvas import NARROW_IN, WIDE_IN, on_paper, svg_of, themed
from ergo.report.plots.dial import dial_figure
from ergo.report.plots.report_plots import FIGURES
from ergo.report.plots.spread import weighted_classes
from ergo.report.plots.timeline import peaks, places
from ergo.report.text.words import LANGUAGES, words

ENGLISH = words("en")


def texts(figure):
    return [text.get_text() for text in figure.findobj(lambda x: hasattr(x, "get_text"))]


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("width", [WIDE_IN, NARROW_IN])
@pytest.mark.parametrize("key", FIGURES)
def test_nothing_in_a_figure_is_clipped(session, exposure, key, width, language):
    figure = FIGURES[key](session, exposure, words(language), width)
    on_paper(figure)
    tight = figure.get_tightbbox()
    assert tight.x0 >= -0.02
    assert tight.y0 >= -0.02
    assert tight.x1 <= figure.get_figwidth() + 0.02
    assert tight.y1 <= figure.get_figheight() + 0.02


@pytest.mark.parametrize("key", FIGURES)
def test_a_figure_is_the_same_bytes_every_time(session, exposure, key):
    one, two = (svg_of(FIGURES[key](session, exposure, ENGLISH, WIDE_IN)) for _ in range(2))
    assert one == two


@pytest.mark.parametrize("key", ["strained", "scores"])
def test_every_bar_names_its_unjudged_share(session, exposure, key):
    bars = {"strained": exposure.limits, "scores": exposure.scores}[key]
    gone = tuple(replace(x, unjudged=Share(1.0, 0.37, 0.37, 0.37)) for x in bars)
    changed = replace(exposure, **{{"strained": "limits", "scores": "scores"}[key]: gone})
    shown = texts(FIGURES[key](session, changed, ENGLISH, WIDE_IN))
    assert "not judged 37\u00a0%" in shown
    assert not any(re.fullmatch(r"not judged (?!37).*%", text) for text in shown)


@pytest.mark.parametrize("key", ["strained", "timeline", "spread", "scores"])
def test_axes_carry_their_units(session, exposure, key):
    shown = " ".join(texts(FIGURES[key](session, exposure, ENGLISH, WIDE_IN)))
    assert re.search(r"\[(%|°|min:s)\]", shown)


def test_a_dial_needs_a_clock_position(exposure):
    assert dial_figure(replace(exposure, by_clock=()), ENGLISH, WIDE_IN) is None


def test_thinning_a_line_keeps_its_peaks_and_gaps():
    y = np.sin(np.arange(18_000) / 500)
    y[4321], y[9876], y[12_000] = 9.0, -9.0, np.nan
    kept = peaks(y)
    assert {4321, 9876, 12_000} <= set(kept.tolist())
    assert np.all(np.diff(kept) > 0)
    assert len(kept) < 2_000


def test_clips_lie_one_after_the_other_on_the_time_axis(session):
    timeline = session.recording.timeline
    half = len(timeline) // 2
    two = replace(
        timeline,
        sources=("a", "b"),
        source_index=np.repeat([0, 1], half),
        time_s=np.tile(timeline.time_s[:half], 2),
    )
    assert places(two) == pytest.approx(places(timeline), abs=0.2)


def test_the_spread_is_weighted_by_time_and_adds_up_to_one():
    edges, shares = weighted_classes(np.array([1.0, 5.0, np.nan]), np.array([3.0, 1.0, 50.0]))
    assert shares.sum() == pytest.approx(1)
    assert shares[np.searchsorted(edges, 1.0, "right") - 1] == pytest.approx(0.75)


def test_a_figure_follows_a_dark_screen_but_the_saved_file_stays_plain(session, exposure):
    svg = svg_of(FIGURES["strained"](session, exposure, ENGLISH, WIDE_IN))
    assert "var(--" not in svg
    assert "prefers-color-scheme:dark" in themed(svg)
    assert "var(--ink)" in themed(svg)
