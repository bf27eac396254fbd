"""Runs in a process of its own: one analysis, told line by line.

``python -m ergo.web.jobs.analysis_process new OUT INPUT...`` analyses recordings,
``... together OUT INPUT...`` clips of several cameras as one session, ``... again OUT FOLDER``
watches those sources of a session again in which another operator was chosen. It is a child
(:mod:`ergo.child_process`) and says ``{"share": 0.25}`` while it works.
"""

import sys
import time
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path

from ergo.app.rewatching import sources_again, watch_again
from ergo.app.workflow import analyse_session
from ergo.child_process import Limits, Talk, run_child
from ergo.frames.find import find_sources
from ergo.frames.frame import SourceFacts
from ergo.web.jobs.uploads import names_given

STILL_S = 1.0
"""A still takes about as long as this much of a clip. [s]"""
EVERY_S = 0.5
LIMITS = Limits(cpu_s=3600)
"""From one picture to the next, or for all that follows the last of them (ours)."""
Say = Callable[[dict[str, object]], None]


def _analyse(talk: Talk) -> None:
    kind, out, *inputs = sys.argv[1:]

    def say(line: dict[str, object]) -> None:
        talk.got_on()
        talk.say(line)

    KINDS[kind](Path(out), [Path(each) for each in inputs], say)


def _new(out: Path, inputs: Sequence[Path], say: Say, *, is_together: bool = False) -> None:
    called = names_given(inputs)
    facts = [source.facts for source in find_sources(inputs, called=called).sources]
    analyse_session(
        inputs,
        out,
        is_together=is_together,
        called=called,
        force=True,
        on_progress=share_teller(facts, say),
    )


def _again(out: Path, inputs: Sequence[Path], say: Say) -> None:
    (folder,) = inputs
    facts = [source.facts for source in sources_again(folder).values()]
    watch_again(folder, out, share_teller(facts, say))


KINDS: Mapping[str, Callable[[Path, Sequence[Path], Say], None]] = {
    "new": _new,
    "together": partial(_new, is_together=True),
    "again": _again,
}


def share_teller(facts: Sequence[SourceFacts], say: Say) -> Callable[[SourceFacts, float], None]:
    """Return a listener to progress that says the share done of all sources, now and then."""
    lengths = {each.name: each.duration_s or STILL_S for each in facts}
    starts = {name: sum(list(lengths.values())[:at]) for at, name in enumerate(lengths)}
    total = sum(lengths.values())
    said_at = 0.0

    def tell(source: SourceFacts, watched_s: float) -> None:
        nonlocal said_at
        if time.monotonic() - said_at >= EVERY_S:
            said_at = time.monotonic()
            done = starts[source.name] + min(watched_s, lengths[source.name])
            say({"share": min(1.0, done / total)})

    return tell


if __name__ == "__main__":
    sys.exit(run_child(_analyse, LIMITS))
