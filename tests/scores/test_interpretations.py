import pytest

from ergo.errors import InputError
from ergo.scores.interpretations import READINGS, complete_readings, readings_of
from ergo.scores.methods import METHODS


def test_an_option_that_is_not_named_has_its_default():
    complete = complete_readings({"static_after": "10min"})
    assert complete["static_after"] == "10min"
    assert complete["rula_table_a"] == "version-1"
    assert set(complete) == set(READINGS)


def test_an_unknown_reading_is_refused_with_the_known_ones():
    with pytest.raises(
        InputError, match=r"colour: is not a reading\. Known readings: rula_table_a"
    ):
        complete_readings({"colour": "blue"})


def test_an_unknown_choice_is_refused_with_the_allowed_ones():
    with pytest.raises(
        InputError, match=r"static_after: cannot be '2min'\. Allowed: 1min, 10min\."
    ):
        complete_readings({"static_after": "2min"})


@pytest.mark.parametrize("option", READINGS)
def test_every_reading_has_another_choice_and_names_known_methods(option):
    reading = READINGS[option]
    assert reading.default == reading.choices[0]
    assert len(set(reading.choices)) > 1
    assert set(reading.methods) <= set(METHODS)


def test_a_method_lists_only_the_readings_that_can_change_it():
    assert "reba_table_b" not in readings_of("rula", complete_readings({}))
    assert readings_of("reba", complete_readings({}))["reba_table_b"] == "majority"
