"""The demo: from a checkout or a wheel, in a library that nothing is left of."""

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import tomllib
import urllib.request
import zipfile
from contextlib import contextmanager
from functools import partial
from http.cookiejar import CookieJar
from pathlib import Path

import pytest
from hatchling.builders.wheel import WheelBuilder

from ergo.errors import NothingToAnalyse
from ergo.library.library import open_library
from ergo.storage.folder import SESSION_FILE
from ergo.storage.session_folder import LANDMARK_FILE, read_session
from ergo.web import demo
from tests.web.conftest import SAMPLES, folder_of

ROOT = Path(__file__).parents[2]
PATIENCE_S = 300
FILES_OF_FINISHED = (SESSION_FILE, LANDMARK_FILE)


@pytest.fixture
def example(tmp_path, monkeypatch, invented):
    """A finished example, filmed where nobody finds it any more; and a folder for demos."""
    folder = folder_of(invented, tmp_path / "reports" / "sample")
    (folder / "places.json").unlink(missing_ok=True)
    monkeypatch.setattr(demo, "FINISHED", folder)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "demos"))
    (tmp_path / "demos").mkdir()
    return folder


@pytest.mark.usefixtures("example")
def test_the_demo_shows_the_finished_example_with_copies_of_its_recordings(tmp_path):
    before = {path: path.stat().st_mtime_ns for path in SAMPLES.rglob("*")}
    with demo.demo_library() as (folder, session):
        with open_library(folder) as library:
            (entry,) = library.entries()
        assert (entry.id, entry.name) == (session, "Sample session")
        (source,) = read_session(entry.folder).recording.sources
        assert source.path.is_file()
        assert folder in source.path.parents
    assert {path: path.stat().st_mtime_ns for path in SAMPLES.rglob("*")} == before
    assert list((tmp_path / "demos").iterdir()) == []


def test_an_example_of_other_recordings_is_not_taken(example, monkeypatch):
    described = json.loads((example / SESSION_FILE).read_text())
    described["sources"][0]["name"] = "other.mp4"
    (example / SESSION_FILE).write_text(json.dumps(described))
    analysed = []

    def analyse(inputs, out):
        analysed.extend(path.name for path in inputs[0].iterdir())
        raise NothingToAnalyse("is enough.")

    monkeypatch.setattr(demo, "analyse_session", analyse)
    with pytest.raises(NothingToAnalyse, match="enough"), demo.demo_library():
        pass
    assert sorted(analysed) == sorted(demo.SAMPLE)


def test_a_program_without_its_samples_says_so(monkeypatch):
    monkeypatch.setattr(demo, "RECORDINGS", Path("nowhere"))
    with pytest.raises(NothingToAnalyse, match="not installed"), demo.demo_library():
        pass


@pytest.mark.usefixtures("example")
def test_what_is_in_use_or_not_ours_is_not_cleared_away(tmp_path):
    others = tmp_path / "demos" / "ergo-demo-link"
    (tmp_path / "elsewhere").mkdir()
    others.symlink_to(tmp_path / "elsewhere")
    begun = tmp_path / "demos" / "ergo-demo-begun"
    begun.mkdir()
    with demo.demo_library() as (folder, _):
        demo.clear_left_behind()
        assert folder.is_dir()
    demo.clear_left_behind()
    assert (tmp_path / "elsewhere").is_dir()
    assert begun.is_dir()
    day_ago = time.time() - 2 * 24 * 3600
    os.utime(begun, (day_ago, day_ago))
    demo.clear_left_behind()
    assert not begun.exists()


SERVE = """
import sys
from pathlib import Path
from ergo.cli import main
from ergo.web import demo
demo.FINISHED = Path(sys.argv.pop(1))
main()
"""


def opened(address):
    """The page that an opening address leads to, and its text."""
    cookies = urllib.request.HTTPCookieProcessor(CookieJar())
    with urllib.request.build_opener(cookies).open(address, timeout=PATIENCE_S) as answer:
        return answer.url, answer.read().decode()


@contextmanager
def served(finished, place, python_path=ROOT, interrupt=signal.SIG_DFL):
    """Serve the demo with its library below a place; give the process and its address.

    Who started the tests in the background may have let them ignore Ctrl-C (``interrupt``).
    """
    environment = os.environ | {"TMPDIR": str(place), "PYTHONPATH": str(python_path)}
    command = [sys.executable, "-P", "-c", SERVE, str(finished), "serve", "--demo", "--no-browser"]
    with subprocess.Popen(
        command,
        env=environment,
        cwd=place,
        stdout=subprocess.PIPE,
        text=True,
        preexec_fn=partial(signal.signal, signal.SIGINT, interrupt),
    ) as process:
        try:
            yield process, process.stdout.readline().strip()
        finally:
            process.kill()


@pytest.mark.parametrize("kind", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
def test_a_demo_that_is_ended_takes_everything_along(example, tmp_path, kind):
    with served(example, tmp_path) as (process, address):
        assert opened(address)
        (library,) = tmp_path.glob("ergo-demo-*/library")
        (library / "recordings" / "dropped.mp4").write_bytes(b"a patient")
        process.send_signal(kind)
        assert process.wait(PATIENCE_S) == 130
    assert list(tmp_path.glob("ergo-demo-*")) == []


def test_a_demo_that_a_script_began_in_the_background_ends_by_sigterm_too(example, tmp_path):
    with served(example, tmp_path, interrupt=signal.SIG_IGN) as (process, address):
        assert opened(address)
        process.send_signal(signal.SIGTERM)
        assert process.wait(PATIENCE_S) == 130
    assert list(tmp_path.glob("ergo-demo-*")) == []


def test_a_demo_that_was_killed_is_cleared_away_at_the_next_start(example, tmp_path):
    with served(example, tmp_path) as (process, _):
        (killed,) = tmp_path.glob("ergo-demo-*")
        process.kill()
        process.wait(PATIENCE_S)
    assert killed.is_dir()
    with served(example, tmp_path) as (process, _):
        assert len(list(tmp_path.glob("ergo-demo-*"))) == 1
        assert not killed.exists()
        process.send_signal(signal.SIGTERM)
        process.wait(PATIENCE_S)


def test_the_demo_is_in_the_wheel(example, tmp_path):
    (wheel,) = WheelBuilder(str(ROOT)).build(directory=str(tmp_path / "dist"))
    site = tmp_path / "site"
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(site)
    installed = site / "ergo" / "sample_session"
    assert {path.name for path in installed.iterdir()} == {*demo.SAMPLE, *FILES_OF_FINISHED}
    (tmp_path / "demos").mkdir(exist_ok=True)
    with served(example, tmp_path / "demos", site) as (process, address):
        page, text = opened(address)
        assert re.search(r"/sessions/[0-9a-f]{32}$", page)
        assert "Sample session" in text
        process.send_signal(signal.SIGTERM)
        process.wait(PATIENCE_S)


def test_the_wheel_s_own_example_is_whole(tmp_path):
    kept = {name: ROOT / place for place, name in forced().items()}
    for name in FILES_OF_FINISHED:
        shutil.copy(kept[f"ergo/sample_session/{name}"], tmp_path / name)
    assert read_session(tmp_path).recording.tracks["operator"].picture_px.size


def forced():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    return project["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
