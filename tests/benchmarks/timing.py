"""How long, how much memory: of a piece of work here, or of a process of its own."""

import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Cost:
    """What a piece of work took.

    Attributes
    ----------
    wall_s, cpu_s : float
        Time on the clock; time of all cores together. [s]
    peak_mb : float
        Most memory held at once; NaN where it was not measured. [MB]
    """

    wall_s: float
    cpu_s: float
    peak_mb: float = float("nan")


def cost_of(work: Callable[[], object]) -> Cost:
    """Do a piece of work in this process and return what it took."""
    wall, cpu = time.perf_counter(), time.process_time()
    work()
    return Cost(time.perf_counter() - wall, time.process_time() - cpu)


def cost_of_process(arguments: Sequence[str]) -> Cost:
    """Run ``python ARGUMENTS`` to its end and return what it took."""
    begun = time.perf_counter()
    child = subprocess.Popen(
        [sys.executable, *arguments],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )
    told = child.stderr.read() if child.stderr else b""
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode not in (0, 4):
        raise RuntimeError(f"python {' '.join(arguments)} ended with {child.returncode}: {told!r}")
    return Cost(
        wall_s=time.perf_counter() - begun,
        cpu_s=used.ru_utime + used.ru_stime,
        peak_mb=used.ru_maxrss / 1024,  # Linux counts in KiB
    )


def median_wall_s(arguments: Sequence[str], repeats: int = 7) -> float:
    """Return the median time of a short process. [s]"""
    return statistics.median(cost_of_process(arguments).wall_s for _ in range(repeats))
