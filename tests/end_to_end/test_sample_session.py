"""The main job on the sample session, as a user runs it."""

import json
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pypdf import PdfReader

from ergo.posture.angle_names import NAMES
from tests.end_to_end.conftest import ROOT, run_ergo

FILES = [
    "episodes.csv",
    "frames.csv",
    "frames.parquet",
    "landmarks.parquet",
    "places.json",
    "report.html",
    "report.pdf",
    "session.json",
    "summary.json",
]


def test_it_finishes_and_says_where_the_report_is(sample_run) -> None:
    finished, out = sample_run
    assert finished.code == 0, finished.err
    assert finished.out.splitlines()[-1] == f"Report: {out / 'report.html'}"


def test_the_user_sees_no_noise_of_libraries(sample_run) -> None:
    finished, _ = sample_run
    assert finished.err == ""


def test_every_promised_file_is_there_and_nothing_is_left_beside(sample_run) -> None:
    _, out = sample_run
    assert sorted(path.name for path in out.iterdir() if path.is_file()) == FILES
    assert [path.name for path in out.parent.iterdir()] == ["out"]


def test_frames_have_every_angle_with_its_sd_in_both_forms(sample_run) -> None:
    _, out = sample_run
    parquet, csv = pd.read_parquet(out / "frames.parquet"), pd.read_csv(out / "frames.csv")
    wanted = {"source", "time_s", "person_found", "clock_hours"} | set(NAMES)
    wanted |= {f"{name}_sd" for name in NAMES}
    assert wanted <= set(parquet.columns)
    assert list(csv.columns) == list(parquet.columns)
    np.testing.assert_allclose(csv[list(NAMES)], parquet[list(NAMES)].astype(float))


def test_the_operator_is_found_in_every_frame_of_the_clip(sample_run) -> None:
    _, out = sample_run
    frames = pd.read_parquet(out / "frames.parquet")
    clip = frames[frames.source == "kf_scaling.mp4"]
    assert len(clip) == 100
    assert clip.person_found.all()


def test_the_clip_is_judged_close_to_the_truth_of_its_scene(sample_run) -> None:
    """Truth: tests/data/scenes_truth.json.gz, exact 3D points of the rendered scene."""
    import gzip

    _, out = sample_run
    frames = pd.read_parquet(out / "frames.parquet")
    clip = frames[frames.source == "kf_scaling.mp4"].set_index("time_s")
    with gzip.open(ROOT / "tests/data/scenes_truth.json.gz", "rt") as file:
        truth = json.load(file)["clip"]
    misses = [
        abs(clip.trunk_flexion_deg.iloc[(abs(clip.index - row["time_s"])).argmin()] - true)
        for row in truth["frames"]
        if (true := row["angles"]["trunk_flexion"]) is not None
    ]
    assert np.mean(misses) < 6


def test_scoring_again_gives_the_same_frames_without_the_recording(sample_run, tmp_path) -> None:
    _, out = sample_run
    shutil.copytree(out, tmp_path / "copy")
    again = run_ergo("rescore", tmp_path / "copy", "--json", cwd=tmp_path)
    assert again.code == 0, again.err
    pd.testing.assert_frame_equal(
        pd.read_parquet(out / "frames.parquet"), pd.read_parquet(tmp_path / "copy/frames.parquet")
    )


def test_another_reading_changes_the_scores_and_is_named(sample_run, tmp_path) -> None:
    _, out = sample_run
    shutil.copytree(out, tmp_path / "copy")
    again = run_ergo("rescore", tmp_path / "copy", "--reading", "rula_table_a=older-worksheet")
    assert again.code == 0, again.err
    session = json.loads((tmp_path / "copy/session.json").read_text())
    assert "older-worksheet" in session["readings"]["rula"].values()


def test_json_goes_to_stdout_as_one_document_with_a_schema(sample_run, tmp_path) -> None:
    _, out = sample_run
    shutil.copytree(out, tmp_path / "copy")
    finished = run_ergo("rescore", tmp_path / "copy", "--json")
    content = finished.json()
    assert content["schema"] == 1
    held = content["summary"]["seen"]["share"]
    assert 0 <= held <= 1


def test_the_pdf_says_what_the_page_says_first(sample_run) -> None:
    finished, out = sample_run
    text = _plain(PdfReader(out / "report.pdf").pages[0].extract_text())
    assert _plain(finished.out.splitlines()[0]) in text


def _plain(text: str) -> str:
    """Return the text with every kind of space and line break as one space."""
    return " ".join(text.split())


def test_a_session_is_not_replaced_unasked(sample_run) -> None:
    _, out = sample_run
    refused = run_ergo("analyse", "sample_frames", "--out", out)
    assert refused.code == 3
    assert "--force" in refused.err
    assert len(refused.err.splitlines()) == 1


@pytest.mark.parametrize("reading", ["static_after=5min", "nonsense=1"])
def test_an_unknown_reading_is_refused_and_the_session_stays(
    sample_run, tmp_path: Path, reading: str
) -> None:
    _, out = sample_run
    shutil.copytree(out, tmp_path / "copy")
    before = (tmp_path / "copy/session.json").read_bytes()
    refused = run_ergo("rescore", tmp_path / "copy", "--reading", reading)
    assert refused.code == 3
    assert len(refused.err.splitlines()) == 1
    assert (tmp_path / "copy/session.json").read_bytes() == before
