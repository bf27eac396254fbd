import numpy as np

from ergo.notes.notes import ClockSpan, SupportSpan, TaskSpan
from ergo.notes.spans import labels_per_frame, numbers_per_frame

TIMES = np.array([0.0, 1.0, 2.0, 3.0])


def test_a_frame_that_no_span_covers_has_no_label():
    spans = (TaskSpan(from_s=1, to_s=2, task="scaling"),)
    assert labels_per_frame(spans, TIMES, lambda s: s.task) == (None, "scaling", None, None)


def test_a_number_that_is_not_stated_is_nan():
    numbers = numbers_per_frame((ClockSpan(from_s=2, hours=9.5),), TIMES, lambda s: s.hours)
    np.testing.assert_array_equal(numbers, [np.nan, np.nan, 9.5, 9.5])


def test_the_end_of_a_span_belongs_to_the_next_one():
    spans = (ClockSpan(to_s=2, hours=9), ClockSpan(from_s=2, hours=12))
    np.testing.assert_array_equal(
        numbers_per_frame(spans, TIMES, lambda s: s.hours), [9, 9, 12, 12]
    )


def test_of_two_spans_at_once_the_later_in_the_file_wins():
    spans = (TaskSpan(task="probing"), TaskSpan(from_s=1, to_s=3, task="scaling"))
    assert labels_per_frame(spans, TIMES, lambda s: s.task) == (
        "probing",
        "scaling",
        "scaling",
        "probing",
    )


def test_a_later_span_that_states_nothing_changes_nothing():
    spans = (SupportSpan(feet=False), SupportSpan(trunk=True))
    assert labels_per_frame(spans, TIMES, lambda s: s.feet) == (False,) * 4


def test_no_frames_give_no_values():
    assert labels_per_frame((TaskSpan(task="x"),), np.zeros(0), lambda s: s.task) == ()
    assert numbers_per_frame((), np.zeros(0), lambda s: s.hours).shape == (0,)
