"""Speed and memory bench: ratios to a floor measured in the same run; never a timed test.

    python -m tests.benchmarks                 # about three minutes
    python -m tests.benchmarks --minutes 60    # the whole hour; more than ten minutes

Absolute times are worth nothing on another machine; ratios to the floor are.
"""

import argparse
import os
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.benchmarks.clips import repeated_clip
from tests.benchmarks.floor import (
    bare_passes,
    cores,
    decoding,
    heavy_network,
    own_network,
    pictures_of,
    tasks_passes,
)
from tests.benchmarks.timing import Cost, cost_of, cost_of_process, median_wall_s

SAMPLE = Path(__file__).parents[2] / "sample_frames"
RATE_HZ = 5.0


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table: what, how much, and how much is allowed (None = no goal)."""

    what: str
    reached: float
    unit: str
    at_most: float | None = None

    def __str__(self) -> str:
        """Return the line as printed."""
        goal = ""
        if self.at_most is not None:
            goal = f"goal {self.at_most:g}: {'met' if self.reached <= self.at_most else 'MISSED'}"
        return f"{self.what:<66} {self.reached:9.2f} {self.unit:<8} {goal}".rstrip()


def start_up() -> Iterator[Row]:
    """Yield how long nothing but starting takes."""
    nothing = median_wall_s(["-c", "pass"])
    imported = median_wall_s(["-c", "import ergo"])
    helped = median_wall_s(["-m", "ergo", "--help"])
    yield Row("python -c pass", nothing, "s")
    yield Row("import ergo", imported, "s", 0.3)
    yield Row("ergo --help", helped, "s", 0.3)
    yield Row("ergo --help / python -c pass", helped / nothing, "times")


def _floor(clip: Path, network: Any, frames: int) -> Cost:
    """Return what decoding a clip and one bare pass a frame take."""
    decoded, passed = decoding(clip), bare_passes(network, frames)
    return Cost(decoded.wall_s + passed.wall_s, decoded.cpu_s + passed.cpu_s)


def chain(clip: Path, work: Path) -> Iterator[Row]:
    """Yield what watching and analysing a clip costs beside its floor."""
    from ergo.frames.clips import ClipSource
    from ergo.notes.reading import read_notes
    from ergo.tracking.follow import watch_source

    frames = sum(1 for _ in pictures_of(clip, RATE_HZ))
    notes = read_notes(clip)
    own, as_it_is = own_network(), heavy_network()
    before = _floor(clip, own, frames)
    what = f"floor: decoding with {cores()} cores, {frames} bare passes of"
    yield Row(f"{what} our network", before.wall_s, "s")
    yield Row("  MediaPipe's heavy network as it is", _floor(clip, as_it_is, frames).wall_s, "s")
    for effort, goal in (("fast", 1.3), ("full", None)):
        spent = cost_of(
            lambda effort=effort: watch_source(ClipSource(clip, RATE_HZ), notes, effort)
        )
        after = _floor(clip, own, frames)  # a machine's pace changes: the floor is that around
        wall_s, cpu_s = (before.wall_s + after.wall_s) / 2, (before.cpu_s + after.cpu_s) / 2
        yield Row(f"watching, {effort} / floor", spent.wall_s / wall_s, "times", goal)
        yield Row(f"watching, {effort} / floor, CPU time", spent.cpu_s / cpu_s, "times")
        floor, before = wall_s, after
    for effort, options in (("fast", ["--fast"]), ("full", [])):
        out = work / f"out_{effort}"
        whole = cost_of_process(["-m", "ergo", "analyse", str(clip), "--out", str(out), *options])
        yield Row(f"ergo analyse with report, {effort}", whole.wall_s, "s")
        yield Row(f"ergo analyse with report, {effort} / floor", whole.wall_s / floor, "times")
        yield Row(f"ergo analyse, {effort}: peak memory", whole.peak_mb, "MB", 800)


def looks(clip: Path) -> Iterator[Row]:
    """Yield what a frame costs beside one pass of MediaPipe's own heavy landmarker."""
    from ergo.frames.clips import ClipSource
    from ergo.notes.notes import Notes
    from ergo.tracking.follow import watch_source

    pictures = list(pictures_of(clip, RATE_HZ))
    tasks = tasks_passes(pictures)
    yield Row("one heavy pass of the Tasks API", 1000 * tasks.wall_s / len(pictures), "ms")
    for effort, goal in (("fast", 1.0), ("full", 2.0)):
        spent = cost_of(
            lambda effort=effort: watch_source(ClipSource(clip, RATE_HZ), Notes(), effort)
        )
        yield Row(
            f"watching, {effort} / one Tasks pass", spent.wall_s / tasks.wall_s, "times", goal
        )
        yield Row(
            f"watching, {effort} / one Tasks pass, CPU time", spent.cpu_s / tasks.cpu_s, "times"
        )


def hour(analysed: Path) -> Iterator[Row]:
    """Yield what one hour of landmarks takes to be scored again and reported."""
    from tests.benchmarks.hour import scoring_again

    frames, costs = scoring_again(analysed)
    again = costs["judging"].wall_s + costs["time in posture"].wall_s
    yield Row(f"reading {frames} frames", costs["reading"].wall_s, "s")
    yield Row(f"scoring {frames} frames again", again, "s", 1.0)
    for name in ("judging", "time in posture"):
        yield Row(f"  of these: {name}", costs[name].wall_s, "s")
        yield Row(f"  of these: {name}, CPU time", costs[name].cpu_s, "s")
    yield Row(f"report of {frames} frames", costs["report"].wall_s, "s", 10.0)
    yield Row(f"report of {frames} frames, CPU time", costs["report"].cpu_s, "s")


def page(analysed: Path, work: Path) -> Iterator[Row]:
    """Yield how soon an hour is on the page in a real browser, and how smoothly it scrubs."""
    from tests.benchmarks.page import measured

    folder = work / "page"
    folder.mkdir()
    took = measured(analysed, folder)
    yield Row("floor: the list of sessions is on the page", took["listed"] / 1000, "s")
    yield Row(f"{took['frames']} frames are on the page", took["load"] / 1000, "s", 2.0)
    yield Row("  the first time, judged anew", took["first"] / 1000, "s")
    yield Row("floor: a frame of the browser with nothing to do", took["idle"], "ms")
    yield Row("scrubbing: work a move", took["work"], "ms")
    yield Row("scrubbing: work a move, the slowest tenth", took["work_90"], "ms")
    yield Row("scrubbing: a frame / floor", took["frame"] / took["idle"], "times", 1.5)
    yield Row("scrubbing: a frame, the slowest tenth", took["frame_90"], "ms", 50.0)


def _rows(arguments: argparse.Namespace, work: Path) -> Iterator[Row]:
    wanted = arguments.only
    if "start" in wanted:
        yield from start_up()
    if wanted == ["start"]:
        return
    short = arguments.clip or min(SAMPLE.rglob("*.mp4"))
    clip = repeated_clip(short, work / "long.mp4", 60 * arguments.minutes)
    if "chain" in wanted:
        yield from chain(clip, work)
    if "looks" in wanted:
        yield from looks(short)
    if "hour" in wanted:
        analysed = work / "sample"
        cost_of_process(["-m", "ergo", "analyse", str(short), "--out", str(analysed)])
        yield from hour(analysed)
    if "page" in wanted:
        shown = work / "shown"
        cost_of_process(["-m", "ergo", "analyse", str(short), "--out", str(shown)])
        yield from page(shown, work)


def _run_as_the_program_does(arguments: Sequence[str]) -> None:
    """Begin again without threads of the linear algebra library, as ``ergo.cli`` does."""
    name = "OPENBLAS_NUM_THREADS"
    if name not in os.environ:
        os.environ[name] = "1"
        os.execv(sys.executable, [sys.executable, "-m", "tests.benchmarks", *arguments])


def main(given: Sequence[str] | None = None) -> int:
    """Print the table, line by line as it is measured."""
    _run_as_the_program_does(sys.argv[1:] if given is None else given)
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmarks",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parts = ["start", "chain", "looks", "hour", "page"]
    parser.add_argument("--clip", type=Path, help="another clip than the sample's")
    parser.add_argument("--minutes", type=float, default=2.0, help="length of the repeated clip")
    parser.add_argument("--only", nargs="+", default=parts, choices=parts)
    arguments = parser.parse_args(given)
    with tempfile.TemporaryDirectory() as folder:
        for row in _rows(arguments, Path(folder)):
            print(row, flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
