"""What may be replaced by a result, and what may not."""

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from ergo.app.workflow import analyse_session, rescore_session
from ergo.cli import ergo
from ergo.errors import OutputError
from ergo.storage.folder import check_file_free, check_free
from ergo.whole import write_folder
from tests.storage.small_session import write_small_session


def _session(text: str):
    def write(folder: Path) -> None:
        (folder / "session.json").write_text(text)

    return write


def test_replacing_a_session_needs_to_be_asked_for(tmp_path: Path) -> None:
    write_folder(tmp_path / "out", _session("old"))
    with pytest.raises(OutputError, match="--force"):
        check_free(tmp_path / "out", replace=False)
    check_free(tmp_path / "out", replace=True)


def test_a_folder_that_is_not_a_session_is_never_replaced(tmp_path: Path) -> None:
    (tmp_path / "holiday.jpg").write_bytes(b"x")
    with pytest.raises(OutputError, match="other files"):
        check_free(tmp_path, replace=True)


def test_a_file_in_the_place_of_the_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("x")
    with pytest.raises(OutputError, match="is a file"):
        check_free(tmp_path / "out", replace=True)


@pytest.mark.parametrize("check", [check_free, check_file_free])
@pytest.mark.parametrize("name", ["", ".", "..", "out/..", "/"])
def test_what_is_no_name_for_something_new_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, check: Callable[..., None], name: str
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(OutputError, match=r"is no name for a new .*--out"):
        check(Path(name), replace=True)


@pytest.mark.parametrize("check", [check_free, check_file_free])
@pytest.mark.parametrize("name", ["a" * 256, "ä" * 128])
def test_a_name_that_the_system_does_not_take_is_refused(
    tmp_path: Path, check: Callable[..., None], name: str
) -> None:
    with pytest.raises(OutputError, match=r"cannot be used .*--out"):
        check(tmp_path / name, replace=False)


@pytest.mark.parametrize("name", ["a" * 255, "a b", "ä" * 127, "-x", ".x", "x "])
def test_any_other_name_will_do(tmp_path: Path, name: str) -> None:
    check_free(tmp_path / name, replace=False)
    write_folder(tmp_path / name, _session("new"))
    assert [each.name for each in tmp_path.iterdir() if each.name == name]


def test_the_folder_that_one_is_in_is_not_replaced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "in").mkdir()
    monkeypatch.chdir(tmp_path / "in")
    with pytest.raises(OutputError, match="is the folder you are in"):
        check_free(tmp_path / "in", replace=False)


def test_the_place_is_looked_at_before_the_pictures(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be used"):
        analyse_session([tmp_path / "gone.mp4"], tmp_path / ("a" * 256))


@pytest.mark.parametrize("command", [["compare", "gone", "gone too"], ["trend"]])
def test_the_place_is_looked_at_before_sessions_are_compared(
    tmp_path: Path, command: list[str]
) -> None:
    (tmp_path / "out").write_text("x")
    with pytest.raises(OutputError, match="out: is a file"):
        ergo.main(
            [*command, "--library", str(tmp_path / "lib"), "--out", str(tmp_path / "out")],
            standalone_mode=False,
        )


def test_a_session_is_judged_again_in_the_folder_that_one_is_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_small_session(tmp_path / "here")
    monkeypatch.chdir(tmp_path / "here")
    before = (tmp_path / "here" / "session.json").stat().st_ino
    rescore_session(Path())
    assert (tmp_path / "here" / "session.json").stat().st_ino != before


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="the system has no named pipes")
def test_a_pipe_or_device_is_never_replaced(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(OutputError, match="is no usual file"):
        check_file_free(tmp_path / "pipe", replace=True)
