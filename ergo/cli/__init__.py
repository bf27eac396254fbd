"""The command line: parses and prints, computes nothing.

Exit codes: 0 finished; 1 our fault; 2 wrong command line; 3 the input cannot be
used; 4 finished, but too little of the body was visible to judge; 130 stopped by
the user.
"""

import logging
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ergo import __version__
from ergo.app.memory import share_one_heap
from ergo.cli.camera_place import setup
from ergo.cli.comparing import compare, trend
from ergo.cli.library import ANY_PATH, library_option, operators, profile_of, sessions
from ergo.cli.printing import (
    complain_of_command_line,
    let_nothing_be_unprintable,
    print_json,
    remark,
    say,
)
from ergo.cli.serving import serve
from ergo.errors import ErgoError, TooLittleSeen
from ergo.printable import printable
from ergo.storage.private import keep_private

if TYPE_CHECKING:
    from ergo.app.workflow import Outcome
    from ergo.frames.frame import SourceFacts

STOPPED_BY_USER = 130
OUR_FAULT = 1
STOP_AGAIN_S = 10.0
"""A program that was told to end and goes on is told so again after this time. [s]"""
CLEARED_LINE = "\r\x1b[K"
"""To the start of the line, and what stands there erased (ECMA-48: CR, EL)."""

ANALYSE_EXAMPLE = """
\b
Example:
  ergo analyse sample_frames --out out/sample
"""
RESCORE_EXAMPLE = """
\b
Example:
  ergo analyse sample_frames --out out/sample
  ergo rescore out/sample --reading static_after=10min
"""


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and leave with its exit code."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # our threads are busy with pictures
    share_one_heap()
    keep_private(is_shared="ERGO_DATABASE_URL" in os.environ)
    let_nothing_be_unprintable()
    try:
        with _ended_like_ctrl_c():
            code = ergo.main(args=arguments, prog_name="ergo", standalone_mode=False)
    except ErgoError as error:
        remark(str(error))
        code = error.exit_code
    except click.ClickException as error:
        complain_of_command_line(error)
        code = error.exit_code
    except (click.Abort, KeyboardInterrupt):
        remark("Stopped. Run the same command again to go on from here.")
        code = STOPPED_BY_USER
    except Exception:
        remark("Sorry, this is a mistake in the program. The details below help to mend it.")
        logging.getLogger(__name__).exception("unexpected error")
        code = OUR_FAULT
    sys.exit(code if isinstance(code, int) else 0)


@contextmanager
def _ended_like_ctrl_c() -> Iterator[None]:
    """Let SIGTERM and a closed terminal end the program as Ctrl-C does: nothing is left behind."""
    names = [name for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    kinds = [signal.Signals[name] for name in names]
    kinds = [kind for kind in kinds if signal.getsignal(kind) == signal.SIG_DFL]  # not under nohup
    if threading.current_thread() is not threading.main_thread():
        kinds = []
    waiting: list[threading.Timer] = []

    def end(number: int, _: object) -> None:
        # what it raises is lost where nothing may be raised, so it is said again
        waiting.append(threading.Timer(STOP_AGAIN_S, os.kill, (os.getpid(), number)))
        waiting[-1].daemon = True
        waiting[-1].start()
        if signal.getsignal(signal.SIGINT) == signal.SIG_IGN:  # in the background
            raise KeyboardInterrupt
        signal.raise_signal(signal.SIGINT)

    for kind in kinds:
        signal.signal(kind, end)
    try:
        yield
    finally:
        for kind in kinds:
            signal.signal(kind, signal.SIG_DFL)
        for timer in waiting:
            timer.cancel()


@click.group(epilog=ANALYSE_EXAMPLE)
@click.version_option(__version__, prog_name="ergo")
def ergo() -> None:
    """Measure a dental clinician's posture from clips and stills, on this machine alone.

    A screening aid, not a diagnosis. Ask everybody in the picture for consent
    before you film.
    """


ergo.add_command(compare)
ergo.add_command(trend)
ergo.add_command(sessions)
ergo.add_command(operators)
ergo.add_command(serve)
ergo.add_command(setup)


def _report_options(command: Callable[..., Any]) -> Callable[..., Any]:
    options = [
        click.option(
            "--reading",
            "readings",
            multiple=True,
            metavar="OPTION=CHOICE",
            help="Use another reading of a method, for example static_after=10min.",
        ),
        click.option(
            "--language",
            type=click.Choice(["en", "de"]),
            default="en",
            show_default=True,
            help="Language of the report.",
        ),
        click.option("--blur-operator", is_flag=True, help="Blur the operator's face too."),
        click.option(
            "--all-changes",
            is_flag=True,
            help="Print every change worth trying, here and in the PDF, not only the first.",
        ),
        click.option("--json", "as_json", is_flag=True, help="Print the result as JSON."),
        click.option("--quiet", is_flag=True, help="Show no progress."),
    ]
    for option in reversed(options):
        command = option(command)
    return command


@ergo.command(epilog=ANALYSE_EXAMPLE)
@click.argument("inputs", nargs=-1, required=True, type=ANY_PATH)
@click.option("--out", required=True, type=ANY_PATH, help="Folder to make.")
@click.option(
    "--rate",
    default=5.0,
    show_default=True,
    type=click.FloatRange(0.1, 60),
    help="Analysed pictures a second of clip.",
)
@click.option(
    "--together",
    is_flag=True,
    help="The clips show one session, filmed by several cameras at once; one report.",
)
@click.option(
    "--operator",
    help="Pseudonym: that profile stands in for hand, height and loupes that no note states.",
)
@library_option
@click.option("--fast", is_flag=True, help="One look at each picture: quicker, less exact.")
@click.option("--force", is_flag=True, help="Replace a session that is already in the folder.")
@_report_options
def analyse(
    inputs: tuple[Path, ...],
    out: Path,
    rate: float,
    together: bool,
    operator: str | None,
    library: Path | None,
    fast: bool,
    force: bool,
    readings: tuple[str, ...],
    language: str,
    blur_operator: bool,
    all_changes: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Analyse clips, stills or folders of them and write a report.

    Notes lie beside the pictures (NAME.toml, or ergo.toml for a whole folder);
    see README.md for what they may state.
    """
    from ergo.app.workflow import ReportChoices, analyse_session
    from ergo.library.entry import tidy_name
    from ergo.session.session import Settings

    with Progress(is_shown=not quiet and sys.stderr.isatty()) as progress:
        outcome = analyse_session(
            inputs,
            out,
            Settings(
                rate,
                "fast" if fast else "full",
                _parsed(readings),
                operator and tidy_name(operator),
                profile_of(operator, library) if operator else {},
            ),
            is_together=together,
            force=force,
            choices=ReportChoices(language, blur_operator, all_changes=all_changes),
            on_progress=progress,
        )
    return _say(outcome, as_json, language, all_changes=all_changes)


@ergo.command(epilog=RESCORE_EXAMPLE)
@click.argument("folder", type=ANY_PATH)
@_report_options
def rescore(
    folder: Path,
    readings: tuple[str, ...],
    language: str,
    blur_operator: bool,
    all_changes: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Judge a session again, with changed notes or readings; no picture is analysed."""
    from ergo.app.workflow import ReportChoices, rescore_session

    outcome = rescore_session(
        folder,
        _parsed(readings),
        choices=ReportChoices(language, blur_operator, all_changes=all_changes),
    )
    return _say(outcome, as_json, language, all_changes=all_changes)


def _parsed(readings: Sequence[str]) -> dict[str, str]:
    pairs = [reading.partition("=") for reading in readings]
    for option, equals, _ in pairs:
        if not equals:
            raise click.UsageError(f"--reading {option}: write OPTION=CHOICE.")
    return {option.strip(): choice.strip() for option, _, choice in pairs}


def _say(outcome: "Outcome", as_json: bool, language: str, *, all_changes: bool) -> int:
    from ergo.report.text.summary import remark_lines, summary_lines
    from ergo.storage.tables import plain

    for line in (*remark_lines(outcome.session, language), *outcome.remarks):
        remark(line)
    if as_json:
        content = {"schema": 1, "folder": outcome.folder, "summary": outcome.exposure}
        print_json(plain(content))
    else:
        lines = summary_lines(outcome.session, outcome.exposure, language, all_changes=all_changes)
        for line in lines:
            say(line)
        say(f"Report: {outcome.folder / 'report.html'}")
    if outcome.is_too_little_seen:
        raise TooLittleSeen(
            "too little of the operator is seen to judge.",
            where=f"{', '.join(outcome.sources_hardly_seen)}:",
            remedy="Film from the side, with head, trunk and both arms in the picture.",
        )
    return 0


class Progress:
    """A line on the terminal with the share done and the time left; gone at the end."""

    def __init__(self, *, is_shown: bool) -> None:
        self._is_shown = is_shown
        self._name = ""
        self._begun = 0.0
        self._shown = 0.0
        self._is_line_used = False

    def __enter__(self) -> "Progress":
        return self

    def __exit__(self, *_: object) -> None:
        """Leave an empty line to whatever is said next, of success or trouble."""
        if self._is_line_used:
            click.echo(CLEARED_LINE, nl=False, err=True)

    def __call__(self, facts: "SourceFacts", watched_s: float) -> None:
        """Show how far the source at hand has been watched. Seconds of clip."""
        now = time.monotonic()
        if facts.name != self._name:
            self._name, self._begun, self._shown = facts.name, now, 0.0
        if not self._is_shown or now - self._shown < 0.5:
            return
        self._shown, self._is_line_used = now, True
        line = f"{CLEARED_LINE}{printable(facts.name)}{self._left(facts, watched_s, now)}"
        click.echo(line, nl=False, err=True)

    def _left(self, facts: "SourceFacts", watched_s: float, now: float) -> str:
        if not facts.duration_s or watched_s <= 0:
            return ""
        share = min(1.0, watched_s / facts.duration_s)
        left_s = (now - self._begun) * (1 - share) / share
        minutes, seconds = divmod(round(left_s), 60)
        return f"  {share:4.0%}, {minutes}:{seconds:02d} min left"
