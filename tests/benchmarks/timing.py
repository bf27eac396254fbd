"""How long, how much memory: of a piece of work here, or of a process of its own."""

import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

EVERY_S = 0.1
"""How often memory is looked at. [s]"""


@dataclass(frozen=True, slots=True)
class Cost:
    """What a piece of work took.

    Attributes
    ----------
    wall_s, cpu_s : float
        Time on the clock; time of all cores together. [s]
    peak_mb : float
        Most memory held at once by a process and all that it started; NaN where it
        was not measured. [MB]
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
    """Run ``python ARGUMENTS`` to its end and return what it and all that it started took."""
    begun, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    with tempfile.TemporaryFile() as told:
        child = subprocess.Popen(
            [sys.executable, *arguments],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=told,
        )
        peak_mb = held_mb(child.pid)
        while child.poll() is None:
            peak_mb = max(peak_mb, held_mb(child.pid))
            time.sleep(EVERY_S)
        told.seek(0)
        if child.returncode not in (0, 4):
            raise RuntimeError(
                f"python {' '.join(arguments)} ended with {child.returncode}: {told.read()!r}"
            )
    wall_s, used = time.perf_counter() - begun, resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu_s = used.ru_utime + used.ru_stime - before.ru_utime - before.ru_stime
    return Cost(wall_s, cpu_s, peak_mb)


def held_mb(pid: int) -> float:
    """Return the memory that a process and all below it hold now. [MB].

    What is read from a file, such as a library, counts once, whoever of them uses it.
    """
    own_kb, of_file_kb = _held_kb(pid, b"")
    return (own_kb + sum(of_file_kb.values())) / 1024


def _held_kb(pid: int, command_above: bytes) -> tuple[int, dict[str, int]]:
    """Return what a process and all below it hold for themselves, and by file. [KiB].

    A process that still has the command of the one above it has only just been split
    off and lives in that one's memory: nothing of its own is counted.
    """
    here = Path(f"/proc/{pid}")
    try:
        command = (here / "cmdline").read_bytes()
        if command == command_above:
            return 0, {}
        rows = (here / "smaps").read_text().splitlines()
        tasks = list((here / "task").iterdir())
        below = {int(each) for task in tasks for each in (task / "children").read_text().split()}
    except (FileNotFoundError, ProcessLookupError):
        return 0, {}
    own_kb, of_file_kb = _mapped_kb(rows)
    for each in below:
        its_kb, its_files_kb = _held_kb(each, command)
        own_kb += its_kb
        for name, kb in its_files_kb.items():
            of_file_kb[name] = max(kb, of_file_kb.get(name, 0))
    return own_kb, of_file_kb


def _mapped_kb(rows: Sequence[str]) -> tuple[int, dict[str, int]]:
    """Return from rows of ``/proc/PID/smaps`` what belongs to no file, and what to which."""
    own_kb, name, resident_kb = 0, "", 0
    of_file_kb: dict[str, int] = {}
    for row in rows:
        key, *values = row.split()
        if not key.endswith(":"):
            name = " ".join(values[4:])
        elif key == "Rss:":
            resident_kb = int(values[0])
        elif key == "Anonymous:":
            own_kb += int(values[0])
            of_file_kb[name] = of_file_kb.get(name, 0) + resident_kb - int(values[0])
    return own_kb, of_file_kb


def median_wall_s(arguments: Sequence[str], repeats: int = 7) -> float:
    """Return the median time of a short process. [s]"""
    return statistics.median(cost_of_process(arguments).wall_s for _ in range(repeats))
