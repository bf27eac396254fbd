"""Several sessions together: compared, or followed over time; for command line and page."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from ergo.app.workflow import load_session
from ergo.comparison.compare import Comparison, compare
from ergo.comparison.pool import Measured
from ergo.comparison.trends import FigureTrend, figure_trends
from ergo.errors import InputError, LibraryError
from ergo.library.library import Library
from ergo.posture.placing import camera_points, levelled
from ergo.posture.uncertainty import view_azimuth_deg
from ergo.report.text.comparison import write_comparison_page
from ergo.report.text.trend import write_course_page
from ergo.session.session import Session
from ergo.storage.folder import SESSION_FILE, check_free
from ergo.storage.tables import write_json, write_rows
from ergo.whole import being_made, write_folder


@dataclass(frozen=True, slots=True)
class Named:
    """A session folder and the name by which people know it."""

    name: str
    folder: Path
    recorded_on: date | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Compared:
    """Two groups of sessions and what differs between them."""

    before: tuple[str, ...]
    after: tuple[str, ...]
    comparison: Comparison


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """Sessions in order of time and the trend of every figure.

    Attributes
    ----------
    names : tuple of str
    days : tuple of date
        One per session, rising.
    undated : tuple of str
        Names of sessions left out because nobody stated their day.
    trends : tuple of FigureTrend
    """

    names: tuple[str, ...]
    days: tuple[date, ...]
    undated: tuple[str, ...]
    trends: tuple[FigureTrend, ...]


def is_session_folder(word: str) -> bool:
    """Return whether a word that a user typed names a session folder."""
    return (Path(word) / SESSION_FILE).is_file()


def sessions_named(word: str, library: Library) -> list[Named]:
    """Return the sessions that a word means: a session of the library, or all with that tag.

    Parameters
    ----------
    word : str
        A name, else a tag.
    library : Library

    Raises
    ------
    LibraryError
        If it is neither.
    """
    entries = [entry for entry in library.entries() if entry.name == word]
    entries = entries or library.entries(tag=word)
    if not entries:
        raise LibraryError(
            "is no session folder, and no name or tag in the library.",
            where=f'"{word}"',
            remedy="`ergo sessions list` shows names and tags.",
        )
    return [Named(entry.name, entry.folder, entry.recorded_on) for entry in entries]


def measured_of(session: Session, name: str) -> Measured:
    """Return a session as comparisons see it."""
    recording = session.recording
    timeline, operator = recording.timeline, recording.tracks["operator"]
    points = levelled(camera_points(operator, session.cameras, timeline), session.cameras, timeline)
    return Measured(
        name=name,
        timeline=timeline,
        posture=session.posture,
        clock=session.clock,
        scores=session.scores,
        notes=session.notes,
        cameras=session.cameras,
        view_azimuth_deg=view_azimuth_deg(points),
        readings=recording.settings.readings,
    )


def compare_sessions(before: Sequence[Named], after: Sequence[Named]) -> Compared:
    """Compare two sessions or groups of sessions.

    Raises
    ------
    InputError
        If a session is on both sides.
    ErgoError
        If a session cannot be read.
    """
    both = {each.folder.resolve() for each in before} & {each.folder.resolve() for each in after}
    if both:
        name = next(each.name for each in before if each.folder.resolve() in both)
        raise InputError("stands on both sides of the comparison.", where=f'"{name}"')
    sides = [[measured_of(load_session(each.folder), each.name) for each in side]
             for side in (before, after)]  # fmt: skip
    return Compared(
        tuple(each.name for each in before),
        tuple(each.name for each in after),
        compare(*sides),
    )


def course_of(sessions: Sequence[Named]) -> Course:
    """Follow sessions over time; those whose day is not stated are left out.

    Raises
    ------
    InputError
        If no session has a day.
    ErgoError
        If a session cannot be read.
    """
    dated = sorted(
        ((each.recorded_on, each) for each in sessions if each.recorded_on is not None),
        key=lambda pair: pair[0],
    )
    if not dated:
        raise InputError(
            "No session has a day of recording. "
            "State it with: ergo sessions describe NAME --recorded YYYY-MM-DD"
        )
    measured = [measured_of(load_session(each.folder), each.name) for _, each in dated]
    return Course(
        names=tuple(each.name for _, each in dated),
        days=tuple(day for day, _ in dated),
        undated=tuple(each.name for each in sessions if each.recorded_on is None),
        trends=figure_trends([float(day.toordinal()) for day, _ in dated], measured),
    )


def write_comparison(
    compared: Compared, out: Path, language: str = "en", *, force: bool = False
) -> None:
    """Write ``comparison.html``, ``.pdf``, ``.json``, ``.csv`` and the figure into a folder."""
    check_free(out, replace=force, mark="comparison.json")

    def write(folder: Path) -> None:
        write_json(folder / "comparison.json", comparison_content(compared))
        write_rows(folder / "comparison.csv", *_difference_rows(compared.comparison))
        write_comparison_page(
            compared.comparison, compared.before, compared.after, folder, language
        )

    with being_made(out):
        write_folder(out, write)


def write_course(course: Course, out: Path, language: str = "en", *, force: bool = False) -> None:
    """Write ``trend.html``, ``.pdf``, ``.json`` and the figure into a folder."""
    check_free(out, replace=force, mark="trend.json")

    def write(folder: Path) -> None:
        write_json(folder / "trend.json", course_content(course))
        write_course_page(
            course.trends, course.days, course.names, course.undated, folder, language
        )

    with being_made(out):
        write_folder(out, write)


def comparison_content(compared: Compared) -> dict[str, object]:
    """Return a comparison as one document with a schema number."""
    return {
        "schema": 1,
        "before": compared.before,
        "after": compared.after,
        "doubts": compared.comparison.doubts,
        "differences": compared.comparison.differences,
    }


def _difference_rows(comparison: Comparison) -> tuple[list[str], list[list[object]]]:
    """Return the header and one row per figure, the change with its 95 % interval."""
    header = ["kind", "name", "rule_or_side", "where", "part", "before", "after"]
    header += ["change", "change_low", "change_high", "chance", "verdict"]
    rows: list[list[object]] = [
        [each.kind, each.name, each.rule, each.where, each.part, each.before, each.after]
        + [each.change.value, each.change.low, each.change.high, each.chance, each.verdict]
        for each in comparison.differences
    ]
    return header, rows


def course_content(course: Course) -> dict[str, object]:
    """Return a course over time as one document with a schema number."""
    return {
        "schema": 1,
        "sessions": [
            {"name": name, "recorded_on": day.isoformat()}
            for name, day in zip(course.names, course.days, strict=True)
        ],
        "undated": course.undated,
        "trends": [
            {
                "kind": each.kind,
                "name": each.name,
                "rule": each.limits.rule if each.limits else None,
                "value": each.trend.value,
                "error": each.trend.error,
                "slope_in_30_days": each.trend.slope,
                "chance": each.chance,
                "verdict": each.trend.verdict,
            }
            for each in course.trends
        ],
    }
