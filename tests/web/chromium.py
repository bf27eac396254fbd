"""Debian's Chromium, started for the tests of the page."""

import os
from pathlib import Path

import pytest

CHROMIUM = "/usr/bin/chromium"
ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
PATIENCE_MS = 120_000
"""How long a test waits for a state of the page, on a machine however busy."""


def chromium() -> str:
    """Return the path of the browser; without one the test fails, it is not left out."""
    path = os.environ.get("ERGO_CHROMIUM", CHROMIUM)
    if not Path(path).exists():
        pytest.fail("Chromium is missing; `bash .ci/setup test` installs it.")
    return path
