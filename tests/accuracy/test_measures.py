import numpy as np
import pytest

from tests.accuracy.measures import agreement_of, error_of, finding_of

TRUTH = np.array([0.0, 10.0, 20.0, 30.0])


def test_error_and_bias_are_the_mean_of_the_differences():
    error = error_of(TRUTH, TRUTH + [1.0, -3.0, 5.0, 1.0], np.full(4, 2.0), spread=10.0)
    assert error.mean_absolute == pytest.approx(2.5)
    assert error.bias == pytest.approx(1.0)


def test_an_interval_holds_the_truth_up_to_1645_standard_deviations():
    off = np.array([1.64, 1.65, -1.64, -1.65])
    assert error_of(TRUTH, TRUTH + off, np.ones(4), spread=10.0).coverage == 0.5


def test_a_constant_answer_explains_nothing():
    error = error_of(TRUTH, np.full(4, 15.0), np.ones(4), spread=10.0)
    assert error.explained == pytest.approx(0.0)


def test_a_constant_offset_explains_everything_but_shows_as_bias():
    error = error_of(TRUTH, TRUTH + 7.0, np.ones(4), spread=10.0)
    assert (error.explained, error.bias) == (pytest.approx(1.0), pytest.approx(7.0))


def test_what_was_not_seen_counts_as_unmeasurable_and_not_as_an_error():
    error = error_of(TRUTH, np.array([0.0, np.nan, 20.0, 30.0]), np.ones(4), spread=10.0)
    assert (error.wanted, error.answered, error.mean_absolute) == (4, 3, 0.0)
    assert error.unmeasurable == 0.25


def test_a_score_that_is_not_given_lowers_the_share_judged_and_nothing_else():
    found = agreement_of(np.array([1, 2, 3, 4, 0]), np.array([1, 3, 5, 0, 2]))
    assert (found.judged, found.not_judged) == (3, 1)
    assert found.share_judged == 0.75
    assert found.within_one == pytest.approx(2 / 3)


def test_an_interval_as_wide_as_the_spread_of_postures_counts_as_unmeasurable():
    error = error_of(TRUTH, TRUTH, np.array([1.0, 1.0, 10.0, 12.0]), spread=10.0)
    assert error.unmeasurable == 0.5


def test_pictures_without_truth_are_not_compared():
    error = error_of(np.array([np.nan, 1.0]), np.array([50.0, 1.0]), np.ones(2), spread=10.0)
    assert (error.wanted, error.mean_absolute) == (1, 0.0)


def test_kappa_with_linear_weights_equals_the_formula_worked_out_by_hand():
    truth, answer = np.array([1, 1, 2, 3]), np.array([1, 2, 2, 2])
    # Weight |i - j|. Observed 0 + 1 + 0 + 1 = 2. Expected by chance from the margins
    # truth (2, 1, 1) and answer (1, 3, 0): (2*(0+3) + 1*(1+0) + 1*(2+3)) / 4 = 3.
    assert agreement_of(truth, answer).kappa == pytest.approx(1 - 2 / 3)


def test_steps_that_were_not_judged_are_counted_and_left_out():
    agreement = agreement_of(np.array([3, 3, 0, 7]), np.array([4, 0, 2, 5]))
    assert (agreement.judged, agreement.not_judged, agreement.within_one) == (2, 1, 0.5)


def test_the_wrong_person_is_named():
    finding = finding_of(
        ("a", "b", "c", "d"),
        np.array([True, True, True, False]),
        np.array([True, True, False, True]),
        np.array([True, False, False, True]),
    )
    assert (finding.pictures, finding.found, finding.right) == (3, pytest.approx(2 / 3), 0.5)
    assert (finding.wrong, finding.missed) == (("b",), ("c",))
    assert (finding.pictures_less, finding.found_less) == (1, 1.0)
    assert finding.found_at_all == pytest.approx(3 / 4)
