"""One program at a time, and a dead one never stands in the way."""

import subprocess
import sys
from pathlib import Path

import pytest

from ergo.alone import alone, if_alone
from ergo.errors import OutputError

HOLDS = """
import sys
from pathlib import Path
from ergo.alone import alone
from ergo.errors import OutputError
with alone(Path(sys.argv[1]), OutputError("is taken.")):
    print("held", flush=True)
    sys.stdin.read()
"""
REFUSAL = OutputError("is taken.")


def holder(lock: Path) -> subprocess.Popen[str]:
    """Start a program that holds the lock until its input ends."""
    other = subprocess.Popen(
        [sys.executable, "-c", HOLDS, str(lock)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert other.stdout is not None
    assert other.stdout.readline() == "held\n"
    return other


def test_the_second_is_told_and_a_killed_one_gives_up_at_once(tmp_path: Path) -> None:
    lock = tmp_path / "lock"
    with holder(lock) as other:
        with pytest.raises(OutputError, match="is taken"), alone(lock, REFUSAL):
            pass
        with if_alone(lock) as is_ours:
            assert not is_ours
        other.kill()
        other.wait()
    assert lock.exists()
    with alone(lock, REFUSAL):
        pass
    assert not lock.exists()


def test_who_waits_gets_it_when_the_first_ends_well(tmp_path: Path) -> None:
    lock = tmp_path / "lock"
    with holder(lock) as other:
        assert other.stdin is not None
        other.stdin.close()
        with alone(lock, REFUSAL, patience_s=60):
            assert lock.exists()
