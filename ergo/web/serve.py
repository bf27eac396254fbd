"""Start the page on this machine's own address and say where it is."""

import socket
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import uvicorn

from ergo.alone import alone
from ergo.errors import LibraryError, OutputError
from ergo.library.schema import told
from ergo.web.app import create_app
from ergo.web.connections import Connection
from ergo.web.guard import OPENING_PATH, Keys

LOOPBACK = "127.0.0.1"
PATIENCE_S = 2.0
"""For a page that is ending. [s]"""


def serve(
    library_folder: Path,
    port: int,
    say_address: Callable[[str], None],
    database_url: str | None = None,
    home: str = "/",
) -> None:
    """Serve the page until the user stops it.

    Parameters
    ----------
    library_folder : Path
    port : int
        0 = any free one.
    say_address : callable
        Told the opening address, once the page can be opened.
    database_url : str, optional
    home : str
        Path that the opening address leads to.

    Raises
    ------
    OutputError
        If the port is taken.
    LibraryError
        If the library is open in another page already.
    """
    with only_page_of(library_folder):
        _serve(library_folder, port, say_address, database_url, home)


@contextmanager
def only_page_of(library_folder: Path) -> Iterator[None]:
    """Own the queue and what it makes in a library; a second page is refused."""
    refusal = LibraryError(
        "is open in another `ergo serve`.",
        where=f"{library_folder}:",
        remedy="Use the page that is open, or end that program first.",
    )
    with ExitStack() as held:
        with told(library_folder):
            library_folder.mkdir(parents=True, exist_ok=True)
            held.enter_context(alone(library_folder / "page.lock", refusal, patience_s=PATIENCE_S))
        yield


def _serve(
    library_folder: Path,
    port: int,
    say_address: Callable[[str], None],
    database_url: str | None,
    home: str,
) -> None:
    keys = Keys(home=home)
    listener = _listener(port)
    app = create_app(library_folder, keys, database_url)
    address = f"http://{LOOPBACK}:{listener.getsockname()[1]}{OPENING_PATH}?key={keys.secret}"
    config = uvicorn.Config(
        app,
        http=Connection,
        log_level="warning",
        access_log=False,  # an access log would hold the secret
        server_header=False,
        ws="none",
        timeout_graceful_shutdown=3,
    )
    say_address(address)  # the listener takes connections already
    uvicorn.Server(config).run(sockets=[listener])


def _listener(port: int) -> socket.socket:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((LOOPBACK, port))
    except OSError as error:
        listener.close()
        raise OutputError(
            "is used by another program.",
            where=f"Port {port}",
            remedy="Name another one with --port, or 0 for any free one.",
        ) from error
    listener.listen(128)
    return listener
