"""Bad input gets one clear line and the documented exit code; nothing is left behind."""

import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from PIL import Image

from tests.end_to_end.conftest import SAMPLE, run_ergo

CLIP = SAMPLE / "kf_scaling.mp4"


def refused(tmp_path: Path, *inputs: Path) -> str:
    finished = run_ergo("analyse", *inputs, "--out", tmp_path / "out")
    assert finished.code == 3, finished.err
    assert finished.out == ""
    lines = finished.err.splitlines()
    assert len(lines) == 1, finished.err
    assert not (tmp_path / "out").exists()
    assert not (tmp_path / ".out.unfinished" / "fresh").exists()
    return lines[0]


def test_a_missing_file(tmp_path: Path) -> None:
    assert "gone.mp4" in refused(tmp_path, tmp_path / "gone.mp4")


def test_an_empty_file(tmp_path: Path) -> None:
    (tmp_path / "leer.mp4").touch()
    assert "leer.mp4" in refused(tmp_path, tmp_path / "leer.mp4")


def test_a_text_file_named_like_a_clip(tmp_path: Path) -> None:
    (tmp_path / "notes.mp4").write_text("not a clip " * 50)
    assert "notes.mp4" in refused(tmp_path, tmp_path / "notes.mp4")


def test_a_folder_of_text_files(tmp_path: Path) -> None:
    folder = tmp_path / "texts"
    folder.mkdir()
    (folder / "a.txt").write_text("a")
    assert "texts" in refused(tmp_path, folder)


def test_a_clip_cut_off_before_its_index(tmp_path: Path) -> None:
    whole = CLIP.read_bytes()
    (tmp_path / "cut.mp4").write_bytes(whole[: len(whole) // 3])
    assert "cut.mp4" in refused(tmp_path, tmp_path / "cut.mp4")


def test_notes_with_a_wrong_key_name_file_key_and_what_is_allowed(tmp_path: Path) -> None:
    shutil.copy(SAMPLE / "stills" / "1_kf_side_left.jpg", tmp_path / "a.jpg")
    (tmp_path / "a.toml").write_text('handed = "both"\n')
    line = refused(tmp_path, tmp_path / "a.jpg")
    assert "a.toml" in line
    assert "handed" in line
    assert "right" in line
    assert "left" in line


def test_recordings_of_several_operators_are_refused_before_anything_is_watched(
    tmp_path: Path,
) -> None:
    line = refused(tmp_path, SAMPLE, SAMPLE / "stills")
    assert line.startswith('3_ro_side_right_with_assistant.jpg: is of "RO", ')
    assert 'of "KF"' in line
    assert "a run of their own" in line


def test_a_picture_with_nobody_in_it_is_reported_as_too_little_seen(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    Image.fromarray(rng.integers(90, 110, (480, 640, 3), dtype=np.uint8)).save(
        tmp_path / "wall.png"
    )
    finished = run_ergo("analyse", tmp_path / "wall.png", "--out", tmp_path / "out")
    assert finished.code == 4, finished.err
    frames = pd.read_parquet(tmp_path / "out" / "frames.parquet")
    assert not frames.person_found.any()
    assert frames.neck_flexion_deg.isna().all()
    assert frames.rula_left_score.isna().all()


def test_names_with_spaces_umlauts_and_emoji_are_no_trouble(tmp_path: Path) -> None:
    name = "Praxis Übung 🦷 1.jpg"
    shutil.copy(SAMPLE / "stills" / "1_kf_side_left.jpg", tmp_path / name)
    finished = run_ergo("analyse", tmp_path / name, "--out", tmp_path / "aus gabe")
    assert finished.code == 0, finished.err
    assert pd.read_parquet(tmp_path / "aus gabe" / "frames.parquet").source.tolist() == [name]


def test_rescoring_a_folder_without_a_session(tmp_path: Path) -> None:
    finished = run_ergo("rescore", tmp_path)
    assert finished.code == 3
    assert "holds no session" in finished.err


@pytest.mark.parametrize("arguments", [["analyse"], ["analyse", "x.mp4"], ["nonsense"]])
def test_a_wrong_command_line_has_its_own_exit_code(arguments: list[str]) -> None:
    assert run_ergo(*arguments).code == 2
