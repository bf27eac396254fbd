"""``ergo serve``: the review page in the browser, for this machine alone."""

import os
import threading
import webbrowser
from pathlib import Path

import click

from ergo.cli.library import library_option
from ergo.cli.printing import remark, say

SERVE_EXAMPLE = """
\b
Example:
  ergo serve --demo
"""


@click.command(epilog=SERVE_EXAMPLE)
@library_option
@click.option(
    "--port",
    default=0,
    type=click.IntRange(0, 65535),
    help="Port on this machine; 0 takes a free one.  [default: 0]",
)
@click.option("--no-browser", is_flag=True, help="Only print the address.")
@click.option("--demo", is_flag=True, help="Show the invented sample session in a library apart.")
def serve(library: Path | None, port: int, no_browser: bool, demo: bool) -> None:
    """Look through sessions, correct them and read the result in the browser.

    Prints the address to open. Nobody else can open it, and nothing leaves this
    machine.
    """
    from ergo.library.place import user_library
    from ergo.web.demo import clear_left_behind, demo_library
    from ergo.web.serve import serve as serve_page

    def say_and_open(address: str) -> None:
        say(address)
        if not no_browser:
            threading.Timer(0.5, webbrowser.open, (address,)).start()

    clear_left_behind()
    if demo:
        remark("Preparing the sample session; this may take a minute.")
        with demo_library() as (folder, session):
            serve_page(folder, port, say_and_open, None, f"/sessions/{session}")
    else:
        database_url = os.environ.get("ERGO_DATABASE_URL")
        serve_page(library or user_library(), port, say_and_open, database_url)
