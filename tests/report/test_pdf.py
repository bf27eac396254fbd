import pytest
from pypdf import PdfReader

from ergo.errors import MissingLibrary, OutputError
from ergo.report.pdf import typesetting, write_pdf

PAGE = "<html><body><p>Neck bent for 7 min, ±3°</p></body></html>"


def test_a_page_becomes_a_pdf_with_its_text(tmp_path):
    write_pdf(PAGE, tmp_path / "page.pdf")
    (page,) = PdfReader(tmp_path / "page.pdf").pages
    assert "Neck bent for 7 min, ±3°" in page.extract_text()


def test_without_pango_one_line_says_how_to_get_it(tmp_path, monkeypatch):
    (tmp_path / "weasyprint.py").write_text("raise OSError('cannot load library')")
    monkeypatch.syspath_prepend(tmp_path)
    with pytest.raises(MissingLibrary, match="apt-get install libpango"):
        write_pdf(PAGE, tmp_path / "page.pdf")
    assert not (tmp_path / "page.pdf").exists()


def test_a_report_that_is_given_up_leaves_no_pdf_and_is_told_as_it_was(tmp_path):
    with pytest.raises(KeyError, match="drawing"), typesetting(tmp_path / "page.pdf"):
        raise KeyError("drawing failed")
    assert not list(tmp_path.iterdir())


def test_a_place_that_cannot_be_written_to_is_named(tmp_path):
    with pytest.raises(OutputError, match=r"page\.pdf cannot be written"):
        write_pdf(PAGE, tmp_path / "nowhere" / "page.pdf")
