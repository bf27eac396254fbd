"""The report as PDF, set by WeasyPrint from the same template; no browser, no network.

It is set by a child (:mod:`ergo.child_process`), ``python -m ergo.report.pdf``: that loads its
libraries while figures are still drawn, and sets the report while the page is still put together.
"""

import base64
import logging
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from ergo.child_process import Limits, Talk, Task, child, run_child
from ergo.errors import MissingLibrary, OutputError

_TASK = Task("Setting the PDF", "Close other programs, then repeat the command.")


def write_pdf(html: str, path: Path) -> None:
    """Set a report and write it; anything that is not inside the text is refused."""
    with typesetting(path) as set_html:
        set_html(html)


@contextmanager
def typesetting(path: Path) -> Iterator[Callable[[str], None]]:
    """Begin a PDF: the block is to give its HTML to what it gets, and writes it when left.

    Raises
    ------
    MissingLibrary
        If Pango is not installed.
    EndedBySystem
        If the system ended the other process.
    OutputError
        If the file cannot be written.
    """
    with child(__name__, task=_TASK) as process:
        yield process.tell
        pdf = b"".join(base64.b64decode(said["pdf"]) for said in process.heard())
    try:
        path.write_bytes(pdf)
    except OSError as error:
        raise OutputError("cannot be written.", where=str(path)) from error


def _set(talk: Talk) -> None:
    """Load the libraries, hear the page and say its PDF."""
    set_page = _loaded()
    talk.say({"pdf": base64.b64encode(set_page(talk.hear())).decode()})


def _loaded() -> Callable[[str], bytes]:
    try:
        from weasyprint import HTML
        from weasyprint.urls import URLFetcher
    except OSError as error:  # Pango is a system library
        raise MissingLibrary(
            "cannot be loaded.",
            where="Pango (needed for report.pdf)",
            remedy="On Debian: apt-get install libpango-1.0-0 libpangoft2-1.0-0.",
        ) from error

    for name in ("weasyprint", "fontTools"):
        logging.getLogger(name).setLevel(logging.CRITICAL)

    def set_page(html: str) -> bytes:
        fetcher = URLFetcher(allowed_protocols=("data",))
        document: Any = HTML(string=html, url_fetcher=fetcher)
        pdf: bytes = document.write_pdf()
        return pdf

    return set_page


if __name__ == "__main__":
    sys.exit(run_child(_set, Limits()))
