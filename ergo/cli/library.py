"""``ergo sessions`` and ``ergo operators``: the library of sessions on this machine."""

from collections.abc import Callable, Sequence
from dataclasses import asdict, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ergo.cli.printing import print_json, remark, say
from ergo.printable import printable

if TYPE_CHECKING:
    from ergo.library.entry import Entry, Profile

SESSIONS_EXAMPLE = """
\b
Example:
  ergo analyse sample_frames --out out/sample
  ergo sessions add out/sample --name "before" --tag "room 1" --operator KF --recorded 2026-03-04
  ergo sessions list
"""
OPERATORS_EXAMPLE = """
\b
Example:
  ergo operators set KF --handed right --stature 168 --loupes 38
  ergo operators list
"""
Command = Callable[..., Any]
DAY = click.DateTime(["%Y-%m-%d"])
ANY_PATH = click.Path(path_type=Path, readable=False)
"""What is wrong with a file is told when it is opened, as input (3), not as a command line (2)."""


def library_option(command: Command) -> Command:
    """Add the option that names another library."""
    return click.option(
        "--library",
        type=click.Path(path_type=Path, file_okay=False, readable=False),
        help="Folder of the library.  [default: ERGO_LIBRARY, else the user's own]",
    )(command)


json_option = click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
tag_option = click.option("--tag", "tags", multiple=True, help="May be repeated.")
operator_option = click.option("--operator", help="Pseudonym of the operator.")
recorded_option = click.option("--recorded", type=DAY, help="Day of the recording, YYYY-MM-DD.")
force_option = click.option("--force", is_flag=True, help="Replace a file that is there.")


@click.group(epilog=SESSIONS_EXAMPLE)
def sessions() -> None:
    """Keep sessions by name, with tags and operators, in a library on this machine."""


@sessions.command("list", epilog=SESSIONS_EXAMPLE)
@click.option("--tag", help="Only sessions with this tag.")
@operator_option
@json_option
@library_option
def list_sessions(
    tag: str | None, operator: str | None, as_json: bool, library: Path | None
) -> None:
    """List the sessions by day of recording and name."""
    from ergo.library.place import open_user_library

    with open_user_library(library) as opened:
        found = opened.entries(tag=tag, operator=operator)
    if as_json:
        _print_json({"sessions": [_facts(entry) for entry in found]})
    for entry in found if not as_json else ():
        say(_line(entry))
    if not found and not as_json:
        remark("No session. Add one with: ergo sessions add FOLDER")


@sessions.command(epilog=SESSIONS_EXAMPLE)
@click.argument("name")
@json_option
@library_option
def show(name: str, as_json: bool, library: Path | None) -> None:
    """Show what the library knows of a session, and where its report lies."""
    from ergo.library.place import open_user_library

    with open_user_library(library) as opened:
        facts = _facts(opened.entry(name))
    if as_json:
        _print_json({"session": facts})
        return
    for key, value in facts.items():
        shown = ", ".join(value) if isinstance(value, list) else value
        say(f"{key.replace('_', ' ')}: {shown or '–'}")


@sessions.command(epilog=SESSIONS_EXAMPLE)
@click.argument("folder", type=ANY_PATH)
@click.option("--name", help="Its name in the library.  [default: that of the folder]")
@tag_option
@operator_option
@recorded_option
@library_option
def add(
    folder: Path,
    name: str | None,
    tags: Sequence[str],
    operator: str | None,
    recorded: datetime | None,
    library: Path | None,
) -> None:
    """Copy a folder that `ergo analyse` made into the library."""
    from ergo.library.place import open_user_library

    day = recorded.date() if recorded else None
    with open_user_library(library) as opened:
        entry = opened.add(folder, name, tags=tags, operator=operator, recorded_on=day)
    say(_line(entry))
    if day is None:
        remark(
            f'State the day for trends: ergo sessions describe "{entry.name}" --recorded YYYY-MM-DD'
        )


@sessions.command(epilog=SESSIONS_EXAMPLE)
@click.argument("name")
@operator_option
@recorded_option
@library_option
def describe(
    name: str, operator: str | None, recorded: datetime | None, library: Path | None
) -> None:
    """State whose session it is and when it was recorded."""
    from ergo.library.place import open_user_library

    day = recorded.date() if recorded else None
    with open_user_library(library) as opened:
        say(_line(opened.describe(name, operator=operator, recorded_on=day)))


@sessions.command(epilog=SESSIONS_EXAMPLE)
@click.argument("name")
@click.argument("tags", nargs=-1)
@click.option("--remove", multiple=True, metavar="TAG", help="Take a tag off.")
@library_option
def tag(name: str, tags: Sequence[str], remove: Sequence[str], library: Path | None) -> None:
    """Add tags to a session, or take them off."""
    from ergo.library.place import open_user_library

    with open_user_library(library) as opened:
        say(_line(opened.tag(name, tags, remove)))


@sessions.command(epilog=SESSIONS_EXAMPLE)
@click.argument("name")
@click.argument("new_name")
@library_option
def rename(name: str, new_name: str, library: Path | None) -> None:
    """Give a session another name."""
    from ergo.library.place import open_user_library

    with open_user_library(library) as opened:
        say(_line(opened.rename(name, new_name)))


@sessions.command(epilog=SESSIONS_EXAMPLE)
@click.argument("name")
@click.option("--out", required=True, type=ANY_PATH, help="Zip file to write.")
@force_option
@library_option
def export(name: str, out: Path, force: bool, library: Path | None) -> None:
    """Write one zip with everything of a session: files, tags, operator's profile."""
    from ergo.library.place import open_user_library
    from ergo.storage.folder import check_file_free

    check_file_free(out, replace=force)
    with open_user_library(library) as opened:
        opened.export(name, out)
    say(str(out))


@sessions.command("import", epilog=SESSIONS_EXAMPLE)
@click.argument("archive", type=ANY_PATH)
@click.option("--name", help="Its name in this library.  [default: the one it had]")
@library_option
def import_session(archive: Path, name: str | None, library: Path | None) -> None:
    """Add a session from a zip that `ergo sessions export` wrote."""
    from ergo.library.place import open_user_library

    with open_user_library(library) as opened:
        say(_line(opened.import_pack(archive, name)))


@sessions.command(epilog=SESSIONS_EXAMPLE)
@json_option
@library_option
def disk(as_json: bool, library: Path | None) -> None:
    """Say what of the library lies on this disk, and how much room it takes."""
    from ergo.library.place import open_user_library
    from ergo.library.stored_copies import what_lies
    from ergo.report.text.words import words

    with open_user_library(library) as opened:
        lies, names = what_lies(opened.folder), {e.id: e.name for e in opened.entries()}
    if as_json:
        own = {names.get(key, key): size for key, size in lies.sessions.items()}
        print_json({"schema": 1, **asdict(lies), "sessions": own, "total": lies.total})
        return
    size = words().size
    rows = [(names.get(key, key), bytes_) for key, bytes_ in lies.sessions.items()]
    rows += [(f"recording without a session ({key})", each) for key, each in lies.alone.items()]
    rows += [
        ("recordings of analyses that have not ended or failed", lies.waiting),
        ("what can be made again", lies.made),
        ("database and small files", lies.rest),
        ("altogether", lies.total),
        ("free on this disk", lies.free),
    ]
    for what, bytes_ in rows:
        say(f"{size(bytes_):>9}  {what}")


@sessions.command(epilog=SESSIONS_EXAMPLE)
@click.option("--yes", is_flag=True, help="Do not ask.")
@library_option
def clear(yes: bool, library: Path | None) -> None:
    """Delete recordings without a session, and what can be made again."""
    from ergo.library.place import open_user_library
    from ergo.library.stored_copies import clear_alone, clear_made, what_lies
    from ergo.report.text.words import words
    from ergo.web.serve import only_page_of

    with open_user_library(library) as opened, only_page_of(opened.folder):
        lies, size = what_lies(opened.folder), words().size
        if not yes:
            click.confirm(
                f"Delete recordings without a session ({len(lies.alone)}, "
                f"{size(sum(lies.alone.values()))}) and what can be made again "
                f"({size(lies.made)}) for good?",
                abort=True,
                err=True,
            )
        clear_alone(opened.folder)
        clear_made(opened.folder)


@sessions.command(epilog=SESSIONS_EXAMPLE)
@click.argument("name")
@click.option("--yes", is_flag=True, help="Do not ask.")
@library_option
def delete(name: str, yes: bool, library: Path | None) -> None:
    """Delete a session and every copy of it in the library for good."""
    from ergo.library.place import open_user_library

    with open_user_library(library) as opened:
        entry = opened.entry(name)
        if not yes:
            click.confirm(
                f'Delete "{printable(entry.name)}", its files and the recordings sent for it '
                "for good?",
                abort=True,
                err=True,
            )
        opened.delete(name)


@click.group(epilog=OPERATORS_EXAMPLE)
def operators() -> None:
    """Keep what is known of each operator; a pseudonym is enough."""


@operators.command("list", epilog=OPERATORS_EXAMPLE)
@json_option
@library_option
def list_operators(as_json: bool, library: Path | None) -> None:
    """List the operators and what is known of them."""
    from ergo.library.place import open_user_library

    with open_user_library(library) as opened:
        known = opened.profiles()
    if as_json:
        _print_json({"operators": [asdict(profile) for profile in known]})
        return
    for profile in known:
        say(_profile_line(profile))


@operators.command("set", epilog=OPERATORS_EXAMPLE)
@click.argument("pseudonym")
@click.option("--handed", type=click.Choice(["right", "left"]))
@click.option("--stature", "stature_cm", type=float, help="Body height. [cm]")
@click.option(
    "--loupes",
    "loupes_declination_deg",
    type=float,
    help="Declination of the loupes, from the line ear to eye down to the line of sight. [deg]",
)
@library_option
def set_operator(pseudonym: str, library: Path | None, **stated: Any) -> None:
    """Write an operator's profile; what is not stated stays as it was."""
    from ergo.library.entry import Profile, tidy_name
    from ergo.library.place import open_user_library

    with open_user_library(library) as opened:
        known = {profile.pseudonym: profile for profile in opened.profiles()}
        profile = known.get(tidy_name(pseudonym)) or Profile(pseudonym)
        changes = {key: value for key, value in stated.items() if value is not None}
        opened.save_profile(replace(profile, **changes))
        say(_profile_line(opened.profile(profile.pseudonym)))


def profile_of(operator: str, library: Path | None) -> dict[str, str | float]:
    """Return what an operator's profile states, by the key of the notes it can stand in for."""
    from ergo.library.place import open_user_library

    with open_user_library(library) as opened:
        profile = opened.profile(operator)
    stated = {
        "handed": profile.handed,
        "operator_height_cm": profile.stature_cm,
        "loupes_declination_deg": profile.loupes_declination_deg,
    }
    return {key: value for key, value in stated.items() if value is not None}


@operators.command("delete", epilog=OPERATORS_EXAMPLE)
@click.argument("pseudonym")
@library_option
def delete_operator(pseudonym: str, library: Path | None) -> None:
    """Delete a profile for good; sessions of the operator stay, without one."""
    from ergo.library.place import open_user_library

    with open_user_library(library) as opened:
        opened.delete_profile(pseudonym)


def _facts(entry: "Entry") -> dict[str, Any]:
    return {
        "name": entry.name,
        "recorded_on": entry.recorded_on.isoformat() if entry.recorded_on else None,
        "operator": entry.operator,
        "tags": list(entry.tags),
        "added_at": entry.added_at.isoformat(),
        "folder": str(entry.folder),
        "report": str(entry.folder / "report.html"),
    }


def _line(entry: "Entry") -> str:
    day = entry.recorded_on.isoformat() if entry.recorded_on else "–" * 10
    tags = " ".join(f"[{tag}]" for tag in entry.tags)
    return "  ".join(part for part in (day, entry.name, entry.operator or "", tags) if part)


def _profile_line(profile: "Profile") -> str:
    known = {key: value for key, value in asdict(profile).items() if value is not None}
    name = known.pop("pseudonym")
    rest = ", ".join(f"{key.replace('_', ' ')} {value}" for key, value in known.items())
    return f"{name}: {rest or 'nothing stated'}"


def _print_json(content: dict[str, Any]) -> None:
    print_json({"schema": 1, **content})
