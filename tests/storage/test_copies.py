"""What is deleted is gone: no byte of it is left in the library's folder."""

import json
import os
import random
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from ergo.alone import alone
from ergo.app.analyse import evaluate_session
from ergo.errors import LibraryError, OutputError
from ergo.library import library as library_module
from ergo.library import stored_copies
from ergo.library.entry import Profile
from ergo.library.library import open_library
from ergo.library.schema import StillRemembered
from ergo.library.stored_copies import clear_alone, clear_made, what_lies
from ergo.storage.session_folder import read_session, write_session
from tests.storage.small_session import write_small_session

NAME, TAG = "Wednesday with crown", "third chair"
PICTURE = os.urandom(64 * 1024)
"""Bytes of a picture that are nowhere else."""


def sent(library: Path, number: int, content: bytes) -> Path:
    """A recording as the page puts it into the library's folder."""
    place = library / "recordings" / f"{number:032x}"
    place.mkdir(parents=True)
    (place / "upload.json").write_text(json.dumps([{"name": f"{NAME}.mp4", "path": "001.mp4"}]))
    (place / "001.mp4").write_bytes(content)
    return place / "001.mp4"


def session_of(folder: Path, recording: Path) -> Path:
    stored = read_session(write_small_session(folder))
    facts = replace(stored.recording.sources[0], path=recording)
    seen = replace(stored.recording, sources=(facts,))
    write_session(evaluate_session(seen, stored.notes), folder)
    (folder / "report.html").write_bytes(b"<img>" + PICTURE)
    return folder


def job(library: Path, name: str, **facts) -> Path:
    (library / "analyses").mkdir(exist_ok=True)
    path = library / "analyses" / f"{name}.json"
    path.write_text(json.dumps({"id": name, "name": NAME, "tags": [TAG], "inputs": [], **facts}))
    return path


@pytest.fixture
def full(library, tmp_path):
    """A library in which a session has left a copy everywhere; and another one."""
    place = library.folder
    recording = sent(place, 1, PICTURE)
    entry = library.add(session_of(tmp_path / "s", recording), NAME, tags=[TAG])
    library.add(write_small_session(tmp_path / "other"), "kept", tags=["first chair"])
    (entry.folder / "choices" / "k").mkdir(parents=True)
    (entry.folder / "choices" / "k" / "session.json").write_text(f'{{"of": "{entry.id}"}}')
    for made in ("report-1", "clip-2", ".report-3.unfinished"):
        (place / "made" / made).mkdir(parents=True)
        (place / "made" / made / "report.html").write_text(f"{NAME} {entry.id}")
    job(place, "a" * 32, session=entry.id, inputs=[str(recording)], state="done")
    job(place, "b" * 32, replaces=entry.id, inputs=[str(entry.folder)], state="failed")
    out = place / "analyses" / f"{'b' * 32}.out"
    out.mkdir()
    (out / "report.html").write_bytes(PICTURE)
    library.rename(NAME, f"{NAME} 2")
    library.rename(f"{NAME} 2", NAME)
    return entry


def traces(folder: Path, *words: bytes) -> list[str]:
    """Return where any of these bytes stand in names or content of a folder's files."""
    return sorted(
        str(path.relative_to(folder))
        for path in folder.rglob("*")
        for word in words
        if word in os.fsencode(path.name) or (path.is_file() and word in path.read_bytes())
    )


def of(entry) -> tuple[bytes, ...]:
    return (NAME.encode(), TAG.encode(), entry.id.encode(), PICTURE[:64], PICTURE[-64:])


def test_nothing_of_a_deleted_session_is_left_in_the_librarys_folder(library, full):
    assert len(traces(library.folder, *of(full))) > 8
    library.delete(NAME)
    assert traces(library.folder, *of(full)) == []
    assert [entry.name for entry in library.entries()] == ["kept"]
    assert read_session(library.entry("kept").folder).recording.sources[0].name == "a.mp4"


ON_FILE = pytest.mark.parametrize("library", ["sqlite"], indirect=True)
"""What a server of a school does by itself."""


@ON_FILE
def test_a_page_that_has_the_library_open_does_not_keep_it_in_the_log(library, full):
    with open_library(library.folder) as page:
        assert len(page.entries()) == 2
        library.delete(NAME)
        assert traces(library.folder, *of(full)) == []
        assert [entry.name for entry in page.entries()] == ["kept"]


def test_a_recording_that_another_session_was_made_of_stays(library, full, tmp_path):
    recording = library.folder / "recordings" / f"{1:032x}" / "001.mp4"
    library.add(session_of(tmp_path / "again", recording), "second look")
    library.delete(NAME)
    assert recording.read_bytes() == PICTURE
    library.delete("second look")
    assert not recording.exists()


def test_recordings_beside_the_library_are_the_users_and_stay(library, tmp_path):
    own = tmp_path / "films" / "a.mp4"
    own.parent.mkdir()
    own.write_bytes(PICTURE)
    library.add(session_of(tmp_path / "s", own), NAME)
    library.delete(NAME)
    assert own.read_bytes() == PICTURE


def test_an_addition_that_fails_takes_no_recording_along(library, tmp_path, monkeypatch):
    recording = sent(library.folder, 7, PICTURE)
    source = session_of(tmp_path / "s", recording)

    def full_disk(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(library_module, "copy_in", full_disk)
    with pytest.raises(LibraryError, match="No space left"):
        library.add(source, NAME)
    assert recording.read_bytes() == PICTURE


@ON_FILE
def test_a_deleted_profile_leaves_no_trace_of_the_pseudonym(library):
    library.save_profile(Profile("Pseudonym of one", "left", 171.5))
    library.save_profile(Profile("Other", "right"))
    assert traces(library.folder, b"Pseudonym of one")
    library.delete_profile("Pseudonym of one")
    assert traces(library.folder, b"Pseudonym of one") == []
    assert library.profiles() == [Profile("Other", "right")]


@ON_FILE
@pytest.mark.parametrize("step", ["_recordings_of", "clear_made", "remove_folder"])
def test_a_deletion_that_is_killed_is_finished_when_the_library_is_next_opened(
    full, library, monkeypatch, step
):
    class Killed(BaseException):
        pass

    def killed(*_):
        raise Killed

    with monkeypatch.context() as patched:
        patched.setattr(stored_copies, step, killed)
        with pytest.raises(Killed):
            library.delete(NAME)
    assert traces(library.folder, *of(full)) != []
    with open_library(library.folder) as again:
        assert [entry.name for entry in again.entries()] == ["kept"]
    assert traces(library.folder, *of(full)) == []


@ON_FILE
def test_what_the_database_could_not_forget_is_said_and_forgotten_later(full, library, monkeypatch):
    engine = open_library(library.folder).engine  # another program that reads for long
    with monkeypatch.context() as patched:
        patched.setattr("ergo.library.schema._file_forgets", lambda _: False)
        with pytest.raises(StillRemembered, match="deleted, but traces of the name may remain"):
            library.delete(NAME)
    engine.dispose()
    assert [entry.name for entry in library.entries()] == ["kept"]
    open_library(library.folder).engine.dispose()
    assert traces(library.folder, *of(full)) == []
    assert list((library.folder / "changing").iterdir()) == []


def test_a_damaged_session_and_a_damaged_analysis_can_be_deleted(library, full):
    (full.folder / "session.json").write_bytes(b"\xff{")
    (library.folder / "analyses" / f"{'b' * 32}.json").write_text("[" * 10_000)
    library.delete(NAME)
    assert not full.folder.exists()
    assert not (library.folder / "recordings" / f"{1:032x}").exists()


def test_what_lies_on_the_disk_adds_up_and_names_recordings_without_a_session(library, full):
    place = library.folder
    sent(place, 2, b"x" * 1000)
    job(place, "c" * 32, inputs=[str(sent(place, 3, b"y" * 300))], state="failed")
    lies = what_lies(place)
    assert lies.total == stored_copies.size_of(place)
    assert lies.sessions.keys() == {full.id, library.entry("kept").id}
    assert lies.sessions[full.id] > 2 * len(PICTURE)
    names = len(json.dumps([{"name": f"{NAME}.mp4", "path": "001.mp4"}]))
    assert lies.alone == {f"{2:032x}": 1000 + names}
    assert lies.waiting == 300 + names
    assert lies.made > 0
    assert lies.free > 0
    clear_alone(place)
    clear_made(place)
    after = what_lies(place)
    assert (after.alone, after.made, after.waiting) == ({}, 0, lies.waiting)
    assert after.sessions == lies.sessions


def test_what_is_being_made_is_not_cleared_away(tmp_path):
    place = tmp_path / "made" / ".report-1.unfinished"
    (place / "fresh").mkdir(parents=True)
    with alone(place / "lock", OutputError("")):
        clear_made(tmp_path)
        assert (place / "fresh").is_dir()
    (place / "lock").touch()  # as a killed program leaves it
    clear_made(tmp_path)
    assert not place.exists()


def ergo(*arguments, answer=None):
    command = [sys.executable, "-m", "ergo", *map(str, arguments)]
    return subprocess.run(command, input=answer, capture_output=True, text=True, check=False)


@ON_FILE
def test_the_command_line_says_what_lies_there_and_clears_after_a_question(library, full):
    where = ("--library", library.folder)
    sent(library.folder, 2, b"x" * 5_000_000)
    said = ergo("sessions", "disk", *where)
    assert (said.returncode, said.stderr) == (0, "")
    assert f"   5.0 MB  recording without a session ({2:032x})" in said.stdout
    assert NAME in said.stdout
    told = json.loads(ergo("sessions", "disk", "--json", *where).stdout)
    assert told["sessions"].keys() == {NAME, "kept"}
    assert told["total"] == stored_copies.size_of(library.folder)
    refused = ergo("sessions", "clear", *where, answer="n\n")
    assert refused.returncode == 130
    assert "(1, 5.0 MB)" in refused.stderr
    assert what_lies(library.folder).alone
    assert ergo("sessions", "clear", "--yes", *where).returncode == 0
    lies = what_lies(library.folder)
    assert (lies.alone, lies.made) == ({}, 0)
    with alone(library.folder / "page.lock", OutputError("")):
        busy = ergo("sessions", "clear", "--yes", *where)
    assert busy.returncode == 3
    assert "is open in another `ergo serve`" in busy.stderr


DELETES = """
import sys
import time
from pathlib import Path
from ergo.library.library import open_library
with open_library(Path(sys.argv[1])) as library:
    print("go", flush=True)
    for name in sys.argv[2:]:
        library.delete(name)
print("done", flush=True)
"""


def test_a_deletion_killed_at_any_moment_leaves_a_session_whole_or_nothing_of_it(tmp_path):
    """The library is closed while its bytes are read: that gives up SQLite's locks (POSIX)."""
    place, names, kept = tmp_path / "library", [f"{NAME} {number}" for number in range(12)], {}
    with open_library(place) as library:
        for number, name in enumerate(names):
            recording = sent(place, 100 + number, PICTURE + name.encode())
            entry = library.add(session_of(tmp_path / str(number), recording), name)
            job(place, f"{number:032x}", session=entry.id, inputs=[str(recording)])
            kept[name] = entry
    chance, left = random.Random(4), set(names)
    for _ in range(10):
        with (
            open_library(place) as page,
            subprocess.Popen(
                [sys.executable, "-c", DELETES, place, *sorted(left)[:2]],
                stdout=subprocess.PIPE,
                text=True,
            ) as other,
        ):
            assert other.stdout.readline() == "go\n"
            time.sleep(chance.uniform(0, 0.06))
            other.kill()
            other.wait()
            open_library(place).engine.dispose()
            left = {entry.name for entry in page.entries()}
        for name, entry in kept.items():
            recording = place / "recordings" / f"{100 + names.index(name):032x}"
            if name in left:
                assert (entry.folder / "report.html").read_bytes() == b"<img>" + PICTURE
                assert (recording / "001.mp4").read_bytes() == PICTURE + name.encode()
            else:
                assert traces(place, entry.id.encode(), recording.name.encode()) == []
        assert list((place / "changing").iterdir()) == []
    assert len(left) < len(names)
