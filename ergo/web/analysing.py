"""Runs in a process of its own: one analysis, told line by line.

``python -m ergo.web.analysing new OUT INPUT...`` analyses recordings, ``... together OUT
INPUT...`` clips of several cameras as one session, ``... again OUT FOLDER`` watches
those sources of a session again in which another operator was chosen. Each writes one
JSON object a line to stdout: ``{"share": 0.25}`` while it works, ``{"error": "..."}``
if the input cannot be used; with ``"lacks_start": true`` if all that is missing is when
a clip began. It ends when its standard input does, that is when the page ends.
"""

import json
import os
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path

from ergo.errors import ErgoError, NotTogether
from ergo.frames.find import find_sources
from ergo.frames.frame import SourceFacts
from ergo.web.uploads import names_given
from ergo.workflow import analyse_session
from ergo.workflow_again import sources_again, watch_again

STILL_S = 1.0
"""A still takes about as long as this much of a clip. [s]"""
EVERY_S = 0.5
STOPPED = 130


def main(arguments: Sequence[str]) -> int:
    """Analyse and return the exit code."""
    kind, *paths = arguments
    out, *inputs = (Path(each) for each in paths)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    try:
        KINDS[kind](out, inputs)
    except NotTogether as error:  # the page has a remedy of its own
        _say({"error": f"{error.where} {error.what}", "lacks_start": True})
        return error.exit_code
    except ErgoError as error:
        _say({"error": str(error)})
        return error.exit_code
    return 0


def _new(out: Path, inputs: Sequence[Path], *, is_together: bool = False) -> None:
    called = names_given(inputs)
    facts = [source.facts for source in find_sources(inputs, called=called).sources]
    analyse_session(
        inputs,
        out,
        is_together=is_together,
        called=called,
        force=True,
        on_progress=share_teller(facts, _say),
    )


def _again(out: Path, inputs: Sequence[Path]) -> None:
    (folder,) = inputs
    facts = [source.facts for source in sources_again(folder).values()]
    watch_again(folder, out, share_teller(facts, _say))


KINDS: Mapping[str, Callable[[Path, Sequence[Path]], None]] = {
    "new": _new,
    "together": partial(_new, is_together=True),
    "again": _again,
}


def share_teller(
    facts: Sequence[SourceFacts], say: Callable[[dict[str, object]], None]
) -> Callable[[SourceFacts, float], None]:
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


def _say(line: dict[str, object]) -> None:
    sys.stdout.write(json.dumps(line) + "\n")
    sys.stdout.flush()


def _end_with_parent() -> None:
    while os.read(0, 4096):  # not through a buffer: its lock would outlive the analysis
        pass
    os._exit(STOPPED)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
