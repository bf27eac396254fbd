from dataclasses import replace

import numpy as np
import pytest

from ergo.app.analyse import evaluate_session
from ergo.notes.notes import Notes, OperatorPoint
from ergo.storage.choices import (
    bring_back_choice,
    is_choice_shown,
    keep_choice,
    remember_choice,
    sources_to_watch,
)
from ergo.storage.session_folder import read_session, write_session
from ergo.storage.session_notes import store_notes
from tests.storage.small_session import write_small_session

FIRST = (Notes(),)
OTHER = (Notes(operator=OperatorPoint(at=(3.0, 4.0))),)


@pytest.fixture
def folder(tmp_path):
    return write_small_session(tmp_path / "session")


@pytest.fixture
def watched(folder, tmp_path):
    """The same session, watched for another operator."""
    recording = read_session(folder).recording
    track = recording.tracks["operator"]
    moved = replace(track, picture_px=track.picture_px + 20)
    seen = replace(recording, tracks={"operator": moved}, doubt={"a.mp4": "invented"})
    (tmp_path / "watched").mkdir()
    write_session(evaluate_session(seen, OTHER), tmp_path / "watched")
    return tmp_path / "watched"


def points(folder):
    return read_session(folder).recording.tracks["operator"].picture_px


def test_a_choice_that_was_never_watched_cannot_be_shown(folder):
    before = points(folder)
    remember_choice(folder, FIRST)
    assert is_choice_shown(folder, FIRST)
    assert not is_choice_shown(folder, OTHER)
    assert not bring_back_choice(folder, OTHER)
    np.testing.assert_array_equal(points(folder), before)


def test_landmarks_of_every_choice_come_back_and_notes_stay_as_they_are(folder, watched):
    before = points(folder)
    remember_choice(folder, FIRST)
    keep_choice(folder, watched)
    noted = (OTHER[0].model_copy(update={"handed": "left"}),)
    store_notes(folder, noted)
    assert bring_back_choice(folder, noted)
    np.testing.assert_allclose(points(folder), before + 20, atol=0.1)
    assert read_session(folder).recording.doubt == {"a.mp4": "invented"}
    assert read_session(folder).notes == noted
    assert bring_back_choice(folder, FIRST)
    np.testing.assert_array_equal(points(folder), before)
    assert read_session(folder).recording.doubt == {}
    assert bring_back_choice(folder, OTHER)


def test_the_first_choice_is_remembered_once(folder, watched):
    remember_choice(folder, FIRST)
    keep_choice(folder, watched)
    bring_back_choice(folder, OTHER)
    remember_choice(folder, FIRST)
    assert is_choice_shown(folder, OTHER)


def test_only_sources_with_another_operator_are_to_be_watched(folder):
    assert sources_to_watch(folder, OTHER) == []
    remember_choice(folder, FIRST)
    assert sources_to_watch(folder, FIRST) == []
    assert sources_to_watch(folder, OTHER) == [0]
