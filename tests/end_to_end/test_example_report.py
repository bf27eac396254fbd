"""The finished example in reports/ is what the program makes today."""

import json
import re
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pypdf import PdfReader

from ergo.posture.angle_names import NAMES
from tests.end_to_end.conftest import ROOT, SAMPLE, run_ergo

EXAMPLE = ROOT / "reports" / "sample"
REMEDY = "Make it anew: bash .ci/example"


@pytest.fixture(scope="module")
def rebuilt(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the example, judged and reported again from its landmarks."""
    place = tmp_path_factory.mktemp("example")
    copy = place / EXAMPLE.relative_to(ROOT)
    shutil.copytree(EXAMPLE, copy)
    shutil.copytree(SAMPLE, place / SAMPLE.relative_to(ROOT))  # the report shows its pictures
    finished = run_ergo("rescore", copy)
    assert finished.code == 0, finished.err
    return copy


def readable(folder: Path) -> list[str]:
    """Return the words of the report's page, without markup and pictures."""
    page = (folder / "report.html").read_text(encoding="utf-8")
    page = re.sub(r"(?s)<style.*?</style>|<script.*?</script>", "", page)
    return re.sub(r"<[^>]*>", " ", page).split()


def test_the_words_of_the_page_are_the_same(rebuilt: Path) -> None:
    assert readable(rebuilt) == readable(EXAMPLE), REMEDY


def test_the_summary_is_the_same(rebuilt: Path) -> None:
    made, kept = (
        json.loads((folder / "summary.json").read_text()) for folder in (rebuilt, EXAMPLE)
    )
    assert _flat(made) == pytest.approx(_flat(kept), rel=1e-3, abs=1e-3, nan_ok=True), REMEDY


def _flat(content, path: str = "") -> dict[str, float]:
    if isinstance(content, dict):
        parts = content.items()
    elif isinstance(content, list):
        parts = enumerate(content)
    else:
        return {path: content} if isinstance(content, int | float) else {}
    return {k: v for key, part in parts for k, v in _flat(part, f"{path}/{key}").items()}


def test_the_pdf_has_the_same_pages(rebuilt: Path) -> None:
    made, kept = (PdfReader(folder / "report.pdf") for folder in (rebuilt, EXAMPLE))
    assert len(made.pages) == len(kept.pages), REMEDY
    for one, other in zip(made.pages, kept.pages, strict=True):
        assert one.extract_text() == other.extract_text(), REMEDY


def test_the_pictures_give_the_same_angles(sample_run) -> None:
    """Processors round differently, so a few degrees are allowed at single frames."""
    _, out = sample_run
    made, kept = (pd.read_parquet(folder / "frames.parquet") for folder in (out, EXAMPLE))
    assert made.source.tolist() == kept.source.tolist(), REMEDY
    for name in NAMES:
        one, other = made[name].astype(float), kept[name].astype(float)
        if other.notna().sum():
            assert np.nanmedian(abs(one - other)) < 1.0, f"{name}: {REMEDY}"
