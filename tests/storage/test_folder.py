from pathlib import Path

import pytest

from ergo.errors import OutputError
from ergo.storage.folder import check_free, clear_workshop, workshop, write_whole


def _session(text: str):
    def write(folder: Path) -> None:
        (folder / "session.json").write_text(text)

    return write


def test_a_folder_appears_with_everything_in_it(tmp_path: Path) -> None:
    write_whole(tmp_path / "out", _session("new"))
    assert (tmp_path / "out" / "session.json").read_text() == "new"


def test_a_failed_write_leaves_the_old_folder_as_it_was(tmp_path: Path) -> None:
    write_whole(tmp_path / "out", _session("old"))

    def fails(folder: Path) -> None:
        (folder / "session.json").write_text("half")
        raise RuntimeError("cut off")

    with pytest.raises(RuntimeError):
        write_whole(tmp_path / "out", fails)
    assert (tmp_path / "out" / "session.json").read_text() == "old"
    assert not (workshop(tmp_path / "out") / "fresh").exists()


def test_a_full_disk_is_one_line_that_says_what_to_do(tmp_path: Path) -> None:
    def full(folder: Path) -> None:
        raise OSError(28, "No space left on device")

    with pytest.raises(OutputError, match="No space left on device.*Choose a place"):
        write_whole(tmp_path / "out", full)
    assert not (tmp_path / "out").exists()


def test_replacing_a_session_needs_to_be_asked_for(tmp_path: Path) -> None:
    write_whole(tmp_path / "out", _session("old"))
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


def test_nothing_is_left_beside_the_folder_when_all_is_done(tmp_path: Path) -> None:
    write_whole(tmp_path / "out", _session("new"))
    clear_workshop(tmp_path / "out")
    assert [entry.name for entry in tmp_path.iterdir()] == ["out"]
