"""Runs in a process of its own: makes what takes long, into a folder that appears whole.

``python -m ergo.web.jobs.artefact_process report OUT LANGUAGE FOLDER PAGE``,
``... clip OUT LANGUAGE FOLDER SOURCE`` or
``... comparison OUT LANGUAGE FOLDER NAME FOLDER NAME``, as a child
(:mod:`ergo.child_process`).
"""

import sys
from collections.abc import Callable
from pathlib import Path

from ergo.app.several_sessions import Named, compare_sessions, write_comparison
from ergo.app.workflow import ReportChoices, finish, load_session
from ergo.child_process import Limits, Talk, run_child
from ergo.report.pictures.annotated import write_annotated_clip
from ergo.report.text.words import words
from ergo.storage.session_folder import read_session
from ergo.whole import being_made, write_folder

LIMITS = Limits(cpu_s=7200)
"""For all of it: the annotated clip of an hour takes a good part of that (ours)."""


def report(out: Path, language: str, folder: str, page: str) -> None:
    """Write report and tables of a session as its notes are now; rows lead to its page."""
    stored = read_session(Path(folder))
    with being_made(out):
        finish(stored.recording, stored.notes, out, ReportChoices(language, page=page))


def clip(out: Path, language: str, folder: str, source: str) -> None:
    """Write the annotated clip of one source."""
    session = load_session(Path(folder))

    def write(fresh: Path) -> None:
        write_annotated_clip(session, int(source), fresh / "clip.mp4", words(language))

    with being_made(out):
        write_folder(out, write)


def comparison(out: Path, language: str, *named: str) -> None:
    """Write the comparison of two sessions."""
    before, after = (
        Named(name, Path(folder)) for folder, name in zip(named[::2], named[1::2], strict=True)
    )
    write_comparison(compare_sessions([before], [after]), out, language)


KINDS: dict[str, Callable[..., None]] = {
    "report": report,
    "clip": clip,
    "comparison": comparison,
}


def _make(_: Talk) -> None:
    kind, out, *rest = sys.argv[1:]
    KINDS[kind](Path(out), *rest)


if __name__ == "__main__":
    sys.exit(run_child(_make, LIMITS))
