import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ergo.errors import NotesError
from ergo.notes.reading import read_notes
from ergo.notes.times import seconds_of
from ergo.report.text.words import words

EXAMPLES = Path(__file__).with_name("times.csv")


def examples():
    """Written times and their seconds, None where it is no time."""
    lines = EXAMPLES.read_text(encoding="utf-8").splitlines()[1:]
    rows = csv.DictReader(lines)
    return [(row["text"], float(row["seconds"]) if row["seconds"] else None) for row in rows]


@pytest.mark.parametrize(("text", "seconds"), examples())
def test_a_time_is_read_as_it_is_written(text, seconds):
    assert seconds_of(text) == seconds


@given(whole=st.integers(0, 400_000))
def test_every_time_that_is_shown_can_be_written_back(whole):
    assert seconds_of(words("en").clock_time(whole)) == whole


def test_notes_take_times_as_they_are_shown(tmp_path):
    text = '[[excluded]]\nfrom_s = "1:05"\nto_s = "1:02:03"\n[neutral]\ntime_s = "0:42.5"\n'
    (tmp_path / "a.toml").write_text(f'begins_s = "-0:03"\n{text}')
    notes = read_notes(tmp_path / "a.mp4")
    (span,) = notes.excluded
    assert (span.from_s, span.to_s) == (65.0, 3723.0)
    assert notes.neutral.time_s == 42.5
    assert notes.begins_s == -3.0


@pytest.mark.parametrize("stated", ['"five"', '"-0:05"', '"0:61"'])
def test_what_is_no_time_is_refused_with_what_is_allowed(tmp_path, stated):
    (tmp_path / "a.toml").write_text(f"[[clock]]\nhours = 3\nfrom_s = {stated}\n")
    with pytest.raises(NotesError, match='at least 0 s, or a time as "0:05"'):
        read_notes(tmp_path / "a.mp4")
