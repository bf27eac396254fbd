"""What counts as verified cites a text that anybody can find; what does not says what it is."""

import csv
import re
import tomllib
from pathlib import Path

import pytest

from ergo.published_sources import MARKS, cited, marks_of, sources
from ergo.scores.interpretations import READINGS

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "ergo"


def statuses():
    """Yield where a status stands, and the status: heads and rows of tables, rules of advice."""
    for path in sorted(PACKAGE.rglob("tables/*.csv")):
        lines = path.read_text(encoding="utf-8").splitlines()
        for line in lines:
            if line.startswith("# status: "):
                yield path.name, line.removeprefix("# status: ")
        for row in csv.DictReader(line for line in lines if not line.startswith("#")):
            if "status" in row:
                yield path.name, row["status"]
    for rule in tomllib.loads((PACKAGE / "advice" / "rules.toml").read_text("utf-8"))["rule"]:
        yield f"rule {rule['key']}", rule["status"]


EVERY = [*dict.fromkeys(statuses())]


@pytest.mark.parametrize(("where", "status"), EVERY)
def test_what_is_verified_cites_a_text_of_the_list(where, status):
    assert ("verified" in status) == bool(cited(status))
    assert set(cited(status)) <= sources().keys()


@pytest.mark.parametrize(("where", "status"), EVERY)
def test_every_status_has_a_mark(where, status):
    if where not in ("depth_errors.csv", "hybrid_errors.csv", "limits_dental_sitting.csv"):
        assert marks_of(status), where


def test_every_text_has_an_address_and_is_cited_somewhere():
    files = [
        path
        for folder in (PACKAGE, ROOT / "tests")
        for path in folder.rglob("*")
        if path.suffix in (".csv", ".py", ".toml")
    ]
    text = "\n".join(path.read_text(encoding="utf-8") for path in files)
    for source in sources().values():
        assert re.match(r"https?://|doi:10\.", source.address), source.key
        assert f"[{source.key}]" in text, source.key
        assert source.read


def test_keys_that_are_cited_in_tests_and_interpretations_exist():
    for path in (ROOT / "tests").rglob("*.*"):
        if path.suffix in (".csv", ".py") and path != Path(__file__):
            heads = re.findall(r"^\s*# .*$", path.read_text(encoding="utf-8"), re.M)
            keys = {key for head in heads for key in cited(head)}
            assert keys <= sources().keys(), path
    for option, reading in READINGS.items():
        assert set(cited(reading.source)) <= sources().keys(), option


def test_no_test_cites_what_is_not_in_the_clone():
    word = "dos" + "sier"
    for path in (ROOT / "tests").rglob("*.py"):
        assert word not in path.read_text(encoding="utf-8"), path


def test_the_zones_of_the_clock_rest_on_teaching_texts():
    head = (PACKAGE / "workplace" / "tables" / "clock_zones.csv").read_text(encoding="utf-8")
    keys = set(cited(head))
    assert {"assisting-quiz", "clinician-slides"} <= keys
    assert "http" not in head
    assert ".com" not in head


@pytest.mark.parametrize(
    ("status", "marks"),
    [
        ("verified: read in [lemaster-2021]", "✓"),
        ("20: verified: read in [dental-checklist]; sideways: memory", "✓≈"),
        ("common practice, no source", "※"),
        ("ours: 5 deg backward still taken as level", "⌂"),
        ("verified: all cells read by somebody", ""),  # cites nothing: nobody can find it
        ("memory", "≈"),
    ],
)
def test_marks_say_how_far_a_value_is_known(status, marks):
    assert marks_of(status) == marks


def test_the_font_of_report_and_plots_has_every_mark():
    import matplotlib
    from fontTools.ttLib import TTFont

    path = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf"
    glyphs = TTFont(path).getBestCmap()
    assert all(ord(mark) in glyphs for mark in MARKS.values())
