"""A change of several files is kept whole or not at all, also by a program that is killed."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from ergo.errors import OutputError
from ergo.storage.session_notes import HISTORY_FILE
from ergo.storage.transaction import all_or_nothing, put_back_unfinished
from ergo.whole import write_file

ROOT = Path(__file__).parents[2]
CALL = "change_until_killed(Path({!r}), {})"
CURRENT = "choices/current"
BEFORE = {"session.json": "notes before", "landmarks.parquet": "seen before", CURRENT: "a" * 24}
AFTER = {
    "session.json": "notes after",
    "landmarks.parquet": "seen after",
    CURRENT: "b" * 24,
    HISTORY_FILE: "one line",
}


@pytest.fixture
def folder(tmp_path):
    return made(tmp_path / "session")


def made(folder):
    (folder / "choices").mkdir(parents=True)
    (folder / "report.html").write_text("a report")
    for name, text in BEFORE.items():
        (folder / name).write_text(text)
    return folder


def content(folder):
    """Text of every file by its name in the folder, hidden ones and empty folders too."""
    return {
        str(path.relative_to(folder)): path.read_text() if path.is_file() else None
        for path in folder.rglob("*")
        if path.is_file() or path.name != "choices"
    }


def change(folder):
    with all_or_nothing(folder):
        for name, text in AFTER.items():
            write_file(folder / name, text)


def change_until_killed(folder, steps):
    """Change in a program that is killed before a step by which files get their names."""
    replace, count = os.replace, 0

    def counted(old, new):
        nonlocal count
        count += 1
        if count > steps:
            os.kill(os.getpid(), 9)
        replace(old, new)

    os.replace = counted
    change(folder)
    put_back_unfinished(folder)


def test_what_went_well_is_kept_and_nothing_else_is_left(folder):
    change(folder)
    assert content(folder) == {**BEFORE, **AFTER, "report.html": "a report"}


@pytest.mark.parametrize("written", range(len(AFTER) + 1))
def test_a_change_that_fails_leaves_everything_as_it_was(folder, written):
    before = content(folder)

    def fail():
        with all_or_nothing(folder):
            for name in list(AFTER)[:written]:
                write_file(folder / name, AFTER[name])
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        fail()
    assert content(folder) == before


def test_it_is_put_back_even_where_the_disk_is_full(folder, monkeypatch):
    before = content(folder)

    def full(*_, **__):
        raise OSError(28, "No space left on device")

    def fill_the_disk():
        with all_or_nothing(folder):
            write_file(folder / "session.json", AFTER["session.json"])
            for room in ("write_bytes", "write_text", "touch"):
                monkeypatch.setattr(Path, room, full)
            monkeypatch.setattr(shutil, "copyfile", full)
            write_file(folder / "landmarks.parquet", AFTER["landmarks.parquet"])

    with pytest.raises(OutputError, match="No space"):
        fill_the_disk()
    assert content(folder) == before


def test_killed_at_any_step_it_is_whole_or_as_it_was_at_the_next_start(tmp_path):
    ends = []
    for steps in range(30):
        folder = made(tmp_path / str(steps))
        before = content(folder)
        program = f"from tests.storage.test_transaction import *; {CALL.format(str(folder), steps)}"
        command = [sys.executable, "-c", program]
        code = subprocess.run(command, cwd=ROOT, check=False).returncode
        put_back_unfinished(folder)
        seen = {name: text for name, text in content(folder).items() if "unfinished" not in name}
        ends.append(seen != before)
        assert seen in (before, {**before, **AFTER})
        if code == 0:
            break
    assert ends == sorted(ends)  # as it was, up to the last step but the clearing
    assert ends[0] is False
    assert ends[-1] is True
    assert len(ends) > len(AFTER) + 1


def test_a_received_folder_cannot_have_other_files_put_back(folder):
    (folder / ".before").mkdir()
    (folder / ".before" / "files.json").write_text('["../../notes.toml", "report.html"]')
    (folder / ".before" / "report.html").write_text("another one")
    put_back_unfinished(folder)
    assert (folder / "report.html").read_text() == "a report"
    assert not (folder.parent.parent / "notes.toml").exists()
