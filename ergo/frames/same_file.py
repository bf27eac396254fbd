"""Tell whether what lies at a recording's place still is the file that was analysed."""

import hashlib
from functools import lru_cache
from pathlib import Path

from ergo.errors import UnreadableClip, UnreadablePicture
from ergo.frames.frame import SourceFacts


def is_same_file(facts: SourceFacts) -> bool:
    """Return whether a recording lies at its place and has the content that was analysed."""
    try:
        state = facts.path.stat()
        found = _hash(facts.path, state.st_ino, state.st_size, state.st_mtime_ns)
    except (OSError, ValueError):
        return False
    return found == facts.sha256


def check_same_file(facts: SourceFacts) -> None:
    """Refuse another file in the place of a recording; one that is gone is for the decoder to tell.

    Raises
    ------
    UnreadablePicture, UnreadableClip
    """
    if facts.path.is_file() and not is_same_file(facts):
        kind = UnreadableClip if facts.kind == "clip" else UnreadablePicture
        raise kind(
            "is no longer the file that was analysed.",
            where=f"{facts.name}:",
            remedy="Put the recording back to its place.",
        )


@lru_cache(maxsize=1024)
def _hash(path: Path, _inode: int, _size: int, _changed_ns: int) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
