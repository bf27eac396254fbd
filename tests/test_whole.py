"""A file or folder appears whole or not at all."""

import os
from pathlib import Path

import pytest
from filelock import FileLock

from ergo import whole
from ergo.errors import OutputError
from ergo.whole import (
    being_made,
    fresh_file,
    recover,
    workshop,
    write_file,
    write_folder,
)


def _session(text: str):
    def write(folder: Path) -> None:
        (folder / "session.json").write_text(text)

    return write


def test_a_folder_appears_with_everything_in_it(tmp_path: Path) -> None:
    write_folder(tmp_path / "out", _session("new"))
    assert (tmp_path / "out" / "session.json").read_text() == "new"


def test_a_failed_write_leaves_the_old_folder_as_it_was(tmp_path: Path) -> None:
    write_folder(tmp_path / "out", _session("old"))

    def fails(folder: Path) -> None:
        (folder / "session.json").write_text("half")
        raise RuntimeError("cut off")

    with pytest.raises(RuntimeError):
        write_folder(tmp_path / "out", fails)
    assert (tmp_path / "out" / "session.json").read_text() == "old"
    assert not (workshop(tmp_path / "out") / "fresh").exists()


def test_a_full_disk_is_one_line_that_says_what_to_do(tmp_path: Path) -> None:
    def full(folder: Path) -> None:
        raise OSError(28, "No space left on device")

    with pytest.raises(OutputError, match="No space left on device.*Choose a place"):
        write_folder(tmp_path / "out", full)
    assert not (tmp_path / "out").exists()


def test_nothing_is_left_beside_the_folder_when_all_is_done(tmp_path: Path) -> None:
    with being_made(tmp_path / "out"):
        (workshop(tmp_path / "out") / "kept").mkdir()
        write_folder(tmp_path / "out", _session("new"))
    assert [entry.name for entry in tmp_path.iterdir()] == ["out"]


def test_nothing_that_writes_leaves_the_old_folder_away_when_the_second_step_fails(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_folder(tmp_path / "out", _session("old"))
    replace, calls = os.replace, []

    def second_fails(old: Path, new: Path) -> None:
        calls.append(new)
        if len(calls) == 2:
            raise OSError(13, "Permission denied")
        replace(old, new)

    monkeypatch.setattr(whole.os, "replace", second_fails)
    with pytest.raises(OutputError, match="Permission denied"):
        write_folder(tmp_path / "out", _session("new"))
    assert len(calls) == 3
    assert (tmp_path / "out" / "session.json").read_text() == "old"


class Killed(BaseException):
    pass


def test_a_folder_that_a_killed_program_had_moved_away_comes_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out"
    write_folder(out, _session("old"))
    replace, calls = os.replace, []

    def killed_at_second(old: Path, new: Path) -> None:
        calls.append(new)
        if len(calls) == 2:
            raise Killed
        replace(old, new)

    with monkeypatch.context() as patched:
        patched.setattr(whole.os, "replace", killed_at_second)
        with pytest.raises(Killed):
            write_folder(out, _session("new"))
    assert not out.exists()

    def fails(folder: Path) -> None:
        raise RuntimeError("cut off")

    with pytest.raises(RuntimeError):
        write_folder(out, fails)  # the next run must not throw the only copy away
    assert (out / "session.json").read_text() == "old"
    with being_made(out):
        pass
    assert [entry.name for entry in tmp_path.iterdir()] == ["out"]


def test_reading_brings_it_back_unless_another_program_is_at_it(tmp_path: Path) -> None:
    out = tmp_path / "out"
    (workshop(out) / "old").mkdir(parents=True)
    with FileLock(workshop(out) / "lock"):
        recover(out)
        assert not out.exists()
    recover(out)
    assert out.is_dir()


def test_what_a_failed_run_kept_stays_for_the_next(tmp_path: Path) -> None:
    out = tmp_path / "out"

    def stopped() -> None:
        with being_made(out):
            (workshop(out) / "kept").mkdir()
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        stopped()
    assert [entry.name for entry in workshop(out).iterdir()] == ["kept"]


def test_a_file_is_replaced_in_one_step_and_keeps_its_permissions(tmp_path: Path) -> None:
    path = tmp_path / "notes.toml"
    path.write_text("old")
    path.chmod(0o640)
    with fresh_file(path) as fresh:
        fresh.write_text("half")
        assert path.read_text() == "old"
    assert path.read_text() == "half"
    assert path.stat().st_mode & 0o777 == 0o640
    assert [entry.name for entry in tmp_path.iterdir()] == ["notes.toml"]


@pytest.mark.parametrize("failure", [RuntimeError("cut off"), KeyboardInterrupt()])
def test_a_file_whose_writing_fails_is_as_it_was(tmp_path: Path, failure: BaseException) -> None:
    path = tmp_path / "a.json"
    write_file(path, "old")

    def half_written() -> None:
        with fresh_file(path) as fresh:
            fresh.write_text("half")
            raise failure

    with pytest.raises(type(failure)):
        half_written()
    assert path.read_text() == "old"
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.json"]


def test_a_file_that_cannot_be_written_is_one_line_that_names_it(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"gone/a\.json: cannot be written .*Choose a place"):
        write_file(tmp_path / "gone" / "a.json", b"x")


def test_what_is_no_file_or_folder_is_never_replaced(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(OutputError, match="pipe: is no file"):
        write_file(tmp_path / "pipe", "x")
    with pytest.raises(OutputError, match="pipe: is no folder"):
        write_folder(tmp_path / "pipe", _session("x"))
    assert (tmp_path / "pipe").is_fifo()


def test_a_link_stays_one_and_its_file_is_replaced(tmp_path: Path) -> None:
    (tmp_path / "real.toml").write_text("old")
    (tmp_path / "link.toml").symlink_to("real.toml")
    write_file(tmp_path / "link.toml", "new")
    assert (tmp_path / "link.toml").is_symlink()
    assert (tmp_path / "real.toml").read_text() == "new"


@pytest.mark.parametrize("name", ["n" * 255, "\u00fc" * 127])
def test_a_name_as_long_as_the_disk_takes_can_be_written(tmp_path: Path, name: str) -> None:
    write_file(tmp_path / name, "text")
    assert (tmp_path / name).read_text() == "text"
    (tmp_path / name).unlink()
    write_folder(tmp_path / name, _session("new"))
    assert (tmp_path / name / "session.json").read_text() == "new"


def test_the_hidden_places_of_two_long_names_differ(tmp_path: Path) -> None:
    assert workshop(tmp_path / ("n" * 254 + "a")) != workshop(tmp_path / ("n" * 254 + "b"))


def test_everything_that_writes_uses_this_one_mechanism() -> None:
    """What a transaction puts back was written whole, and putting back must need no room."""
    program = Path(whole.__file__).parent
    others = [
        path.relative_to(program).as_posix()
        for path in program.rglob("*.py")
        if "os.replace(" in path.read_text(encoding="utf-8")
        and path.name not in ("whole.py", "transaction.py")
    ]
    assert others == []


@pytest.mark.parametrize("way", ["a/../a", "a/.", "other/../a", "linked/../a"])
def test_a_folder_named_by_way_of_itself_is_replaced_whole(tmp_path, way):
    for name in ("a", "other", "elsewhere"):
        (tmp_path / name).mkdir()
    (tmp_path / "a" / "text").write_text("old")
    (tmp_path / "linked").symlink_to(tmp_path / "elsewhere")
    folder = tmp_path / way
    with being_made(folder):
        write_folder(folder, lambda fresh: (fresh / "text").write_text("new") and None)
    assert (tmp_path / "a" / "text").read_text() == "new"
    assert not list(tmp_path.glob(".*"))
