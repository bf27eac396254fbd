"""Decode while the pictures before are still being looked at."""

import queue
import threading
from collections.abc import Generator, Iterable, Iterator
from dataclasses import dataclass

from ergo.frames.frame import Frame

_LOOK_UP_S = 0.1  # how often a waiting reader checks whether it is still wanted


@dataclass(frozen=True, slots=True)
class _End:
    """Stands in the queue behind the last picture."""

    error: BaseException | None


def read_ahead(source: Iterable[Frame], depth: int = 4) -> Iterator[Frame]:
    """Yield the pictures of a source, decoded ahead by a thread of their own.

    Parameters
    ----------
    source : iterable of Frame
    depth : int
        Pictures that may wait; bounds the memory.

    Yields
    ------
    Frame
        In the order of the source. An error of the source is raised here, after
        the pictures before it. Stopping early ends the thread.
    """
    waiting: queue.Queue[Frame | _End] = queue.Queue(depth)
    is_over = threading.Event()
    reader = threading.Thread(target=_read, args=(source, waiting, is_over), daemon=True)
    reader.start()
    try:
        while not isinstance(item := waiting.get(), _End):
            yield item
        if item.error is not None:
            raise item.error
    finally:
        is_over.set()
        reader.join()


def _read(
    source: Iterable[Frame], waiting: "queue.Queue[Frame | _End]", is_over: threading.Event
) -> None:
    error: BaseException | None = None
    try:
        frames = iter(source)
        try:
            for frame in frames:
                if not _put(frame, waiting, is_over):
                    break
        finally:
            if isinstance(frames, Generator):
                frames.close()
    except BaseException as raised:  # carried over to the consumer
        error = raised
    _put(_End(error), waiting, is_over)


def _put(
    item: Frame | _End, waiting: "queue.Queue[Frame | _End]", is_over: threading.Event
) -> bool:
    """Return whether the item was taken; False when nobody wants it any more."""
    while not is_over.is_set():
        try:
            waiting.put(item, timeout=_LOOK_UP_S)
        except queue.Full:
            continue
        return True
    return False
