from dataclasses import replace

import numpy as np
import pytest

from ergo.report.text.place import moves_sentences
from ergo.report.text.words import words
from ergo.storage.tables import frames_table
from ergo.workplace.place_track import MEASURES

ENGLISH = words("en")


def sentences(session, handed="right", **changed):
    notes = tuple(note.model_copy(update={"handed": handed}) for note in session.notes)
    changed = replace(session, notes=notes, place=replace(session.place, **changed))
    return [each.replace("\u00a0", " ") for each in moves_sentences(changed, ENGLISH)]


def test_handedness_is_told_where_the_notes_are_silent_and_doubted_where_they_differ(session):
    def told(**given):
        return [each for each in sentences(session, **given) if "handed" in each]

    said = told(handed=None)[0]
    assert "right-handed (99 % sure)" in said
    assert "the notes do not say" in said
    assert "left-handed" in told(right_handed=(0.02,))[0]
    assert "the notes say otherwise" in told(right_handed=(0.02,))[0]
    assert told() == told(handed=None, right_handed=(0.6,)) == []


def test_knees_are_told_only_where_they_are_told_surely(session):
    frames = len(session.recording.timeline)
    sure = np.where(np.arange(frames) < frames // 2, 0.95, 0.05)
    told = [each for each in sentences(session, knees_under=sure) if "knees" in each]
    assert "under the backrest in 50 % of the time, beside it in 50 %" in told[0]
    unsure = sentences(session, knees_under=np.full(frames, 0.7))
    assert not [each for each in unsure if "knees" in each]


@pytest.mark.parametrize(("level", "is_named"), [("people", True), ("room", False)])
def test_a_tilt_told_by_people_is_named(session, level, is_named):
    told = sentences(session, level_origins=(level,))
    assert any("people who sit" in each for each in told) == is_named


def test_frames_carry_the_places_with_their_spread(session):
    table = frames_table(session)
    for name in MEASURES:
        assert table[name][0].as_py() == pytest.approx(session.place.measured[name][0])
        assert table[f"{name}_sd"][0].as_py() == pytest.approx(session.place.measured_sd[name][0])
    assert table["seat_x_m"][0].as_py() == pytest.approx(session.place.seat_m[0, 0], abs=1e-4)
    for axis, at in (("x", 0), ("y", 1)):
        told = table[f"assistant_{axis}_m"][0].as_py(), table[f"assistant_{axis}_m_sd"][0].as_py()
        true = session.place.assistant_m[0, at], session.place.assistant_sd_m[0, at]
        assert told == pytest.approx(true, abs=1e-4)
    gone = replace(session.place, measured={each: np.full(len(table), np.nan) for each in MEASURES})
    assert frames_table(replace(session, place=gone))["eye_to_mouth_m"].null_count == len(table)


def test_moves_are_told_in_the_full_hours_of_the_tables(session):
    frames = len(session.recording.timeline)
    hours = np.repeat([9.1, 10.6, 11.4], [frames // 3, frames // 3, frames - 2 * (frames // 3)])
    told = [each for each in sentences(session, hours=hours) if each.startswith("Moves in")]
    assert told
    assert "from 9 to 11 o'clock" in told[0]
    assert "10" not in told[0].partition(": ")[2].partition(" at ")[0]
    assert "from 11 to" not in told[0]  # 10.6 and 11.4 are both told as 11
