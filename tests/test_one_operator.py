"""Recordings that nobody noted are of one operator, unless what was seen cannot be one person."""

from dataclasses import replace

import numpy as np
import pytest

from ergo.app import workflow
from ergo.app.workflow import analyse_session, rescore_session
from ergo.errors import SeveralOperators
from ergo.notes.notes import Notes
from tests.web.conftest import folder_of
from tests.web.test_choosing import STILLS, session_of_stills


@pytest.fixture
def analysed(tmp_path, monkeypatch):
    """Analyse two stills in which operators of these beliefs in right-handedness were seen."""
    recording = session_of_stills(tmp_path / "stills").recording

    def run(*beliefs, notes=""):
        track = replace(recording.tracks["operator"], right_handed=np.array(beliefs))
        seen = replace(recording, tracks={"operator": track}, doubt={})
        monkeypatch.setattr(workflow, "watch_apart", lambda *_: None)
        monkeypatch.setattr(workflow, "record", lambda *_, **__: seen)
        (tmp_path / "stills" / "ergo.toml").write_text(notes)
        return analyse_session([tmp_path / "stills"], tmp_path / "out")

    return run


def test_a_right_and_a_left_handed_operator_are_not_one_session(analysed, tmp_path):
    with pytest.raises(SeveralOperators) as refused:
        analysed(0.99, 0.02)
    assert str(refused.value).startswith(
        f"{STILLS[1]}: shows a left-handed operator, {STILLS[0]} a right-handed one."
    )
    assert not (tmp_path / "out").exists()


def test_notes_that_change_to_several_people_are_refused_when_scored_again(tmp_path):
    folder = folder_of(session_of_stills(tmp_path / "stills"), tmp_path / "made")
    before = (folder / "session.json").read_bytes()
    for name, pseudonym in zip(STILLS, ("KF", "RO"), strict=True):
        note = (tmp_path / "stills" / name).with_suffix(".toml")
        note.write_text(f'pseudonym = "{pseudonym}"')
    with pytest.raises(SeveralOperators, match=f'{STILLS[1]}: is of "RO"'):
        rescore_session(folder)
    assert (folder / "session.json").read_bytes() == before


def test_a_session_of_several_people_that_an_earlier_version_made_can_be_scored_again(tmp_path):
    session = session_of_stills(tmp_path / "stills")
    both = (Notes(handed="right"), Notes(handed="left"))
    folder = folder_of(replace(session, notes=both), tmp_path / "made")
    for name, note in zip(STILLS, both, strict=True):
        path = (tmp_path / "stills" / name).with_suffix(".toml")
        path.write_text(f'handed = "{note.handed}"')
    assert rescore_session(folder).session.notes == both


@pytest.mark.parametrize(
    ("beliefs", "notes"),
    [
        ((0.99, 0.98), ""),
        ((0.99, np.nan), ""),
        ((0.99, 0.2), ""),
        ((0.99, 0.02), 'pseudonym = "KF"'),
        ((0.99, 0.02), 'handed = "right"'),
    ],
)
def test_what_can_be_one_person_or_is_said_to_be_is_one_session(analysed, beliefs, notes):
    assert analysed(*beliefs, notes=notes).folder.is_dir()
