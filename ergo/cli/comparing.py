"""``ergo compare`` and ``ergo trend``: sessions beside each other and over time."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ergo.cli.library import ANY_PATH, force_option, json_option, library_option
from ergo.cli.printing import print_json, say

if TYPE_CHECKING:
    from ergo.app.several_sessions import Named

COMPARE_EXAMPLE = """
\b
Example:
  ergo analyse sample_frames --out out/before
  ergo analyse sample_frames --out out/after
  ergo compare out/before out/after --out out/comparison
"""
TREND_EXAMPLE = """
\b
Example:
  ergo sessions list --operator KF
  ergo trend --operator KF --out out/trend
"""
LANGUAGE = click.option(
    "--language",
    type=click.Choice(["en", "de"]),
    default="en",
    show_default=True,
    help="Language of the result.",
)
OUT = click.option("--out", type=ANY_PATH, help="Folder to make for page and plots.")


@click.command(epilog=COMPARE_EXAMPLE)
@click.argument("before")
@click.argument("after")
@OUT
@force_option
@LANGUAGE
@json_option
@library_option
def compare(
    before: str,
    after: str,
    out: Path | None,
    force: bool,
    language: str,
    as_json: bool,
    library: Path | None,
) -> None:
    """Tell what really differs between two sessions or groups of sessions.

    BEFORE and AFTER are folders that `ergo analyse` made, or names or tags of the
    library; a tag stands for all its sessions.
    """
    from ergo.app.several_sessions import compare_sessions, comparison_content, write_comparison
    from ergo.report.text.comparison import comparison_lines
    from ergo.report.text.words import words
    from ergo.storage.folder import check_free

    if out is not None:
        check_free(out, replace=force, mark="comparison.json")
    compared = compare_sessions(_sessions(before, library), _sessions(after, library))
    if out is not None:
        write_comparison(compared, out, language, force=force)
    if as_json:
        _print(comparison_content(compared))
        return
    own = words(language)
    for line in comparison_lines(compared.comparison, compared.before, compared.after, own):
        say(line)
    if out is not None:
        say(f"Page: {out / 'comparison.html'}")


@click.command(epilog=TREND_EXAMPLE)
@click.option("--tag", help="Sessions with this tag.")
@click.option("--operator", help="Sessions of this operator (pseudonym).")
@OUT
@force_option
@LANGUAGE
@json_option
@library_option
def trend(
    tag: str | None,
    operator: str | None,
    out: Path | None,
    force: bool,
    language: str,
    as_json: bool,
    library: Path | None,
) -> None:
    """Follow sessions of the library over time, and tell a trend from noise."""
    from ergo.app.several_sessions import Named, course_content, course_of, write_course
    from ergo.library.place import open_user_library
    from ergo.report.text.trend import course_lines
    from ergo.report.text.words import words
    from ergo.storage.folder import check_free

    if out is not None:
        check_free(out, replace=force, mark="trend.json")
    with open_user_library(library) as opened:
        found = opened.entries(tag=tag, operator=operator)
    course = course_of([Named(each.name, each.folder, each.recorded_on) for each in found])
    if out is not None:
        write_course(course, out, language, force=force)
    if as_json:
        _print(course_content(course))
        return
    for line in course_lines(course.trends, course.days, course.undated, words(language)):
        say(line)
    if out is not None:
        say(f"Page: {out / 'trend.html'}")


def _sessions(word: str, library: Path | None) -> "list[Named]":
    """Return what a word names; the library is opened only where it must be asked."""
    from ergo.app.several_sessions import Named, is_session_folder, sessions_named
    from ergo.library.place import open_user_library

    if is_session_folder(word):
        return [Named(Path(word).resolve().name, Path(word))]
    with open_user_library(library) as opened:
        return sessions_named(word, opened)


def _print(content: dict[str, object]) -> None:
    from ergo.storage.tables import plain

    print_json(plain(content))
