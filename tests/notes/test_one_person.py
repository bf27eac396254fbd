"""Recordings of different operators are refused; what can be of one person is not."""

import pytest
import tomli_w

from ergo.errors import NotesError, SeveralOperators
from ergo.notes.notes import Notes
from ergo.notes.one_person import check_one_hand, check_one_person, check_profile
from ergo.notes.reading import read_notes
from ergo.report.text.reasons import in_words
from ergo.report.text.words import words

NAMES = ("a.mp4", "b.jpg", "c.jpg")
NOBODY = (None, None, None)


@pytest.mark.parametrize(
    ("stated", "what"),
    [
        (({"pseudonym": "KF"}, {}, {"pseudonym": "RO"}), 'c.jpg: is of "RO", a.mp4 of "KF".'),
        (
            ({}, {"handed": "right"}, {"handed": "left"}),
            "c.jpg: is of a left-handed operator, b.jpg of a right-handed one.",
        ),
        (
            ({"operator_height_cm": 164}, {"operator_height_cm": 181.5}, {}),
            "b.jpg: is of an operator of 181.5 cm, a.mp4 of one of 164 cm.",
        ),
        (
            (
                {"pseudonym": "KF", "handed": "right"},
                {"pseudonym": "KF"},
                {"pseudonym": "KF", "handed": "left"},
            ),
            "c.jpg: is of a left-handed operator, a.mp4 of a right-handed one.",
        ),
    ],
)
def test_notes_about_different_people_are_refused_with_what_to_do(stated, what):
    with pytest.raises(SeveralOperators) as refused:
        check_one_person(NAMES, [Notes(**each) for each in stated])
    line = str(refused.value)
    assert line.startswith(what)
    assert "a run of their own" in line
    assert "\n" not in line
    assert refused.value.exit_code == 3


@pytest.mark.parametrize(
    "stated",
    [
        ({}, {}, {}),
        ({"pseudonym": "KF"}, {}, {"pseudonym": "KF"}),
        ({"handed": "left"}, {"operator_height_cm": 171}, {"operator_height_cm": 174}),
    ],
)
def test_notes_that_can_be_about_one_person_are_not(stated):
    check_one_person(NAMES, [Notes(**each) for each in stated])


def test_the_profile_asked_for_must_be_of_the_person_in_the_notes():
    notes = [Notes(), Notes(pseudonym="RO"), Notes()]
    check_profile(NAMES, notes, None)
    check_profile(NAMES, notes, "RO")
    with pytest.raises(SeveralOperators, match=r'b.jpg: is of "RO", .* of "KF"\.'):
        check_profile(NAMES, notes, "KF")


@pytest.mark.parametrize(
    ("stated", "told", "is_refused"),
    [
        (({}, {}, {}), ("right", None, "left"), True),
        (({"handed": "right"}, {}, {}), (None, None, "left"), True),
        (({"handed": "left"}, {}, {}), ("right", None, "left"), False),  # the notes know better
        (({"pseudonym": "KF"}, {}, {}), ("right", None, "left"), True),
        (({"pseudonym": "KF"}, {}, {"pseudonym": "KF"}), ("right", None, "left"), False),
        (({}, {}, {}), ("right", None, "right"), False),
        (({}, {}, {}), NOBODY, False),
    ],
)
def test_hands_that_cannot_be_of_one_person_are_refused(stated, told, is_refused):
    notes = [Notes(**each) for each in stated]
    if not is_refused:
        check_one_hand(NAMES, notes, told)
        return
    with pytest.raises(SeveralOperators, match=r"^c.jpg: shows a left-handed operator, a.mp4"):
        check_one_hand(NAMES, notes, told)


def test_a_refusal_comes_in_german_with_its_hands():
    with pytest.raises(SeveralOperators) as refused:
        check_one_hand(NAMES, [Notes()] * 3, ("right", None, "left"))
    assert in_words(str(refused.value), words("de")) == (
        "c.jpg: zeigt die Arbeit einer linkshändigen Person, a.mp4 die einer rechtshändigen. "
        "Ist es dieselbe Person, dann geben Sie in den Notizen dasselbe Pseudonym (pseudonym) an; "
        "sonst werten Sie die Aufnahmen jeder behandelnden Person für sich aus."
    )


@pytest.mark.parametrize("pseudonym", ["", " ", "a/b", "a\\b", "a:b", "a\nb", "x" * 81])
def test_a_pseudonym_is_one_that_the_library_can_keep(tmp_path, pseudonym):
    write = tomli_w.dumps({"pseudonym": pseudonym})
    (tmp_path / "a.toml").write_text(write, encoding="utf-8")
    with pytest.raises(NotesError, match=r"80 characters, none of them / \\ : or a line break"):
        read_notes(tmp_path / "a.mp4")


def test_space_around_a_pseudonym_makes_no_other_person():
    check_one_person(NAMES[:2], [Notes(pseudonym=" KF"), Notes(pseudonym="KF")])
