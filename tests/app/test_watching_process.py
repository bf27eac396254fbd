"""Watching in another process gives the same, says the same, and ends with this one."""

import importlib
import shutil
from pathlib import Path

import numpy as np
import pytest

from ergo.app.analyse import record
from ergo.app.watching_process import watch_apart
from ergo.errors import EndedBySystem, UnreadablePicture
from ergo.frames.clips import ClipSource
from ergo.frames.stills import StillSource
from ergo.notes.notes import Notes
from ergo.session.session import Settings
from ergo.storage.landmark_file import as_stored
from ergo.storage.shelf import FolderShelf

SAMPLE = Path(__file__).parents[2] / "sample_frames"
CLIP = SAMPLE / "kf_scaling.mp4"
SETTINGS = Settings(effort="fast")


def still_and_clip():
    return [
        StillSource(SAMPLE / "stills" / "1_kf_side_left.jpg"),
        ClipSource(SAMPLE / "kf_scaling.mp4", None, 1.0),
    ]


def test_another_process_sees_the_same_and_tells_how_far_it_is(tmp_path):
    told = []
    shelf = FolderShelf(tmp_path / "out", SETTINGS, "")
    notes = [Notes(), Notes()]
    watch_apart(
        still_and_clip(),
        notes,
        "fast",
        shelf,
        lambda facts, seconds: told.append((facts.name, seconds)),
    )
    fetched = record(still_and_clip(), notes, SETTINGS, shelf=shelf).tracks["operator"]
    here = as_stored(record(still_and_clip(), notes, SETTINGS).tracks["operator"])
    np.testing.assert_array_equal(fetched.picture_px, here.picture_px)
    np.testing.assert_array_equal(fetched.presence, here.presence)
    assert {name for name, _ in told} == {"1_kf_side_left.jpg", "kf_scaling.mp4"}
    of_clip = [seconds for name, seconds in told if name == "kf_scaling.mp4"]
    assert of_clip == sorted(of_clip)
    assert of_clip[-1] > 5.0


def test_what_another_process_cannot_read_is_refused_in_the_same_words(tmp_path):
    still = tmp_path / "gone.jpg"
    shutil.copy(SAMPLE / "stills" / "1_kf_side_left.jpg", still)
    source = StillSource(still)
    assert source.facts.name == "gone.jpg"
    still.unlink()
    with pytest.raises(UnreadablePicture) as here:
        next(iter(source))
    with pytest.raises(UnreadablePicture) as there:
        watch_apart([source], [Notes()], "fast", FolderShelf(tmp_path / "out", SETTINGS, ""))
    assert str(there.value) == str(here.value)


ENDS_ITSELF = """
import os, signal
from ergo.frames.clips import ClipSource

class EndsItself(ClipSource):
    def __iter__(self):
        for frame in super().__iter__():
            if frame.time_s > 1.5:
                os.kill(os.getpid(), signal.SIGKILL)
            yield frame
"""


def test_what_the_system_ended_is_told_so_and_goes_on_when_repeated(tmp_path, monkeypatch):
    (tmp_path / "ends_itself.py").write_text(ENDS_ITSELF)
    monkeypatch.syspath_prepend(tmp_path)
    ending = importlib.import_module("ends_itself").EndsItself(CLIP, None, 1.0)
    shelf = FolderShelf(tmp_path / "out", SETTINGS, "")
    with pytest.raises(EndedBySystem, match=r"^Watching .* memory ran out\. Repeat .* --rate"):
        watch_apart([ending], [Notes()], "fast", shelf)
    watch_apart([ClipSource(CLIP, None, 1.0)], [Notes()], "fast", shelf)
    assert shelf.is_closed(ending.facts)
