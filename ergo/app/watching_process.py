"""Watching in a process of its own: all memory that networks take is free when it ends.

``python -m ergo.app.watching_process`` is a child (:mod:`ergo.child_process`): it hears what to
watch, fills the shelf and says how far it is.
"""

import sys
import time
from collections.abc import Sequence

from ergo.app.memory import keep_large_apart
from ergo.app.watching import OnProgress, Shelf, watch
from ergo.child_process import Limits, Talk, Task, child, run_child
from ergo.frames.frame import FrameSource, SourceFacts
from ergo.notes.notes import Notes

EVERY_S = 0.2
LIMITS = Limits(cpu_s=300)
"""From one picture to the next; many times what one takes, so that only a hang meets it (ours)."""
_TASK = Task(
    "Watching the recording",
    "Repeat the command: it goes on from there. Close other programs before, "
    "or lower the load: --fast, a lower --rate, a smaller picture.",
)
_Work = tuple[Sequence[FrameSource], Sequence[Notes], str, Shelf]


def watch_apart(
    sources: Sequence[FrameSource],
    notes: Sequence[Notes],
    effort: str,
    shelf: Shelf,
    on_progress: OnProgress | None = None,
) -> None:
    """Do as :func:`ergo.app.watching.watch` with every source, in another process.

    Parameters
    ----------
    sources : sequence of FrameSource
    notes : sequence of Notes
        One per source.
    effort : str
        A key of :data:`ergo.tracking.tracker.LOOKS`.
    shelf : Shelf
        One that both processes can reach.
    on_progress : callable, optional
        Told the source and its seconds watched, some times a second.

    Raises
    ------
    EndedBySystem
        If the system ended the other process; what was watched is on the shelf.
    ErgoError
        Whatever the other process raised.
    """
    facts = [source.facts for source in sources]
    if all(shelf.is_closed(each) for each in facts):
        return
    work: _Work = (sources, notes, effort, shelf)
    with child(__name__, task=_TASK) as process:
        process.tell(work)
        for said in process.heard():
            if on_progress:
                on_progress(facts[said["source"]], said["watched_s"])


def _watch(talk: Talk) -> None:
    keep_large_apart()
    work: _Work = talk.hear()
    sources, notes, effort, shelf = work
    for at, (source, stated) in enumerate(zip(sources, notes, strict=True)):
        watch(source, stated, effort, shelf, _teller(talk, at))


def _teller(talk: Talk, source: int) -> OnProgress:
    said_at = 0.0

    def tell(_facts: SourceFacts, watched_s: float) -> None:
        nonlocal said_at
        if time.monotonic() - said_at >= EVERY_S:
            said_at = time.monotonic()
            talk.got_on()
            talk.say({"source": source, "watched_s": watched_s})

    return tell


if __name__ == "__main__":
    sys.exit(run_child(_watch, LIMITS))
