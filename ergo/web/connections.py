"""Connections that get nowhere are closed: each holds a place that others could use.

How long a body may take is bounded in :mod:`ergo.web.guard`, where it is waited for.
"""

import asyncio

from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_S = 10.0
"""For the head of a request, from the connection or the answer before on. [s]"""
READ_S = 120.0
"""For some of an answer to be read. [s]"""


class Connection(H11Protocol):
    """One connection to the page."""

    _head: asyncio.TimerHandle | None = None
    _reading: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for the head of a request."""
        super().connection_made(transport)
        self._wait_for_head()

    def data_received(self, data: bytes) -> None:
        """Take what has come; a head that has begun must come to its end."""
        super().data_received(data)
        self._wait_for_head()

    def pause_writing(self) -> None:
        """Begin to wait until somebody reads the answer."""
        super().pause_writing()
        self._reading = self.loop.call_later(READ_S, self.transport.abort)

    def resume_writing(self) -> None:
        """Go on with the answer."""
        _stopped(self._reading)
        super().resume_writing()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait for nothing any more."""
        _stopped(self._head)
        _stopped(self._reading)
        super().connection_lost(exc)

    def _wait_for_head(self) -> None:
        if self.cycle is not None and not self.cycle.response_complete:
            _stopped(self._head)
            self._head = None
        elif self._head is None:
            self._head = self.loop.call_later(HEAD_S, self.transport.abort)


def _stopped(timer: asyncio.TimerHandle | None) -> None:
    if timer is not None:
        timer.cancel()
