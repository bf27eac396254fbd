"""A file that this user may not read is input that cannot be used, not a wrong command line."""

import os
import subprocess
import sys

import click
import pytest

from ergo.cli import ergo
from tests.end_to_end.conftest import ROOT

# The tests may run as a user who may read everything: here that user may not.
LOCKED = """
import io, os
opened, access = io.open, os.access
def locked_open(file, *rest, **more):
    if "locked" in str(file):
        raise PermissionError(13, "Permission denied", str(file))
    return opened(file, *rest, **more)
io.open = locked_open
os.access = lambda path, mode, **more: "locked" not in str(path) and access(path, mode, **more)
from ergo.cli import main
main()
"""


@pytest.mark.parametrize(
    "command",
    [
        ("analyse", "locked.jpg", "--out", "out"),
        ("setup", "locked.mp4"),
        ("sessions", "import", "locked.zip", "--library", "library"),
    ],
)
def test_what_may_not_be_read_is_told_in_one_line_with_exit_code_3(tmp_path, command):
    for name in command:
        if name.startswith("locked"):
            (tmp_path / name).write_bytes(b"anything")
    done = subprocess.run(
        [sys.executable, "-c", LOCKED, *command],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )
    (line,) = done.stderr.splitlines()
    assert done.returncode == 3, line
    assert "locked" in line
    assert "Permission denied" in line or "may read it" in line


def test_no_command_looks_whether_a_path_may_be_read():
    paths = [each.type for each in parameters(ergo) if isinstance(each.type, click.Path)]
    assert len(paths) > 5
    assert not any(each.readable or each.exists for each in paths)


def parameters(command):
    yield from command.params
    for each in getattr(command, "commands", {}).values():
        yield from parameters(each)
