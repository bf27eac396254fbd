"""What a session says of the machine it lies on, and what is believed of one from outside."""

import json
import shutil
import zipfile
from dataclasses import replace

import pytest

from ergo.app.analyse import evaluate_session
from ergo.app.workflow import rescore_session
from ergo.errors import LibraryError, SessionError
from ergo.library.library import open_library
from ergo.notes.notes import Notes
from ergo.storage.session_content import PLACES_FILE
from ergo.storage.session_folder import read_session, write_session
from tests.storage.small_session import write_small_session

USER = "anna-example"


@pytest.fixture
def home(tmp_path):
    """The folder of a user whose name nobody else is to read."""
    return tmp_path / USER


@pytest.fixture
def session(home):
    """A session folder made of a file in the user's folder; the small session's clip is not one."""
    clip = home / "films" / "a.mp4"
    clip.parent.mkdir(parents=True)
    clip.write_bytes(b"the recording itself")
    return with_recording(home / "out" / "monday", clip)


def with_recording(folder, path, content=b"the recording itself"):
    """Write the small session as if it had been made of the file at ``path``."""
    import hashlib

    stored = read_session(write_small_session(folder))
    (facts,) = stored.recording.sources
    facts = replace(facts, path=path, sha256=hashlib.sha256(content).hexdigest())
    recording = replace(stored.recording, sources=(facts,))
    write_session(evaluate_session(recording, stored.notes), folder)
    return folder


def path_of(folder):
    (facts,) = read_session(folder).recording.sources
    return facts.path


def test_session_files_name_no_place_but_in_the_one_file_that_stays_here(session, home):
    assert path_of(session).resolve() == home / "films" / "a.mp4"
    for path in session.rglob("*"):
        assert path.is_dir() or USER.encode() not in path.read_bytes(), path
    assert "films" not in (session / "session.json").read_text()


def test_a_pack_holds_names_only_and_a_session_of_an_earlier_version_too(session, home, tmp_path):
    (session / "choices" / "key").mkdir(parents=True)
    earlier = json.loads((session / "session.json").read_text())
    earlier["sources"][0]["path"] = str(home / "films" / "a.mp4")
    with open_library(home / "library") as library:
        library.add(session, "a")
        folder = library.entry("a").folder
        for place in (folder, folder / "choices" / "key"):
            (place / "session.json").write_text(json.dumps(earlier))
        (folder / ".half.unfinished").write_text(USER)
        library.export("a", tmp_path / "a.zip")
    with zipfile.ZipFile(tmp_path / "a.zip") as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    assert "session/choices/key/session.json" in members
    assert f"session/{PLACES_FILE}" not in members
    assert [name for name, content in members.items() if USER.encode() in content] == []
    assert [name for name in members if "unfinished" in name] == []


def test_the_library_knows_the_recording_from_wherever_it_lies(session, home, tmp_path):
    with open_library(home / "library") as library:
        library.add(session, "a")
    shutil.copytree(home / "library", tmp_path / "elsewhere" / "deep" / "backup")
    with open_library(tmp_path / "elsewhere" / "deep" / "backup") as backup:
        assert path_of(backup.entry("a").folder) == home / "films" / "a.mp4"


def test_a_folder_that_moves_with_its_recordings_finds_them(session, home, tmp_path):
    shutil.move(home, tmp_path / "moved")
    assert path_of(tmp_path / "moved" / "out" / "monday").resolve() == (
        tmp_path / "moved" / "films" / "a.mp4"
    )


def test_places_that_a_pack_states_are_not_believed(session, home, tmp_path):
    victim = tmp_path / "elsewhere" / "a.mp4"
    victim.parent.mkdir()
    victim.write_bytes(b"the recording itself")
    with open_library(home / "library") as library:
        library.add(session, "a")
        library.export("a", tmp_path / "a.zip")
        with zipfile.ZipFile(tmp_path / "a.zip") as archive:
            members = {name: archive.read(name) for name in archive.namelist()}
        described = json.loads(members["session/session.json"])
        described["sources"][0]["path"] = str(victim)
        members["session/session.json"] = json.dumps(described).encode()
        members[f"session/{PLACES_FILE}"] = json.dumps(
            {"schema": 1, "places": [[str(victim)]]}
        ).encode()
        with zipfile.ZipFile(tmp_path / "b.zip", "w") as archive:
            for name, content in members.items():
                archive.writestr(name, content)
        folder = library.import_pack(tmp_path / "b.zip", "b").folder
    assert path_of(folder) != victim
    assert "path" not in json.loads((folder / "session.json").read_text())["sources"][0]
    assert not (folder / PLACES_FILE).exists()


def scored_again(folder):
    """Return what scoring again takes as notes and what it remarks; nothing is drawn."""
    outcome = rescore_session(folder)
    return read_session(folder).notes, outcome.remarks


def test_scoring_again_never_takes_the_notes_of_another_file_of_the_same_name(
    session, home, tmp_path, monkeypatch
):
    other = tmp_path / "working" / "films"
    other.mkdir(parents=True)
    (other / "a.mp4").write_bytes(b"somebody else's recording")
    (other / "a.toml").write_text('handed = "left"\n')
    earlier = json.loads((session / "session.json").read_text())
    earlier["sources"][0]["path"] = "films/a.mp4"  # as earlier versions wrote it
    (session / "session.json").write_text(json.dumps(earlier))
    (session / PLACES_FILE).unlink()
    (home / "films" / "a.toml").write_text("operator_height_cm = 171\n")
    monkeypatch.chdir(tmp_path / "working")
    assert scored_again(session) == ((Notes(operator_height_cm=171),), ())


def test_notes_beside_a_file_that_was_replaced_are_left_and_that_is_said(session, home):
    (home / "films" / "a.mp4").write_bytes(b"another take, same name")
    (home / "films" / "a.toml").write_text('handed = "left"\n')
    notes, remarks = scored_again(session)
    assert notes == (Notes(),)
    assert remarks == (
        "a.mp4: is no longer the file that was analysed. Its notes stay as they were.",
    )


def described_with(session, change):
    described = json.loads((session / "session.json").read_text())
    change(described)
    (session / "session.json").write_text(json.dumps(described))


@pytest.mark.parametrize(
    "change",
    [
        lambda d: d.update(sources=7),
        lambda d: d.update(sources=[]),
        lambda d: d.update(sources=[["a"]]),
        lambda d: d["sources"][0].update(width_px="wide"),
        lambda d: d["sources"][0].update(width_px=0),
        lambda d: d["sources"][0].update(name=None),
        lambda d: d["sources"][0].update(name={}),
        lambda d: d["sources"][0].update(kind="song"),
        lambda d: d["sources"][0].update(path=[1]),
        lambda d: d.update(damage=[1, 2]),
        lambda d: d.update(doubt={"a": 1}),
        lambda d: d.update(skipped={"a": 1}),
        lambda d: d.update(versions="all"),
        lambda d: d.update(edges=[3]),
        lambda d: d.update(edges={"a.mp4": [1, 2, 3]}),
        lambda d: d.update(settings=None),
        lambda d: d["settings"].update(rate_hz="often"),
        lambda d: d.update(notes=None),
        lambda d: d.update(notes=[]),
        lambda d: d.update(notes=["x"]),
        lambda d: d.update(beside=[None]),
        lambda d: d.update(beside=[{"start": 3}]),
        lambda d: d.update(schema=[]),
        lambda d: d.update(schema=1e400),
    ],
)
def test_a_session_file_with_wrong_types_is_one_line(session, change):
    described_with(session, change)
    with pytest.raises(SessionError, match=r"session\.json: is damaged\. Restore"):
        read_session(session)


@pytest.mark.parametrize("text", ["[" * 100_000, '{"schema": ' + "9" * 5000 + "}", "\ud800"])
def test_a_session_file_that_no_reader_takes_is_one_line(session, text):
    (session / "session.json").write_text(text, encoding="utf-8", errors="surrogatepass")
    with pytest.raises(SessionError, match="is damaged"):
        read_session(session)


@pytest.mark.parametrize("text", ["[", "[]", '{"places": 3}', '{"places": [3]}', "[" * 100_000])
def test_a_damaged_file_of_places_is_one_line_with_the_remedy(session, text):
    (session / PLACES_FILE).write_text(text)
    with pytest.raises(SessionError, match=r"places\.json: is damaged\. Remove it"):
        read_session(session)


@pytest.mark.parametrize("method", [1, 9, 12, 14, 97])
def test_a_pack_with_another_compression_method_is_one_line(session, home, tmp_path, method):
    with open_library(home / "library") as library:
        library.add(session, "a")
        library.export("a", tmp_path / "a.zip")
        content = bytearray((tmp_path / "a.zip").read_bytes())
        for mark, at in ((b"PK\x03\x04", 8), (b"PK\x01\x02", 10)):
            begin = -1
            while (begin := content.find(mark, begin + 1)) >= 0:
                content[begin + at : begin + at + 2] = method.to_bytes(2, "little")
        (tmp_path / "b.zip").write_bytes(content)
        with pytest.raises(LibraryError, match="is not a whole export"):
            library.import_pack(tmp_path / "b.zip", "b")
