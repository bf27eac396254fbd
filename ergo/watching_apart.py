"""Watching in a process of its own: all memory that networks take is free when it ends.

``python -m ergo.watching_apart`` is given on its standard input what to watch (pickled)
and fills the shelf. It says one JSON object a line on its standard output: how far it
is, or what is wrong with the input. It ends when its standard input does.
"""

import json
import os
import pickle
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import IO, Any

from ergo import errors
from ergo.frames.frame import FrameSource, SourceFacts
from ergo.memory import keep_large_apart
from ergo.notes.notes import Notes
from ergo.watching import OnProgress, Shelf, watch

EVERY_S = 0.2
STOPPED = 130
_Work = tuple[Sequence[FrameSource], Sequence[Notes], str, Shelf]


def watch_apart(
    sources: Sequence[FrameSource],
    notes: Sequence[Notes],
    effort: str,
    shelf: Shelf,
    on_progress: OnProgress | None = None,
) -> None:
    """Do as :func:`ergo.watching.watch` with every source, in another process.

    Parameters
    ----------
    sources : sequence of FrameSource
    notes : sequence of Notes
        One per source.
    effort : str
        A key of :data:`ergo.landmarks.watcher.LOOKS`.
    shelf : Shelf
        One that both processes can reach.
    on_progress : callable, optional
        Told the source and its seconds watched, some times a second.

    Raises
    ------
    ErgoError
        Whatever the other process raised.
    """
    facts = [source.facts for source in sources]
    if all(shelf.is_closed(each) for each in facts):
        return
    work: _Work = (sources, notes, effort, shelf)
    with _other_process() as process:
        assert process.stdin is not None
        assert process.stdout is not None
        pickle.dump(work, process.stdin)
        process.stdin.flush()
        for line in process.stdout:
            said = json.loads(line)
            if "error" in said:
                raise _as_raised(said["error"])
            if on_progress:
                on_progress(facts[said["source"]], said["watched_s"])
        if process.wait():
            raise RuntimeError(f"watching ended with {process.returncode}")


@contextmanager
def _other_process() -> Iterator[subprocess.Popen[bytes]]:
    """Start the other process where Python finds what it finds here; it ends with the block."""
    process = subprocess.Popen(
        [sys.executable, "-P", "-m", __name__],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env={
            "OPENBLAS_NUM_THREADS": "1",  # our threads are busy with pictures
            **os.environ,
            "PYTHONPATH": os.pathsep.join(sys.path),
        },
        start_new_session=True,  # Ctrl-C is for us; it is told by the end of its input
    )
    with process:  # closes its input when left, which ends it
        yield process


def _as_raised(told: dict[str, str]) -> errors.ErgoError:
    kind: type[errors.ErgoError] = getattr(errors, told["kind"])
    return kind(told["what"], where=told["where"], remedy=told["remedy"])


def main() -> int:
    """Watch what standard input tells and return the exit code."""
    keep_large_apart()
    with os.fdopen(os.dup(1), "w", encoding="utf-8") as listener:
        os.dup2(2, 1)  # whatever else is printed is not for the listener
        work: _Work = pickle.load(sys.stdin.buffer)
        threading.Thread(target=_end_with_parent, daemon=True).start()
        try:
            _watch(work, listener)
        except errors.ErgoError as error:
            told = {"what": error.what, "where": error.where, "remedy": error.remedy}
            _say(listener, {"error": {"kind": type(error).__name__, **told}})
            return error.exit_code
    return 0


def _watch(work: _Work, listener: IO[str]) -> None:
    sources, notes, effort, shelf = work
    for at, (source, stated) in enumerate(zip(sources, notes, strict=True)):
        watch(source, stated, effort, shelf, _teller(listener, at))


def _teller(listener: IO[str], source: int) -> OnProgress:
    said_at = 0.0

    def tell(_facts: SourceFacts, watched_s: float) -> None:
        nonlocal said_at
        if time.monotonic() - said_at >= EVERY_S:
            said_at = time.monotonic()
            _say(listener, {"source": source, "watched_s": watched_s})

    return tell


def _say(listener: IO[str], line: dict[str, Any]) -> None:
    listener.write(json.dumps(line) + "\n")
    listener.flush()


def _end_with_parent() -> None:
    while os.read(0, 4096):  # not through a buffer: its lock would outlive the work
        pass
    os._exit(STOPPED)


if __name__ == "__main__":
    sys.exit(main())
