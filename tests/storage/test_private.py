"""Other users of the machine read nothing of a library."""

import os
import subprocess
import sys

import pytest

from ergo.library.library import open_library

pytestmark = pytest.mark.skipif(os.name == "nt", reason="permissions of this kind are Unix'")


def open_to_others(folder):
    """Return what anybody but the owner may do anything with."""
    return sorted(
        str(path.relative_to(folder.parent))
        for path in (folder, *folder.rglob("*"))
        if path.stat().st_mode & 0o077
    )


def run(*arguments, umask=0o022):
    command = [sys.executable, "-m", "ergo", *map(str, arguments)]
    return subprocess.run(command, umask=umask, capture_output=True, text=True, check=True)


def test_what_the_command_line_adds_is_the_users_alone(small_session, tmp_path):
    library = tmp_path / "library"
    run("sessions", "add", small_session, "--name", "a", "--library", library, umask=0)
    run("sessions", "export", "a", "--out", tmp_path / "a.zip", "--library", library)
    assert open_to_others(library) == []
    assert (tmp_path / "a.zip").stat().st_mode & 0o777 == 0o600
    (folder,) = (library / "sessions").iterdir()
    assert folder.stat().st_mode & 0o777 == 0o700
    assert (folder / "session.json").stat().st_mode & 0o777 == 0o600


@pytest.fixture
def earlier(small_session, tmp_path):
    """A library as earlier versions left it: everybody may read it."""
    place = tmp_path / "library"
    with open_library(place) as library:
        library.add(small_session, "a")
    for path in (place, *place.rglob("*")):
        path.chmod(0o755 if path.is_dir() else 0o644)
    return place


def test_a_library_of_an_earlier_version_is_closed_when_it_is_opened(earlier):
    (earlier / ".hidden").touch(mode=0o600)
    open_library(earlier).engine.dispose()
    assert open_to_others(earlier) == []


def test_what_is_not_the_librarys_is_left_alone(earlier):
    (earlier / "holiday").mkdir()
    (earlier / "holiday").chmod(0o755)
    (earlier / "holiday" / "a.jpg").write_bytes(b"x")
    (earlier / "holiday" / "a.jpg").chmod(0o644)
    open_library(earlier).engine.dispose()
    assert open_to_others(earlier) == ["library", "library/holiday", "library/holiday/a.jpg"]


def test_a_school_that_shares_a_server_keeps_its_group(empty_server, tmp_path):
    place = tmp_path / "library"
    place.mkdir()
    place.chmod(0o2775)
    open_library(place, empty_server).engine.dispose()
    assert place.stat().st_mode & 0o7777 == 0o2770
