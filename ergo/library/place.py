"""Where the user's own library lies."""

import os
from pathlib import Path

from platformdirs import user_data_path

from ergo.library.library import Library, open_library


def user_library() -> Path:
    """Return the folder of the user's library: ERGO_LIBRARY, or the system's usual place."""
    stated = os.environ.get("ERGO_LIBRARY")
    return Path(stated) if stated else user_data_path("ergo", appauthor=False) / "library"


def open_user_library(folder: Path | None = None) -> Library:
    """Open the library in ``folder`` or the user's own; ERGO_DATABASE_URL names a server."""
    return open_library(folder or user_library(), os.environ.get("ERGO_DATABASE_URL"))
