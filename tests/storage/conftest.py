"""A real PostgreSQL server for the tests, on a loopback port, and libraries on both databases."""

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

from ergo.library.library import open_library
from tests.storage.small_session import write_small_session


def _binary(name: str) -> Path:
    beside = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    found = beside[-1] if beside else shutil.which(name)
    if not found:
        pytest.fail("PostgreSQL is missing; `bash .ci/setup test` installs it.")
    return Path(found)


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture(scope="session")
def postgres_url() -> Iterator[str]:
    """Start a server as a user without rights; give its address; stop it."""
    folder = Path(tempfile.mkdtemp(prefix="ergo-postgres-"))
    user = None
    if os.getuid() == 0:  # the server refuses to run as root
        user = "postgres"
        os.chown(folder, pwd.getpwnam(user).pw_uid, -1)
    port = _free_port()
    where = {"user": user, "cwd": folder, "stdout": subprocess.DEVNULL}
    initdb = [_binary("initdb"), "-D", folder / "db", "-U", "school", "-A", "trust", "--no-sync"]
    subprocess.run([*initdb, "-E", "UTF8", "--no-locale"], check=True, **where)
    options = ["-h", "127.0.0.1", "-p", str(port), "-k", folder, "-F"]
    command = [_binary("postgres"), "-D", folder / "db", *options]
    with (folder.with_suffix(".log")).open("w") as log:
        server = subprocess.Popen(command, stderr=log, **where)
    try:
        ready = [_binary("pg_isready"), "-h", "127.0.0.1", "-p", str(port), "-t", "30"]
        for _ in range(200):
            if subprocess.run(ready, **where, check=False).returncode == 0:
                break
        yield f"postgresql://school@127.0.0.1:{port}/postgres"
    finally:
        server.terminate()
        server.wait(20)
        shutil.rmtree(folder, ignore_errors=True)
        folder.with_suffix(".log").unlink()


@pytest.fixture
def empty_server(postgres_url):
    """Return the address of a server whose database is empty."""
    engine = create_engine(postgres_url.replace("postgresql:", "postgresql+psycopg:"))
    with engine.begin() as connection:
        connection.execute(text("DROP SCHEMA public CASCADE"))
        connection.execute(text("CREATE SCHEMA public"))
    engine.dispose()
    return postgres_url


@pytest.fixture(scope="session")
def small_session(tmp_path_factory) -> Path:
    return write_small_session(tmp_path_factory.mktemp("made") / "monday")


@pytest.fixture(params=["sqlite", "postgresql"])
def library(request, tmp_path):
    """An empty library, once on SQLite and once on PostgreSQL."""
    url = request.getfixturevalue("empty_server") if request.param == "postgresql" else None
    with open_library(tmp_path / "library", url) as opened:
        yield opened
