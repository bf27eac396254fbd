"""The report as PDF, set by WeasyPrint from the same template; no browser, no network.

It is set in a process of its own, ``python -m ergo.views.pdf``: that loads its libraries
while figures are still drawn, and sets the report while the page is still put together.
It reads HTML from its standard input to the end and writes the PDF to its standard output.
"""

import logging
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from ergo.errors import MissingLibrary, OutputError


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
    OutputError
        If the file cannot be written.
    """
    with _other_process() as process:
        assert process.stdin is not None
        assert process.stdout is not None
        page = process.stdin

        def set_html(html: str) -> None:
            page.write(html.encode("utf-8"))
            page.close()

        try:
            yield set_html
        except BaseException:
            process.kill()
            raise
        pdf = process.stdout.read()
    if process.returncode == MissingLibrary.exit_code:
        raise MissingLibrary(
            "cannot be loaded.",
            where="Pango (needed for report.pdf)",
            remedy="On Debian: apt-get install libpango-1.0-0 libpangoft2-1.0-0.",
        )
    if process.returncode:
        raise RuntimeError(f"typesetting ended with {process.returncode}")
    try:
        path.write_bytes(pdf)
    except OSError as error:
        raise OutputError("cannot be written.", where=str(path)) from error


def _other_process() -> subprocess.Popen[bytes]:
    """Start the other process where Python finds what it finds here."""
    return subprocess.Popen(
        [sys.executable, "-P", "-m", __name__],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        start_new_session=True,  # Ctrl-C is for us
    )


def main() -> int:
    """Set the page on standard input and return the exit code."""
    with os.fdopen(os.dup(1), "wb") as listener:
        os.dup2(2, 1)  # whatever else is printed is not for the listener
        try:
            set_page = _loaded()
        except OSError:  # Pango is a system library
            sys.stdin.buffer.read()
            return MissingLibrary.exit_code
        html = sys.stdin.buffer.read().decode("utf-8")
        if html:  # else the report was given up
            listener.write(set_page(html))
    return 0


def _loaded() -> Callable[[str], bytes]:
    from weasyprint import HTML
    from weasyprint.urls import URLFetcher

    for name in ("weasyprint", "fontTools"):
        logging.getLogger(name).setLevel(logging.CRITICAL)

    def set_page(html: str) -> bytes:
        fetcher = URLFetcher(allowed_protocols=("data",))
        document: Any = HTML(string=html, url_fetcher=fetcher)
        pdf: bytes = document.write_pdf()
        return pdf

    return set_page


if __name__ == "__main__":
    sys.exit(main())
