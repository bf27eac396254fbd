"""One program at a time: a lock that the system itself takes from a program that ended.

There is nothing to clean up after a kill or a power cut: the file of a lock may stay,
and means nothing unless a living program holds it.
"""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from filelock import FileLock, Timeout

from ergo.errors import ErgoError


@contextmanager
def alone(lock: Path, refusal: ErgoError, *, patience_s: float = 0.0) -> Iterator[None]:
    """Hold a lock; the program that comes second is refused.

    Parameters
    ----------
    lock : Path
        A file for the lock alone, in a folder that exists; removed at the end.
    refusal : ErgoError
        Raised if another program holds it for longer than ``patience_s``. [s]
    """
    with if_alone(lock, patience_s=patience_s) as is_ours:
        if not is_ours:
            raise refusal
        yield


@contextmanager
def if_alone(lock: Path, *, patience_s: float = 0.0) -> Iterator[bool]:
    """Hold a lock if no other program does, and say whether."""
    held = FileLock(lock)
    try:
        held.acquire(timeout=patience_s)
    except Timeout:
        yield False
        return
    try:
        yield True
    finally:
        if os.name != "nt":
            with suppress(OSError):
                lock.unlink()  # while it is ours: who waits for it sees that it is gone
        held.release()
        if os.name == "nt":
            with suppress(OSError):
                lock.unlink()  # fails if it is somebody else's by now
