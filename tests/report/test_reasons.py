import ast
import re
from dataclasses import replace
from pathlib import Path

import pytest

import ergo
from ergo.errors import UnreadableClip
from ergo.report.text.reasons import in_words
from ergo.report.text.recording_tables import seen_table
from ergo.report.text.words import words

ROOT = Path(ergo.__file__).parent
DE = words("de")
MET_BY_READERS = (
    "frames/clip_times.py",
    "frames/clips.py",
    "frames/fetch.py",
    "frames/file_checks.py",
    "frames/find.py",
    "frames/stills.py",
    "tracking/tracker.py",
    "notes/notes.py",
    "notes/one_person.py",
    "notes/reading.py",
    "posture/neutral.py",
    "posture/upright.py",
    "camera/level.py",
    "camera/marks_in_picture.py",
    "camera/set_up.py",
    "storage/choices.py",
    "storage/session_folder.py",
    "storage/session_notes.py",
    "session/several_cameras.py",
    "web/routes/api.py",
    "web/session/corrections.py",
    "web/routes/exports.py",
    "web/session/people.py",
    "web/jobs/queue.py",
    "web/routes/uploading.py",
    "web/jobs/uploads.py",
    "app/workflow.py",
    "app/rewatching.py",
)
"""What goes wrong here may be read on the page or in the report."""


def raised(path):
    """Texts of the errors and doubts in a file, with {} for every figure."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call):
            name = getattr(node.func, "id", getattr(node.func, "attr", ""))
            told = [*node.args, *(k.value for k in node.keywords if k.arg in ("what", "remedy"))]
            is_one = name.endswith(("Error", "Exception", "with_doubt")) or name in vars(
                ergo.errors
            ) | {"error": None}
            yield from (text for each in told if is_one and (text := template(each)))


def template(node):
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(getattr(part, "value", "") if isinstance(part, ast.Constant) else "{}"
                       for part in node.values)  # fmt: skip
    return None


def all_texts():
    for path in ROOT.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (text := template(node)) is not None:
                yield text


KNOWN = {
    re.sub(r"\{\w+\}", "{}", text)
    for key, text in words("en").catalogue.items()
    if key.startswith("error.")
}


@pytest.mark.parametrize("file", MET_BY_READERS)
def test_whatever_goes_wrong_for_a_reader_can_be_told_in_german(file):
    texts = {text for text in raised(ROOT / file) if re.search(r"[a-z] |\.$", text)}
    internal = {"a picture of real numbers has no known brightness"}  # caught where it is raised
    assert texts - KNOWN - internal == set()


def test_no_reason_in_the_catalogue_has_been_reworded_in_the_program_since():
    assert KNOWN - set(all_texts()) == set()


def test_place_what_and_remedy_are_told_in_german_with_their_figures():
    error = UnreadableClip(
        "has no picture at 12.5 s.", where="montag.mp4:", remedy="Copy it again."
    )
    assert in_words(str(error), DE) == (
        "montag.mp4: hat bei 12.5 s kein Bild. Kopieren Sie die Datei noch einmal."
    )


def test_several_doubts_and_a_figure_at_the_beginning_are_told_in_german():
    doubts = (
        "Nobody was found at the point given in the notes. "
        "Another person looked more like the operator for a while."
    )
    assert in_words(doubts, DE) == (
        "An der Stelle, die die Notizen nennen, war niemand zu finden. "
        "Eine andere Person sah eine Zeit lang eher wie die behandelnde aus."
    )
    assert in_words("5 bytes have come; go on from there.", DE).startswith("5 Byte sind")


def test_marks_and_results_of_a_set_up_are_told_by_their_names():
    misfit = (
        "clip.mp4: the marks do not fit together: setup.vertical[2] is 31 px from where the others "
        "would put it. Check this mark, and the lengths that were measured."
    )
    assert "„senkrechte Kante 2“ liegt 31 px neben" in in_words(misfit, DE)
    odd = "the marks would need roll_deg = 1.95, which is not plausible."
    assert "„Neigung der Kamera zur Seite“ 1.95 sein" in in_words(odd, DE)


def test_the_german_report_tells_doubts_and_damage_in_german(session):
    name = session.recording.sources[0].name
    recording = replace(
        session.recording,
        doubt={name: "Nobody was found at the point given in the notes."},
        damage={name: "The file is cut off: 3.0 s of the stated 9.5 s can be read."},
    )
    remarks = seen_table(replace(session, recording=recording), DE).rows[0][-1]
    assert "war niemand zu finden" in remarks
    assert "Die Datei ist abgeschnitten: 3.0 s der angegebenen 9.5 s" in remarks
    assert "Nobody" not in remarks


def test_what_is_not_known_and_what_is_english_stay_as_they_are():
    assert in_words("Something quite different.", DE) == "Something quite different."
    assert in_words("is empty (0 bytes).", words("en")) == "is empty (0 bytes)."
    assert in_words("xis empty (0 bytes).", DE) == "xis empty (0 bytes)."
