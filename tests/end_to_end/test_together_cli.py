"""Two phones on one session, from the command line: one folder, one report."""

import json
from pathlib import Path

import av
import numpy as np
import pyarrow.parquet as pq
import pytest

from tests.end_to_end.conftest import SAMPLE, run_ergo
from tests.frames.sound_making import SOUND_HZ, clip_with_sound

LATER_S = 1.2


@pytest.fixture(scope="module")
def phones(tmp_path_factory):
    """Two clips of the sample's first seconds with one sound; the second begins later."""
    folder = tmp_path_factory.mktemp("phones")
    with av.open(str(SAMPLE / "kf_scaling.mp4")) as sample:
        pictures = [(f.time, f.to_ndarray(format="rgb24")) for f in sample.decode(video=0)]
    chance = np.random.default_rng(4)
    loud = np.repeat(np.exp(chance.normal(-3, 1.5, 80)), SOUND_HZ // 8)
    talk = np.clip(loud * chance.normal(size=len(loud)) * 0.3, -1, 1)
    clips = []
    for name, from_s in (("side.mp4", 0.0), ("rear.mp4", LATER_S)):
        shown = [picture for time_s, picture in pictures if from_s <= time_s < 8]
        sound = talk[round(from_s * SOUND_HZ) : 8 * SOUND_HZ]
        clips.append(clip_with_sound(folder / name, sound, pictures=shown))
    return clips


@pytest.fixture(scope="module")
def analysed(phones, tmp_path_factory):
    out = tmp_path_factory.mktemp("together") / "out"
    return run_ergo("analyse", *phones, "--together", "--fast", "--rate", "2", "--out", out), out


def test_one_session_says_when_the_second_phone_began_and_how_that_was_found(analysed):
    done, out = analysed
    assert done.code == 0
    line = next(line for line in done.out.splitlines() if line.startswith("rear.mp4 began"))
    assert "after side.mp4. Found by the sound of both" in line
    described = json.loads((out / "session.json").read_text())
    start = described["beside"][0]["start"]
    assert [source["name"] for source in described["sources"]] == ["side.mp4", "rear.mp4"]
    assert start["origin"] == "sound"
    assert start["offset_s"] == pytest.approx(LATER_S, abs=1 / 25)


def test_the_tables_have_the_times_of_the_first_phone_and_the_landmarks_of_both(analysed):
    _, out = analysed
    assert set(pq.read_table(out / "frames.parquet")["source"].to_pylist()) == {"side.mp4"}
    assert set(pq.read_table(out / "landmarks.parquet")["source"].to_pylist()) == {0, 1}


def test_the_report_names_both_views(analysed):
    _, out = analysed
    report = (out / "report.html").read_text()
    assert "Several cameras" in report
    assert "2 cameras filmed this session" in report


def test_scoring_again_needs_no_clip_and_gives_the_same(analysed, phones, tmp_path):
    _, out = analysed
    before = (out / "frames.csv").read_bytes()
    for clip in phones:
        clip.rename(tmp_path / clip.name)
    try:
        done = run_ergo("rescore", out, "--language", "de")
    finally:
        for clip in phones:
            (tmp_path / clip.name).rename(clip)
    assert done.code == 0
    assert (out / "frames.csv").read_bytes() == before
    assert "Mehrere Kameras" in (out / "report.html").read_text()


@pytest.mark.parametrize(
    ("inputs", "line"),
    [
        (["kf_scaling.mp4"], "kf_scaling.mp4: is the only recording."),
        (["kf_scaling.mp4", "stills/1_kf_side_left.jpg"], "1_kf_side_left.jpg: is a still, "),
    ],
)
def test_what_cannot_be_together_is_refused_at_once(inputs, line, tmp_path):
    paths = [Path(SAMPLE) / name for name in inputs]
    done = run_ergo("analyse", *paths, "--together", "--out", tmp_path / "out")
    assert done.code == 3
    assert done.err.startswith(line)
    assert done.err.count("\n") == 1
    assert not (tmp_path / "out").exists()
