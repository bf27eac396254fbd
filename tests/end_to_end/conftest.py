"""One analysis of the sample session for all end-to-end tests."""

import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_frames"


@dataclass(frozen=True)
class Finished:
    """What a run of the command line left behind."""

    code: int
    out: str
    err: str

    def json(self):
        return json.loads(self.out)


def run_ergo(*arguments: str | Path, cwd: Path = ROOT, timeout: float = 300) -> Finished:
    """Run the command line as a user does: in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-m", "ergo", *map(str, arguments)],
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=timeout,
        check=False,
    )
    return Finished(done.returncode, done.stdout, done.stderr)


@pytest.fixture(scope="session")
def sample_run(tmp_path_factory: pytest.TempPathFactory) -> tuple[Finished, Path]:
    """Return the finished run on sample_frames and its folder."""
    out = tmp_path_factory.mktemp("sample") / "out"
    return run_ergo("analyse", "sample_frames", "--out", out), out
