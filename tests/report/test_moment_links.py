import re
from html.parser import HTMLParser

import numpy as np
import pytest

from ergo.exposure.groups import hour_labels
from ergo.report.inline import with_links
from ergo.report.moment_links import leads_of, spans_of
from ergo.report.plots.bars import is_plotted
from ergo.report.report import write_report
from ergo.timeline import build_timeline

PAGE = "/sessions/invented"


class Links(HTMLParser):
    """Collects addresses of links and their names."""

    def __init__(self):
        super().__init__()
        self.found = []

    def handle_starttag(self, tag, attrs):
        if tag == "a":
            self.found.append(dict(attrs))


@pytest.fixture(scope="module")
def html(session, exposure, tmp_path_factory):
    out = tmp_path_factory.mktemp("leading")
    write_report(session, exposure, lambda *_: None, out, page=PAGE)
    return (out / "report.html").read_text()


@pytest.fixture(scope="module")
def leads(session, exposure):
    return leads_of(session, exposure)


def test_spans_are_runs_within_one_source_the_longest_first():
    timeline = build_timeline(("a", "b"), (np.arange(5.0), np.arange(4.0)), (True, True))
    where = np.array([1, 0, 0, 1, 1, 1, 1, 1, 0], dtype=bool)
    assert spans_of(where, timeline) == ((5, 7), (3, 4), (0, 0))
    assert spans_of(np.zeros(9, dtype=bool), timeline) == ()


def test_a_span_ends_at_a_jump_in_time():
    timeline = build_timeline(("a",), (np.array([0.0, 0.2, 0.4, 30.0, 30.2]),), (True,))
    assert spans_of(np.ones(5, dtype=bool), timeline) == ((0, 2), (3, 4))


def test_behind_every_part_of_a_limit_lie_frames_of_that_strain(session, exposure, leads):
    rows = [*leads["limits_table"], *leads["more_limits_table"]]
    assert any(lead.parts[2] for lead in rows)
    plotted = [each for each in exposure.limits if is_plotted(each)]
    for lead, each in zip(leads["limits_table"], plotted, strict=True):
        value = session.assessed().angle(each.limits.angle.name)
        for strain in (0, 1, 2):
            bands = [band for band in each.limits.bands if band.strain == strain]
            for first, last in lead.parts[strain]:
                inside = value[first : last + 1]
                assert all(any(b.low <= v <= b.high for b in bands) for v in inside)
        for first, last in lead.parts[3]:
            assert np.isnan(value[first : last + 1]).all()


def test_behind_a_clock_hour_lie_the_frames_at_that_hour(session, exposure, leads):
    labels = hour_labels(session.clock)
    for lead, group in zip(leads["clock_table"], exposure.by_clock, strict=True):
        wanted = group.name if group.name.isdigit() else None
        assert lead.spans
        for first, last in lead.spans:
            assert set(labels[first : last + 1]) == {wanted}


def test_every_bar_and_row_of_the_report_leads_to_the_page(html, leads):
    links = Links()
    links.feed(html)
    addresses = [each["href"].removeprefix(f"{PAGE}#") for each in links.found]
    assert all(each["target"] == "_top" for each in links.found)
    for name in ("limits_table", "scores_table", "spread_table", "clock_table", "holds_table"):
        rows = {row for row, lead in enumerate(leads[name]) if lead.spans}
        assert {int(a.split("/")[1]) for a in addresses if a.startswith(name)} == rows
    for address in addresses:
        name, row, *part = address.split("/")
        if name != "frame":
            lead = leads[name][int(row)]
            assert lead.parts[int(part[0])] if part else lead.spans


def test_bars_are_links_with_names_in_both_widths(html):
    drawn = re.findall(r'<div class="drawn (wide|narrow)".*?</div>', html, re.DOTALL)
    assert drawn.count("wide") == drawn.count("narrow") >= 4
    bars = re.findall(
        r'<a href="[^"]*#limits_table/\d+/\d" target="_top" aria-label="([^"]+)">', html
    )
    assert len(bars) >= 20
    assert all(":" in name for name in bars)


@pytest.mark.parametrize("key", ["strained", "timeline", "breaks", "spread", "dial", "scores"])
def test_the_bars_of_every_figure_lead_somewhere(html, key):
    (figure,) = re.findall(rf'<figure class="{key}">.*?</figure>', html, re.DOTALL)
    assert figure.count('<a href="') >= 4


def test_no_identifier_of_one_figure_is_that_of_another(html):
    names = re.findall(r'<(?:g|clipPath|path|pattern|symbol)[^>]* id="([^"]+)"', html)
    assert len(names) == len(set(names)) > 100


def test_a_report_that_stands_alone_leads_nowhere(session, exposure, tmp_path):
    write_report(session, exposure, lambda *_: None, tmp_path)
    links = Links()
    links.feed((tmp_path / "report.html").read_text())
    assert links.found == []


def test_a_group_within_a_group_stays_in_its_link_and_names_are_escaped():
    svg = (
        '<?xml version="1.0"?><svg><defs><path id="p1"/></defs>'
        '<g id="at/x/1"><g clip-path="url(#p1)"><use xlink:href="#p1"/></g></g><g id="g2"/></svg>'
    )
    assert with_links(svg, "n", "/s", {"x/1": '<"1">'}) == (
        '<svg><defs><path id="n-p1"/></defs>'
        '<a href="/s#x/1" target="_top" aria-label="&lt;&quot;1&quot;&gt;">'
        '<g clip-path="url(#n-p1)"><use xlink:href="#n-p1"/></g></a><g id="n-g2"/></svg>'
    )
    assert "<a" not in with_links(svg, "n", "/s", {})
