"""From files and folders to sources."""

import os
import shutil
import tempfile
from pathlib import Path

import pytest
from PIL import Image

from ergo.errors import InputError, NothingToAnalyse, UnreadableClip, UnreadablePicture
from ergo.frames.find import find_sources
from tests.frames.clip_making import make_clip


@pytest.fixture
def still(tmp_path_factory):
    path = tmp_path_factory.mktemp("still") / "still.png"
    Image.new("RGB", (8, 6)).save(path)
    return path


def fill(folder, still, *names):
    folder.mkdir(parents=True, exist_ok=True)
    for name in names:
        shutil.copyfile(still, folder / name)
    return folder


def names(found):
    return [source.facts.name for source in found.sources]


def test_a_folder_is_taken_in_natural_order(tmp_path, still):
    fill(tmp_path, still, "p10.png", "p2.png", "P1.png")
    assert names(find_sources([tmp_path])) == ["P1.png", "p2.png", "p10.png"]


def test_clips_and_stills_are_told_apart(tmp_path, still):
    fill(tmp_path, still, "b.PNG")
    make_clip(tmp_path / "a.mkv", range(0, 400, 40))
    found = find_sources([tmp_path])
    assert [source.facts.kind for source in found.sources] == ["clip", "still"]


def test_the_rate_reaches_the_clips(tmp_path):
    path = make_clip(tmp_path / "a.mkv", range(0, 1000, 40))
    assert len(list(find_sources([path], rate_hz=2).sources[0])) == 2


def test_hidden_files_and_notes_are_passed_over_and_the_rest_is_listed(tmp_path, still):
    fill(tmp_path, still, "a.png", ".b.png", "a.toml", "letter.pdf", "README")
    (tmp_path / "older").mkdir()
    found = find_sources([tmp_path])
    assert names(found) == ["a.png"]
    assert found.skipped == ("letter.pdf", "older/", "README")


def test_inputs_keep_the_order_in_which_they_were_named(tmp_path, still):
    fill(tmp_path / "one", still, "b.png")
    fill(tmp_path / "two", still, "a.png")
    assert names(find_sources([tmp_path / "one", tmp_path / "two"])) == ["b.png", "a.png"]


def test_equal_names_are_told_apart_by_their_folders(tmp_path, still):
    fill(tmp_path / "mon" / "one", still, "a.png", "b.png")
    fill(tmp_path / "mon" / "two", still, "a.png")
    fill(tmp_path / "tue" / "two", still, "a.png")
    found = find_sources(
        [tmp_path / "mon" / "one", tmp_path / "mon" / "two", tmp_path / "tue" / "two"]
    )
    assert names(found) == ["one/a.png", "b.png", "mon/two/a.png", "tue/two/a.png"]


def test_a_file_named_twice_counts_once(tmp_path, still):
    fill(tmp_path, still, "a.png", "b.png")
    found = find_sources([tmp_path / "b.png", tmp_path])
    assert names(found) == ["b.png", "a.png"]


def test_a_folder_with_nothing_usable_is_named(tmp_path):
    (tmp_path / "letter.pdf").touch()
    with pytest.raises(NothingToAnalyse, match=f"{tmp_path}: holds no clip and no still"):
        find_sources([tmp_path])


def test_nothing_named_is_nothing_to_analyse():
    with pytest.raises(NothingToAnalyse, match="No file or folder"):
        find_sources([])


def test_a_missing_path_is_named(tmp_path):
    with pytest.raises(NothingToAnalyse, match="gone.mp4: does not exist"):
        find_sources([tmp_path / "gone.mp4"])


def test_a_file_of_unknown_type_that_was_named_is_an_error(tmp_path):
    (tmp_path / "letter.pdf").write_text("x")
    with pytest.raises(NothingToAnalyse, match=r"letter\.pdf: is of a type .* Known are JPEG"):
        find_sources([tmp_path / "letter.pdf"])


@pytest.mark.parametrize(
    ("name", "error"), [("a.jpg", UnreadablePicture), ("a.mp4", UnreadableClip)]
)
def test_an_empty_file_is_told_before_anything_is_analysed(tmp_path, name, error):
    (tmp_path / name).touch()
    with pytest.raises(error, match=f"{name}: is empty"):
        find_sources([tmp_path])


@pytest.fixture
def locked_folder():
    """A folder with a still in it, which the user of the test may not enter."""
    with tempfile.TemporaryDirectory() as name:
        top = Path(name)
        top.chmod(0o755)
        (top / "locked").mkdir()
        Image.new("RGB", (8, 6)).save(top / "locked" / "a.png")
        (top / "locked").chmod(0)
        is_root = os.geteuid() == 0
        if is_root:
            os.seteuid(65534)  # "nobody": root may enter every folder
        yield top / "locked"
        if is_root:
            os.seteuid(0)
        (top / "locked").chmod(0o755)


def test_a_folder_that_may_not_be_read_is_named(locked_folder):
    with pytest.raises(NothingToAnalyse, match="locked: cannot be listed"):
        find_sources([locked_folder])


def test_a_file_in_a_folder_that_may_not_be_entered_is_named(locked_folder):
    with pytest.raises(NothingToAnalyse, match=r"a\.png: cannot be reached"):
        find_sources([locked_folder / "a.png"])


def test_a_pipe_is_refused(tmp_path):
    os.mkfifo(tmp_path / "a.mp4")
    with pytest.raises(NothingToAnalyse, match="neither a file nor a folder"):
        find_sources([tmp_path / "a.mp4"])


@pytest.mark.parametrize("rate_hz", [0, -1, float("nan"), float("inf")])
def test_an_impossible_rate_is_refused(still, rate_hz):
    with pytest.raises(InputError, match="above 0"):
        find_sources([still], rate_hz)


@pytest.mark.skipif(os.name == "nt", reason="names of files are text there")
def test_a_name_that_is_not_utf_8_is_refused_by_a_line_that_can_be_printed(tmp_path):
    clip = Path(os.fsdecode(os.fsencode(tmp_path) + b"/a\xff.jpg"))
    clip.write_bytes(b"x")
    for given in (clip, tmp_path):
        with pytest.raises(NothingToAnalyse, match="has a name that is not UTF-8") as caught:
            find_sources([given])
        assert str(caught.value).isprintable()


@pytest.mark.skipif(os.name == "nt", reason="names of files are text there")
def test_other_files_whose_names_are_not_utf_8_are_counted_by_printable_names(tmp_path):
    Path(os.fsdecode(os.fsencode(tmp_path) + b"/b\xff\x1b.txt")).write_bytes(b"x")
    (tmp_path / "a.jpg").write_bytes(b"x")
    (skipped,) = find_sources([tmp_path]).skipped
    assert skipped == "b\\udcff\\x1b.txt"
