import re
from dataclasses import replace

import pytest
from pypdf import PdfReader

from ergo.report.html import render, report_content
from ergo.report.report import write_report
from ergo.report.text.key_findings import first_sentences
from ergo.report.text.words import LANGUAGES, words


def flat(text):
    return re.sub(r"\s+", " ", text)


@pytest.fixture(scope="module")
def folders(session, exposure, fetch, tmp_path_factory):
    made = {}
    for language in LANGUAGES:
        made[language] = tmp_path_factory.mktemp(language)
        write_report(session, exposure, fetch, made[language], language)
    return made


@pytest.fixture(scope="module")
def page(folders):
    return (folders["en"] / "report.html").read_text(encoding="utf-8")


def test_the_report_is_html_pdf_and_every_figure_as_svg_and_png(folders):
    names = {str(path.relative_to(folders["en"])) for path in folders["en"].rglob("*.*")}
    figures = ("strained", "timeline", "variation", "breaks", "spread", "dial", "plan", "scores")
    assert names == {"report.html", "report.pdf"} | {
        f"plots/{figure}.{kind}" for figure in figures for kind in ("svg", "png")
    }


def test_the_page_refers_to_nothing_outside_itself(page):
    assert not re.findall(r"""(?:src|href|srcset)=["'](?!data:|#)""", page)
    assert not re.findall(r"url\((?!#|data:)", page)
    assert "<script" not in page
    assert "default-src 'none'" in page


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_pdf_holds_the_three_things(folders, exposure, language):
    pages = PdfReader(folders[language] / "report.pdf").pages
    text = flat(" ".join(page.extract_text() for page in pages))
    for sentence in first_sentences(exposure, words(language)):
        assert flat(sentence) in text


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_page_is_in_its_language_from_heading_to_caution(folders, language):
    page = (folders[language] / "report.html").read_text(encoding="utf-8")
    own = words(language)
    assert f'<html lang="{language}">' in page
    for key in ("first", "change", "seen", "strained", "timeline", "holds", "variation", "breaks"):
        assert own.say(f"head.{key}") in page
    for key in ("screening", "rules", "consent", "blur", "local", "one"):
        assert own.say(f"cautions.{key}").replace("'", "&#39;") in page


def test_the_first_three_come_before_everything_else(page):
    assert page.index('id="first"') < page.index('id="seen"') < page.index('id="cautions"')


def test_every_picture_says_in_words_what_it_shows(page):
    pictures = re.findall(r"<img [^>]*>", page)
    assert len(pictures) == 8 + 3
    assert all(re.search(r'alt="[^"]{20,}"', picture) for picture in pictures)


def test_every_table_has_a_caption_and_headed_rows(page):
    tables = re.findall(r"<table.*?</table>", page, re.S)
    assert len(tables) >= 8
    assert all("<caption>" in t and 'scope="col"' in t and 'scope="row"' in t for t in tables)


def test_a_name_that_looks_like_markup_stays_text(session, exposure):
    named = replace(session.recording, skipped=("<b>note</b>.txt",))
    content = report_content(replace(session, recording=named), exposure, (), words("en"))
    page = render(content, {}, for_print=False)
    assert "&lt;b&gt;note&lt;/b&gt;.txt" in page
    assert "<b>note" not in page


def test_a_report_of_stills_without_clock_and_pictures_is_still_a_report(
    session, exposure, tmp_path
):
    frames = len(session.posture)
    timeline = replace(session.recording.timeline, unit="picture")
    stills = replace(session, recording=replace(session.recording, timeline=timeline))
    bare = replace(
        exposure, unit="picture", total=float(frames), by_clock=(), holds=(), worst_moments=()
    )
    write_report(stills, bare, lambda source, time_s: None, tmp_path)
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert words("en").say("holds.stills") in page
    assert words("en").say("moments.none") in page
    assert not (tmp_path / "plots" / "dial.svg").exists()
