"""The report as PDF, set by WeasyPrint from the same template; no browser, no network."""

import logging
from pathlib import Path

from ergo.errors import MissingLibrary, OutputError


def write_pdf(html: str, path: Path) -> None:
    """Set the report and write it; anything that is not inside the text is refused."""
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
    document = HTML(string=html, url_fetcher=URLFetcher(allowed_protocols=("data",)))
    try:
        document.write_pdf(path)
    except OSError as error:
        raise OutputError("cannot be written.", where=str(path)) from error
