"""Reading ahead: same pictures, bounded, errors carried over, closes cleanly."""

import threading
import time

import numpy as np
import pytest

from ergo.errors import UnreadableClip
from ergo.frames.frame import Frame
from ergo.frames.read_ahead import read_ahead

PATIENCE_S = 120.0
"""How long a busy machine may take; no test waits longer than it has to."""


class Counting:
    """A source that remembers how far it was read and whether it was closed."""

    def __init__(self, length, error=None):
        self.length, self.error = length, error
        self.given = 0
        self.is_closed = False

    def __iter__(self):
        try:
            for number in range(self.length):
                self.given += 1
                yield Frame(np.zeros((1, 1, 3), np.uint8), float(number), number)
            if self.error:
                raise self.error
        finally:
            self.is_closed = True


def test_the_pictures_come_in_their_order():
    assert [frame.number for frame in read_ahead(Counting(20))] == list(range(20))


def test_an_empty_source_gives_nothing():
    assert list(read_ahead(Counting(0))) == []


def test_an_error_comes_after_the_pictures_before_it():
    seen = []
    with pytest.raises(UnreadableClip, match="gone"):
        seen.extend(frame.number for frame in read_ahead(Counting(3, UnreadableClip("gone"))))
    reading = read_ahead(Counting(3, UnreadableClip("gone")))
    assert [next(reading).number for _ in range(3)] == [0, 1, 2]
    with pytest.raises(UnreadableClip, match="gone"):
        next(reading)


def test_no_more_than_the_depth_is_read_ahead():
    source = Counting(1000)
    reading = read_ahead(source, depth=3)
    next(reading)
    time.sleep(0.2)
    assert source.given <= 1 + 3 + 1  # taken, waiting, in hand
    reading.close()


def test_reading_goes_on_while_the_consumer_is_busy():
    source = Counting(3)
    reading = read_ahead(source, depth=4)
    next(reading)
    deadline = time.monotonic() + PATIENCE_S
    while not source.is_closed and time.monotonic() < deadline:
        time.sleep(0.01)
    assert source.is_closed
    reading.close()


def test_stopping_early_closes_the_source_and_ends_the_thread():
    source = Counting(1000)
    before = threading.active_count()
    reading = read_ahead(source, depth=2)
    next(reading)
    reading.close()
    assert source.is_closed
    assert threading.active_count() == before
