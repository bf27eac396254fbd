"""Tables for other programs: nothing in them is computed when they are opened."""

import csv
from dataclasses import replace

import pytest

from ergo.app.workflow import load_session
from ergo.storage.tables import write_frames, write_rows
from tests.storage.small_session import write_small_session


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1"])
def test_text_that_a_spreadsheet_would_compute_stays_text(tmp_path, text):
    write_rows(tmp_path / "a.csv", ["name", "value"], [[text, -1.5], ["a=b", None]])
    with (tmp_path / "a.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.reader(file))
    assert rows == [["name", "value"], [f"'{text}", "-1.5"], ["a=b", ""]]


def test_a_clip_whose_name_is_a_formula_is_text_in_the_table_of_frames(tmp_path):
    session = load_session(write_small_session(tmp_path / "small"))
    recording = session.recording
    timeline = replace(recording.timeline, sources=("=cmd|x.mp4",))
    write_frames(replace(session, recording=replace(recording, timeline=timeline)), tmp_path)
    with (tmp_path / "frames.csv").open(newline="", encoding="utf-8") as file:
        assert {row["source"] for row in csv.DictReader(file)} == {"'=cmd|x.mp4"}
