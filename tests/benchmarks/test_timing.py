import sys

import pytest

from tests.benchmarks.timing import cost_of_process

HOLDS_MB = """
import subprocess, sys, time
held = bytearray({own}) if {own} else None
if {below}:
    subprocess.run([sys.executable, "-c", "held = b'x' * {below}; import time; time.sleep(1.0)"])
time.sleep(0.3)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="memory is read from /proc")
def test_the_memory_of_a_process_includes_what_it_started():
    alone = cost_of_process(["-c", HOLDS_MB.format(own=0, below=0)]).peak_mb
    helped = cost_of_process(["-c", HOLDS_MB.format(own=0, below=200 * 2**20)]).peak_mb
    assert 195 < helped - alone < 240


def test_a_process_that_fails_is_told_with_what_it_said():
    with pytest.raises(RuntimeError, match="no such thing"):
        cost_of_process(["-c", "raise SystemExit('no such thing')"])
