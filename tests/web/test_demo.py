import json
from pathlib import Path

import pytest

from ergo.errors import NothingToAnalyse
from ergo.storage.folder import SESSION_FILE
from ergo.storage.library import open_library
from ergo.storage.session_folder import read_session
from ergo.web import demo

from .conftest import SAMPLES, folder_of


@pytest.fixture
def example(tmp_path, monkeypatch, invented):
    """A finished example among the reports, filmed where nobody finds it any more."""
    folder = folder_of(invented, tmp_path / "reports" / "sample")
    described = json.loads((folder / SESSION_FILE).read_text())
    described["sources"][0]["path"] = "gone/kf_scaling.mp4"
    (folder / SESSION_FILE).write_text(json.dumps(described))
    monkeypatch.setattr(demo, "REPORTS", tmp_path / "reports")


@pytest.mark.usefixtures("example")
def test_the_demo_shows_the_finished_example_with_copies_of_its_recordings():
    before = {path: path.stat().st_mtime_ns for path in SAMPLES.rglob("*")}
    folder, session = demo.demo_library()
    with open_library(folder) as library:
        (entry,) = library.entries()
    assert (entry.id, entry.name) == (session, "Sample session")
    (source,) = read_session(entry.folder).recording.sources
    assert source.path.is_file()
    assert folder in source.path.parents
    assert {path: path.stat().st_mtime_ns for path in SAMPLES.rglob("*")} == before


def test_an_example_of_other_recordings_is_not_taken(tmp_path, invented):
    folder_of(invented, tmp_path / "reports" / "sample")
    (tmp_path / "recordings").mkdir()
    assert demo.finished_example(tmp_path / "reports", tmp_path / "recordings") is None


def test_a_program_without_its_samples_says_so(monkeypatch):
    monkeypatch.setattr(demo, "SAMPLE", Path("nowhere"))
    with pytest.raises(NothingToAnalyse, match="not installed"):
        demo.demo_library()
