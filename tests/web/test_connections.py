"""Connections that get nowhere are closed, and others are answered meanwhile."""

import asyncio
import contextlib
import socket
import threading
import time
from pathlib import Path

import pytest
import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import FileResponse, PlainTextResponse, Response
from starlette.routing import Route

from ergo.web import connections, guard, serve
from ergo.web.connections import Connection
from ergo.web.guard import Guard, Keys

PATIENCE_S = 60
BODY_HEAD = "POST / HTTP/1.1\r\ncontent-length: 1000\r\ncontent-type: application/json\r\n"


async def taken(request: Request) -> Response:
    return PlainTextResponse(str(len(await request.body())))


async def late(_):
    await asyncio.sleep(guard.BODY_S + 0.5)
    return FileResponse(__file__)


@pytest.fixture
def page(monkeypatch):
    """Port and cookie of a small page behind our guard, with little patience."""
    monkeypatch.setattr(connections, "HEAD_S", 2.0)
    monkeypatch.setattr(guard, "BODY_S", 2.0)
    keys = Keys()
    app = Guard(
        Starlette(routes=[Route("/", taken, methods=["GET", "POST"]), Route("/late", late)]), keys
    )
    listener = socket.create_server(("127.0.0.1", 0))
    config = uvicorn.Config(app, http=Connection, lifespan="off", log_level="critical", ws="none")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
    thread.start()
    port = listener.getsockname()[1]
    yield (
        port,
        f"host: 127.0.0.1:{port}\r\norigin: http://127.0.0.1:{port}\r\n"
        f"cookie: ergo-{port}={keys.cookie}\r\n",
    )
    server.should_exit = True
    thread.join()


def connected(port):
    return socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S)


def drip(connection, text):
    """Send one byte after the other until the other side has had enough; return what it said."""
    connection.settimeout(0.05)
    said = b""
    end = time.monotonic() + PATIENCE_S
    for byte in text:
        try:
            connection.sendall(bytes([byte]))
            with contextlib.suppress(TimeoutError):
                if not (part := connection.recv(4096)):
                    return said
                said += part
        except OSError:
            return said
        assert time.monotonic() < end
    raise AssertionError("all was taken")


def test_who_says_nothing_is_dropped(page):
    port, _ = page
    silent = [connected(port) for _ in range(40)]
    for each in silent:
        with each, contextlib.suppress(ConnectionResetError):
            assert each.recv(1) == b""


def test_who_never_ends_a_head_is_dropped_and_others_are_answered(page):
    port, ours = page
    with connected(port) as slow, connected(port) as quick:
        slow.sendall(b"GET / HTTP/1.1\r\n")
        quick.sendall(f"GET / HTTP/1.1\r\n{ours}\r\n".encode())
        assert b"200 OK" in quick.recv(4096)
        assert b"200 OK" not in drip(slow, b"x: " + b"y" * 5000)


def test_who_never_ends_a_second_head_is_dropped_too(page):
    port, ours = page
    with connected(port) as connection:
        connection.sendall(f"GET / HTTP/1.1\r\n{ours}\r\n".encode())
        assert b"200 OK" in connection.recv(4096)
        assert b"200 OK" not in drip(connection, b"GET / HTTP/1.1\r\nx: " + b"y" * 5000)


def test_a_body_that_never_ends_is_answered_with_408(page):
    port, ours = page
    with connected(port) as connection:
        connection.sendall(f"{BODY_HEAD}{ours}\r\n".encode())
        assert b" 408 " in drip(connection, b" " * 900)


def test_what_takes_long_to_be_made_is_sent_whole(page):
    """Whoever sends a file asks for the request's body only then, to hear of who leaves."""
    port, ours = page
    with connected(port) as connection:
        connection.sendall(f"GET /late HTTP/1.1\r\n{ours}connection: close\r\n\r\n".encode())
        answer = b""
        while part := connection.recv(65536):
            answer += part
    assert b"200 OK" in answer
    assert answer.partition(b"\r\n\r\n")[2] == Path(__file__).read_bytes()


def test_a_body_in_pieces_is_taken(page):
    port, ours = page
    with connected(port) as connection:
        connection.sendall(f"{BODY_HEAD}{ours}\r\n".encode())
        connection.sendall(b" " * 500)
        connection.sendall(b" " * 500)
        answer = connection.recv(4096)
        while b"1000" not in answer.partition(b"\r\n\r\n")[2]:
            answer += connection.recv(4096)
        assert b"200 OK" in answer


def test_the_page_is_served_with_such_connections(monkeypatch, tmp_path):
    configs = []

    def run(self, sockets):
        configs.append(self.config)
        sockets[0].close()

    monkeypatch.setattr(serve.uvicorn.Server, "run", run)
    serve.serve(tmp_path / "library", 0, lambda _: None)
    assert [config.http for config in configs] == [Connection]
