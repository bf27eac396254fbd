"""What the command line prints: results on standard output, all else on standard error.

Every line passes here, so that no name or note from outside acts on the terminal and no
sign that a terminal lacks ends the program.
"""

import io
import json
import sys
from typing import Any

import click

from ergo.printable import printable


def say(line: str) -> None:
    """Print a line of the result."""
    click.echo(printable(line))


def remark(line: str) -> None:
    """Print a line that is not part of the result."""
    click.echo(printable(line), err=True)


def complain_of_command_line(error: click.ClickException) -> None:
    """Print what is wrong with a command line, and how it is used."""
    shown = io.StringIO()
    error.show(shown)
    for line in shown.getvalue().rstrip("\n").split("\n"):
        remark(line)


def print_json(content: Any) -> None:
    """Print a document on one line; NaN is refused."""
    line = json.dumps(content, ensure_ascii=False, allow_nan=False)
    click.echo("".join(sign if printable(sign) == sign else _in_json(sign) for sign in line))


def _in_json(sign: str) -> str:
    return f"\\u{ord(sign):04x}"


def let_nothing_be_unprintable() -> None:
    """Have signs that the terminal or file cannot take written as escapes, not end the program."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
