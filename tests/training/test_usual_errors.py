"""The stored tables of usual errors are what the stored examples give."""

import sys

import numpy as np
import pytest

from ergo.landmarks.depth_errors import DEPTH_ERRORS_PATH
from ergo.posture.angle_names import COLUMN
from ergo.posture.uncertainty import ERRORS_PATH, usual_error, usual_spread
from ergo.training import usual_errors
from ergo.training.examples import read_examples


@pytest.fixture(scope="module")
def examples():
    return read_examples()


def test_both_tables_are_made_again_from_the_stored_examples(tmp_path, monkeypatch):
    made = tmp_path / "depths.csv", tmp_path / "angles.csv"
    monkeypatch.setattr(sys, "argv", ["usual_errors", *map(str, made)])
    usual_errors.main()
    for new, stored in zip(made, (DEPTH_ERRORS_PATH, ERRORS_PATH), strict=True):
        assert new.read_text("utf-8") == stored.read_text("utf-8")


def test_nine_in_ten_intervals_hold_and_twist_is_off_by_less_than_half_as_much(examples):
    known = np.ones(len(examples), bool)
    azimuth_deg, error = usual_errors.plain_errors(examples, "known")
    rest = error - usual_error(azimuth_deg, known)
    held = np.abs(rest) < 1.645 * usual_spread(azimuth_deg, known)
    for angle in ("trunk_twist_deg", "trunk_flexion_deg", "neck_flexion_deg"):
        at = COLUMN[angle]
        assert 0.85 < held[np.isfinite(rest[:, at]), at].mean() < 0.96, angle
    twist = COLUMN["trunk_twist_deg"]
    assert np.nanmean(np.abs(rest[~examples.is_broad, twist])) < 9
