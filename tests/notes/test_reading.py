"""Notes beside pictures: which file wins, and what a wrong one is told."""

import os
import string
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ergo.errors import NotesError, OutputError
from ergo.notes import reading
from ergo.notes.notes import (
    CameraNotes,
    ClockSpan,
    ExcludedSpan,
    ForceSpan,
    NeutralMoment,
    Notes,
    OperatorPoint,
    SupportSpan,
    TaskSpan,
)
from ergo.notes.reading import notes_path, read_notes, write_notes


def refused(folder: Path, text: str) -> str:
    (folder / "clip.toml").write_text(text, encoding="utf-8")
    with pytest.raises(NotesError) as caught:
        read_notes(folder / "clip.mp4")
    line = str(caught.value)
    assert "\n" not in line
    assert str(folder / "clip.toml") in line
    return line


def test_without_a_notes_file_nothing_is_stated(tmp_path):
    assert read_notes(tmp_path / "clip.mp4") == Notes()


def test_notes_bear_the_name_of_the_file_without_its_ending(tmp_path):
    (tmp_path / "clip.toml").write_text('handed = "left"')
    assert read_notes(tmp_path / "clip.mp4").handed == "left"
    assert read_notes(tmp_path / "other.mp4").handed is None


def test_the_nearer_file_wins_key_by_top_level_key(tmp_path):
    (tmp_path / "ergo.toml").write_text(
        'handed = "left"\noperator_height_cm = 180\n[camera]\nwidth = 640\npitch_deg = 2\n'
    )
    (tmp_path / "clip.toml").write_text('handed = "right"\n[camera]\nroll_deg = 1\n')
    notes = read_notes(tmp_path / "clip.mp4")
    assert notes.handed == "right"
    assert notes.operator_height_cm == 180
    assert notes.camera == CameraNotes(roll_deg=1)


def test_a_file_called_ergo_has_the_notes_of_the_folder(tmp_path):
    (tmp_path / "ergo.toml").write_text('handed = "left"')
    assert read_notes(tmp_path / "ergo.mp4").handed == "left"


def test_notes_saved_with_a_byte_order_mark_are_read(tmp_path):
    (tmp_path / "clip.toml").write_text('handed = "left"', encoding="utf-8-sig")
    assert read_notes(tmp_path / "clip.mp4").handed == "left"


@pytest.mark.parametrize(
    ("text", "key", "allowed"),
    [
        ('handed = "both"', "handed", '"right" or "left"'),
        ("operator_height_cm = 20", "operator_height_cm", "at least 100 and at most 230"),
        ("operator_height_cm = nan", "operator_height_cm", "at least 100 and at most 230"),
        ("camera = 3", "camera", "a table with the keys"),
        ("[camera]\npitch_deg = 100", "camera.pitch_deg", "at least -89 and at most 89"),
        ("[camera]\nwidth = 1.5", "camera.width", "whole numbers above 0"),
        ("[camera]\nheight_m = 10", "camera.height_m", "at least 0.05 and below 10"),
        ("[[clock]]\nhours = 13", "clock[1].hours", "at least 1 and below 13"),
        ("[[clock]]\nhours = 3\n[[clock]]\nhours = 0.9", "clock[2].hours", "below 13"),
        ("[clock]\nhours = 3", "clock", "a list of tables"),
        ("[[clock]]\nhours = 3\nfrom_s = -1", "clock[1].from_s", "at least 0"),
        ("[[support]]\nfeet = 7", "support[1].feet", "true or false"),
        ('[[force]]\nmanner = "odd"', "force[1].manner", '"intermittent" or "static"'),
        ('[[tasks]]\ntask = ""', "tasks[1].task", "text of 1 to 80 characters"),
        ("[operator]\ntime_s = 1", "operator.at", "two numbers [x, y]"),
        ("[operator]\nat = [1]", "operator.at[2]", "a number"),
        ('[operator]\nat = ["x", 2]', "operator.at[1]", "a number"),
    ],
)
def test_an_impossible_value_names_file_key_and_what_is_allowed(tmp_path, text, key, allowed):
    line = refused(tmp_path, text)
    assert f" {key} " in line
    assert allowed in line


def test_a_mistyped_key_is_answered_with_the_nearest_one(tmp_path):
    line = refused(tmp_path, "[camera]\npich_deg = 3")
    assert "unknown key camera.pich_deg; did you mean pitch_deg?" in line
    assert "horizontal_fov_deg" in line


def test_an_unknown_key_is_answered_with_all_keys(tmp_path):
    line = refused(tmp_path, "zzz = 3")
    assert "unknown key zzz" in line
    assert "did you mean" not in line
    assert all(name in line for name in Notes.model_fields)


def test_a_span_that_ends_before_it_begins_is_refused(tmp_path):
    assert "to_s must be later than from_s" in refused(
        tmp_path, "[[clock]]\nhours = 3\nfrom_s = 4\nto_s = 2"
    )


def test_two_lenses_at_once_are_refused(tmp_path):
    line = refused(tmp_path, "[camera]\nfocal_px = 500\nhorizontal_fov_deg = 60")
    assert "camera is not possible: state focal_px or horizontal_fov_deg" in line


def test_broken_toml_is_one_line_with_the_place(tmp_path):
    assert "line 2" in refused(tmp_path, 'handed = "left"\noperator_height_cm = tall')


def test_notes_that_are_not_utf_8_are_refused(tmp_path):
    (tmp_path / "clip.toml").write_bytes('[[tasks]]\ntask = "Prüfung"'.encode("latin-1"))
    with pytest.raises(NotesError, match="UTF-8"):
        read_notes(tmp_path / "clip.mp4")


seconds = st.floats(0, 1e5, allow_nan=False)
texts = st.none() | st.text(min_size=1, max_size=80)
flags = st.none() | st.booleans()
points = st.tuples(st.floats(-1e4, 1e4), st.floats(-1e4, 1e4))


def spans(model, **fields):
    """Spans with rising or open ends."""
    ends = st.tuples(seconds, st.none() | st.floats(0.125, 1e5))

    def build(times, values):
        begin, length = times
        return model(from_s=begin, to_s=None if length is None else begin + length, **values)

    return st.lists(st.builds(build, ends, st.fixed_dictionaries(fields)), max_size=3).map(tuple)


cameras = st.builds(
    CameraNotes,
    width=st.none() | st.integers(1, 10**5),
    height=st.none() | st.integers(1, 10**5),
    focal_px=st.none() | st.floats(1, 1e5),
    pitch_deg=st.none() | st.floats(-89, 89),
    roll_deg=st.none() | st.floats(-180, 180),
    height_m=st.none() | st.floats(0.05, 9.9),
    principal_px=st.none() | points,
)
any_notes = st.builds(
    Notes,
    handed=st.sampled_from([None, "right", "left"]),
    operator_height_cm=st.none() | st.floats(100, 230),
    pseudonym=st.none() | st.from_regex(r"\A[^\s/\\:][^/\\:\x00-\x1f\x7f]{0,60}\Z"),
    loupes_declination_deg=st.none() | st.floats(0, 90),
    operator=st.none() | st.builds(OperatorPoint, at=points, time_s=seconds),
    camera=st.none() | cameras,
    clock=spans(ClockSpan, hours=st.floats(1, 12.999)),
    tasks=spans(TaskSpan, task=texts, mouth_area=texts),
    support=spans(SupportSpan, trunk=flags, arm_left=flags, arm_right=flags, feet=flags),
    force=spans(
        ForceSpan,
        load_kg=st.floats(0, 100),
        manner=st.sampled_from(["intermittent", "static", "repeated", "shock"]),
    ),
    excluded=spans(ExcludedSpan, reason=st.text(max_size=200)),
    neutral=st.none() | st.builds(NeutralMoment, time_s=seconds, source=texts),
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(notes=any_notes)
def test_notes_written_and_read_again_are_the_same(tmp_path, notes):
    source = tmp_path / "clip.mp4"
    write_notes(notes, notes_path(source))
    assert read_notes(source) == notes


def test_writing_notes_leaves_no_other_file_behind(tmp_path):
    write_notes(Notes(handed="left"), tmp_path / "a.toml")
    write_notes(Notes(handed="right"), tmp_path / "a.toml")
    assert [path.name for path in tmp_path.iterdir()] == ["a.toml"]
    assert set((tmp_path / "a.toml").read_text()) <= set(string.printable)


def test_notes_that_cannot_be_written_are_an_error_of_ours(tmp_path):
    with pytest.raises(OutputError, match="cannot be written"):
        write_notes(Notes(), tmp_path / "missing" / "a.toml")


ESC = "\x1b"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (f"begins_s = {'9' * 5000}", "a line of more than"),
        (f"begins_s = [\n{'9' * 3000}\n{'9' * 3000}]", "is not valid TOML"),
        ("[camera]\nwidth = " + "9" * 3900, "camera.width = a number of many digits"),
        ("operator_height_cm = " + "9" * 3900, "operator_height_cm = a number of many digits"),
        ("setup = " + "[" * 3000, "brackets within brackets without end"),
        ("\n".join(["setup = "] + ["["] * 3000).replace("= \n", "= "), "without end"),
        (".".join(["a"] * 1500) + " = 1", "tables within tables"),
        ("k" * 3900 + " = 1", "unknown key kkkk"),
        (f'"{"k" * 3000}" = 1\n"{"k" * 3000}" = 2', "is not valid TOML"),
        ("a = 1\n" * 50_000, "larger than 256 kB"),
        (f'handed = "{ESC}[31mred"', "is not valid TOML"),
        ('handed = "\\u001b[31mred"', 'handed = "\\x1b[31mred"'),
        ('"\\u001b]0;title\\u0007" = 1', "unknown key \\x1b]0;title\\x07"),
        ("handed = true", "handed = true is not possible"),
        ("[handed]\nx = 1", "handed = a table is not possible"),
        ("handed = [1, false]", "handed = [1, false] is not possible"),
    ],
)
def test_hostile_notes_get_one_short_line_that_acts_on_no_screen(tmp_path, text, told):
    line = refused(tmp_path, text)
    assert told in line
    assert len(line) < len(str(tmp_path)) + 600
    assert line.isprintable()


def test_an_integer_of_more_digits_than_python_reads_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(reading, "MOST_IN_A_LINE", 10_000)
    assert "too many digits" in refused(tmp_path, f"begins_s = {'9' * 5000}")


def test_notes_that_are_no_file_are_refused_and_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "clip.toml")
    with pytest.raises(NotesError, match="is no file"):
        read_notes(tmp_path / "clip.mp4")
    (tmp_path / "clip.toml").unlink()
    (tmp_path / "clip.toml").mkdir()
    with pytest.raises(NotesError, match="is no file"):
        read_notes(tmp_path / "clip.mp4")


def test_a_name_that_just_fits_needs_no_notes_whose_name_would_not(tmp_path):
    assert read_notes(tmp_path / ("a" * 251 + ".mp4")) == Notes()
    (tmp_path / "ergo.toml").write_text('handed = "left"')
    assert read_notes(tmp_path / ("a" * 251 + ".mp4")).handed == "left"


@pytest.mark.parametrize(
    "text",
    [
        "[camera]\nheight_m = 1e-320",
        "[camera]\nfocal_px = 1e-320",
        "[camera]\nfocal_px = 1e300",
        "[setup]\ntape = [{ends = [[1, 1], [9, 9]], length_m = 1e-320}]",
    ],
)
def test_measures_that_no_room_has_are_refused(tmp_path, text):
    assert "is not possible; allowed: at least" in refused(tmp_path, text)
