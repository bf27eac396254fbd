import pytest

from ergo.notes.vocabulary import area_keys, task_keys


@pytest.mark.parametrize(
    ("stated", "parts"),
    [
        ("upper front", {"upper", "front"}),
        ("Oberkieferfront", {"upper", "front"}),
        ("  oben  RECHTS ", {"upper", "right"}),
        ("UK links, Seitenzähne", {"lower", "left"}),
        ("Schneidezähne unten", {"lower", "front"}),
        ("mandibular anterior", {"lower", "front"}),
        ("S1", {"upper", "right"}),
        ("sextant 5", {"lower", "front"}),
        ("Quadrant 3", {"lower", "left"}),
        ("upper and lower right", {"right"}),
        ("links und rechts oben", {"upper"}),
        ("my favourite corner", set()),
        ("Untersuchung der Oberfläche", set()),
        ("", set()),
    ],
)
def test_parts_of_the_mouth_are_known_in_both_languages(stated, parts):
    assert area_keys(stated) == parts


@pytest.mark.parametrize(
    ("stated", "keys"),
    [
        ("Impression, lower", {"impression"}),
        ("ABFORMUNG", {"impression"}),
        ("Extraktion 38", {"extraction"}),
        ("Lokalanästhesie", {"injection"}),
        ("local anaesthesia", {"injection"}),
        ("scaling", set()),
        ("Zahnreinigung", set()),
    ],
)
def test_tasks_are_known_in_both_languages(stated, keys):
    assert task_keys(stated) == keys
