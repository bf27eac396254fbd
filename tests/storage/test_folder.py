"""What may be replaced by a result, and what may not."""

from pathlib import Path

import pytest

from ergo.errors import OutputError
from ergo.storage.folder import check_free
from ergo.whole import write_folder


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
