"""The library keeps what it was given, on SQLite and on PostgreSQL."""

import json
import shutil
import zipfile
from dataclasses import replace
from datetime import date

import pytest

from ergo.app.workflow import load_session
from ergo.errors import InputError, LibraryError, SessionError
from ergo.library.entry import Profile
from ergo.notes.notes import Notes
from ergo.storage.session_content import PLACES_FILE
from ergo.storage.session_folder import write_session


def files_of(folder):
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.name != PLACES_FILE  # which differs by place
    }


def test_a_session_is_kept_whole_with_all_that_was_stated(library, small_session):
    library.add(
        small_session,
        "before",
        tags=["room 1", "scaling"],
        operator="KF",
        recorded_on=date(2026, 3, 4),
    )
    entry = library.entry("before")
    assert (entry.tags, entry.operator) == (("room 1", "scaling"), "KF")
    assert entry.recorded_on == date(2026, 3, 4)
    assert files_of(entry.folder) == files_of(small_session)


def test_a_session_that_is_not_named_has_the_name_of_its_folder(library, small_session):
    assert library.add(small_session).name == "monday"


def test_sessions_are_listed_by_day_of_recording_and_name_those_without_a_day_last(
    library, small_session
):
    library.add(small_session, "c", recorded_on=date(2026, 5, 1))
    library.add(small_session, "b")
    library.add(small_session, "a")
    library.add(small_session, "d", recorded_on=date(2026, 4, 1))
    assert [entry.name for entry in library.entries()] == ["d", "c", "a", "b"]


def test_sessions_are_found_by_tag_and_by_operator(library, small_session):
    library.add(small_session, "a", tags=["x", "y"], operator="KF")
    library.add(small_session, "b", tags=["y"], operator="RO")
    assert [entry.name for entry in library.entries(tag="y")] == ["a", "b"]
    assert [entry.name for entry in library.entries(tag="x")] == ["a"]
    assert [entry.name for entry in library.entries(operator="RO")] == ["b"]


def test_a_name_is_given_once(library, small_session):
    library.add(small_session, "a")
    with pytest.raises(LibraryError, match='"a" is the name of another session'):
        library.add(small_session, "a")
    library.add(small_session, "b")
    with pytest.raises(LibraryError, match="another session"):
        library.rename("b", "a")
    assert len(list((library.folder / "sessions").iterdir())) == 2


def test_a_renamed_session_keeps_its_files_and_tags(library, small_session):
    library.add(small_session, "a", tags=["x"])
    library.rename("a", "b")
    assert [(entry.name, entry.tags) for entry in library.entries()] == [("b", ("x",))]
    assert files_of(library.entry("b").folder) == files_of(small_session)


def test_tags_are_added_and_removed(library, small_session):
    library.add(small_session, "a", tags=["x"])
    assert library.tag("a", add=["x", "y"]).tags == ("x", "y")
    assert library.tag("a", remove=["x", "never there"]).tags == ("y",)


def with_notes(folder, **stated):
    """The session of a folder, with other notes, in another folder."""
    session = load_session(folder)
    made = folder.with_name("noted")
    made.mkdir(exist_ok=True)
    write_session(replace(session, notes=(Notes(**stated),)), made)
    return made


def test_a_session_is_of_the_operator_that_its_notes_state(library, small_session, tmp_path):
    shutil.copytree(small_session, tmp_path / "monday")
    noted = with_notes(tmp_path / "monday", pseudonym=" KF ")
    assert library.add(noted, "a").operator == "KF"
    assert library.add(noted, "b", operator="KF").operator == "KF"
    with pytest.raises(LibraryError, match='is of "KF" by its notes, not of "RO"'):
        library.add(noted, "c", operator="RO")
    assert [entry.name for entry in library.entries()] == ["a", "b"]


def test_day_and_operator_can_be_stated_later(library, small_session):
    library.add(small_session, "a")
    library.describe("a", operator="KF")
    entry = library.describe("a", recorded_on=date(2026, 1, 2))
    assert (entry.operator, entry.recorded_on) == ("KF", date(2026, 1, 2))


def test_a_deleted_session_is_gone_with_its_files(library, small_session):
    folder = library.add(small_session, "secret name", tags=["x"]).folder
    library.delete("secret name")
    assert not folder.exists()
    assert library.entries() == []
    with pytest.raises(LibraryError, match="is not the name of a session"):
        library.entry("secret name")


def test_nothing_of_a_deleted_session_is_left_on_disk(library, small_session):
    library.add(small_session, "secret name")
    library.delete("secret name")
    library.engine.dispose()
    left = b"".join(files_of(library.folder).values())
    assert b"secret name" not in left


@pytest.mark.parametrize("name", ["", "  ", "a/b", "a\\b", "a:b", "a\nb", "x" * 81])
def test_a_name_that_cannot_be_typed_again_is_refused(library, small_session, name):
    library.add(small_session, "a")
    with pytest.raises(LibraryError, match="1 to 80 letters"):
        library.rename("a", name)
    with pytest.raises(LibraryError, match="1 to 80 letters"):
        library.tag("a", add=[name])


def test_a_folder_without_a_session_is_refused_and_leaves_nothing(library, tmp_path):
    (tmp_path / "empty").mkdir()
    with pytest.raises(SessionError, match="holds no session"):
        library.add(tmp_path / "empty")
    assert library.entries() == []


def test_a_profile_is_kept(library):
    profile = Profile("KF", "left", 164.0, 38.0)
    library.save_profile(profile)
    assert library.profiles() == [profile]
    library.save_profile(Profile("KF", "right"))
    assert library.profile("KF") == Profile("KF", "right")


def test_an_operator_who_is_deleted_leaves_the_sessions(library, small_session):
    library.add(small_session, "a", operator="KF")
    library.delete_profile("KF")
    assert library.entry("a").operator is None
    assert library.profiles() == []
    with pytest.raises(LibraryError, match="not the pseudonym"):
        library.profile("KF")


def test_an_impossible_profile_is_refused():
    with pytest.raises(InputError, match="stature_cm must lie between 100 and 230, got 17"):
        Profile("KF", stature_cm=17)


def test_an_export_holds_everything_and_comes_back_the_same(library, small_session, tmp_path):
    library.save_profile(Profile("KF", "left", 164.0))
    library.add(small_session, "a", tags=["x"], operator="KF", recorded_on=date(2026, 3, 4))
    library.export("a", tmp_path / "a.zip")
    library.delete("a")
    library.delete_profile("KF")
    again = library.import_pack(tmp_path / "a.zip")
    assert (again.name, again.tags, again.operator) == ("a", ("x",), "KF")
    assert again.recorded_on == date(2026, 3, 4)
    assert library.profile("KF") == Profile("KF", "left", 164.0)
    assert files_of(again.folder) == files_of(small_session)


def test_an_import_does_not_change_the_profile_of_a_known_operator(
    library, small_session, tmp_path
):
    library.add(small_session, "a", operator="KF")
    library.export("a", tmp_path / "a.zip")
    library.save_profile(Profile("KF", "left"))
    library.import_pack(tmp_path / "a.zip", "b")
    assert library.profile("KF") == Profile("KF", "left")


def spoilt_pack(path, change):
    """Write the export at ``path`` again, its members changed by ``change``."""
    with zipfile.ZipFile(path) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in change(members).items():
            archive.writestr(name, content)


@pytest.mark.parametrize(
    "change",
    [
        lambda members: members | {"session/../../out.txt": b"out"},
        lambda members: members | {"/out.txt": b"out"},
        lambda members: members | {"session\\..\\out.txt": b"out"},
        lambda members: {n: c for n, c in members.items() if n != "session/session.json"},
        lambda members: {n: c for n, c in members.items() if n != "library.json"},
        lambda members: members | {"library.json": b"[1, 2]"},
        lambda members: members | {"library.json": b"{"},
    ],
)
def test_a_zip_that_is_no_export_is_refused_and_leaves_nothing(
    library, small_session, tmp_path, change
):
    library.add(small_session, "a")
    library.export("a", tmp_path / "a.zip")
    spoilt_pack(tmp_path / "a.zip", change)
    before = set(tmp_path.rglob("*"))
    with pytest.raises(LibraryError, match="is not a whole export of a session"):
        library.import_pack(tmp_path / "a.zip", "b")
    assert set(tmp_path.rglob("*")) - before <= {library.folder / "changing"}


def test_an_export_that_was_cut_off_is_refused(library, small_session, tmp_path):
    library.add(small_session, "a")
    library.export("a", tmp_path / "a.zip")
    whole = (tmp_path / "a.zip").read_bytes()
    (tmp_path / "a.zip").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(LibraryError, match="is not a whole export"):
        library.import_pack(tmp_path / "a.zip", "b")


def test_an_export_of_a_newer_version_is_refused(library, small_session, tmp_path):
    library.add(small_session, "a")
    library.export("a", tmp_path / "a.zip")

    def newer(members):
        facts = json.loads(members["library.json"]) | {"schema": 2}
        return members | {"library.json": json.dumps(facts)}

    spoilt_pack(tmp_path / "a.zip", newer)
    with pytest.raises(LibraryError, match="exported by a newer version"):
        library.import_pack(tmp_path / "a.zip", "b")


def test_one_person_is_one_however_the_pseudonym_is_typed(library, small_session):
    library.save_profile(Profile("KF", "left"))
    library.add(small_session, "a", operator=" KF")
    library.add(small_session, "b")
    library.describe("b", operator="KF\t")
    assert library.profiles() == [Profile("KF", "left")]
    assert [entry.name for entry in library.entries(operator=" KF ")] == ["a", "b"]
    assert library.profile(" KF") == Profile("KF", "left")
    library.save_profile(Profile("KF ", "right"))
    assert library.profiles() == [Profile("KF", "right")]
    library.delete_profile(" KF")
    assert library.profiles() == []


def test_a_tag_is_one_however_it_is_typed(library, small_session):
    library.add(small_session, "a", tags=["x", " x"])
    assert library.tag("a", add=[" x", "y", "y "]).tags == ("x", "y")
    assert [entry.name for entry in library.entries(tag=" y")] == ["a"]
    assert library.tag("a", remove=[" y"]).tags == ("x",)


def test_letters_with_marks_are_one_however_a_system_writes_them(library, small_session):
    library.add(small_session, "Bu\u0308ro")
    assert library.entry("B\u00fcro").name == "B\u00fcro"
    with pytest.raises(LibraryError, match="another session"):
        library.add(small_session, " B\u00fcro ")
    assert library.rename(" Bu\u0308ro", "B\u00fcro ").name == "B\u00fcro"


@pytest.mark.parametrize(
    "name", ["", " ", "a\nb", "a\u2028b", "a\x85b", "a\ud800", "a" * 81, "a/b"]
)
def test_a_name_that_cannot_be_one_is_one_line_everywhere(library, small_session, name):
    library.add(small_session, "a")
    for attempt in (
        lambda: library.add(small_session, name or " "),
        lambda: library.rename("a", name),
        lambda: library.tag("a", add=[name]),
        lambda: library.describe("a", operator=name),
        lambda: library.entry(name),
        lambda: library.profile(name),
        lambda: library.delete(name),
    ):
        with pytest.raises(LibraryError):
            attempt()
    assert library.entries(tag=name) == library.entries(operator=name) == []
    assert [(entry.name, entry.tags) for entry in library.entries()] == [("a", ())]
