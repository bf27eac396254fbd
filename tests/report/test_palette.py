from itertools import combinations

import numpy as np
import pytest

from ergo.errors import InputError
from ergo.report.palette import INK, NOT_JUDGED, PAPER, STRAIN, marks_for

# Machado GM, Oliveira MM, Fernandes LAF (2009), severity 1.0, on linear RGB.
SIGHT = {
    "full": np.eye(3),
    "protanopia": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "deuteranopia": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "tritanopia": np.array(
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ]
    ),
}
# sRGB (D65) to XYZ, IEC 61966-2-1
XYZ_FROM_RGB = np.array(
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
)
TOLD_APART = 12.0  # CIE 1976 colour difference; about 2.3 is just noticeable


def linear_rgb(colour):
    coded = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


def lab(rgb):
    xyz = XYZ_FROM_RGB @ np.clip(rgb, 0, 1) / (XYZ_FROM_RGB @ np.ones(3))
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def seen(colour, sight):
    return lab(SIGHT[sight] @ linear_rgb(colour))


def contrast(one, other):
    """WCAG 2 contrast ratio."""
    light, dark = sorted(float(XYZ_FROM_RGB[1] @ linear_rgb(c)) for c in (one, other))[::-1]
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("sight", SIGHT)
def test_the_simulation_leaves_grey_grey(sight):
    assert seen("#808080", sight) == pytest.approx(lab(linear_rgb("#808080")), abs=0.1)


@pytest.mark.parametrize("sight", SIGHT)
@pytest.mark.parametrize(("one", "other"), list(combinations([m.colour for m in STRAIN], 2)))
def test_two_strain_colours_differ_under_colour_blindness(sight, one, other):
    assert np.linalg.norm(seen(one, sight) - seen(other, sight)) > TOLD_APART


@pytest.mark.parametrize("sight", SIGHT)
def test_strain_darkens_step_by_step_so_that_grey_print_keeps_the_order(sight):
    lightness = [seen(mark.colour, sight)[0] for mark in STRAIN]
    assert np.all(np.diff(lightness) < -TOLD_APART)


def test_no_mark_lives_by_colour_alone():
    marks = (*STRAIN, NOT_JUDGED)
    assert len({mark.hatch for mark in marks}) == len(marks)
    assert len({mark.symbol for mark in marks}) == len(marks)


@pytest.mark.parametrize("mark", STRAIN)
def test_text_and_pattern_can_be_read_on_every_fill(mark):
    assert contrast(mark.colour, mark.hatch_colour) > 4.5


def test_ink_can_be_read_on_paper():
    assert contrast(INK, PAPER) > 7


@pytest.mark.parametrize("steps", range(1, 6))
def test_a_scale_of_every_length_has_distinct_marks_in_rising_order(steps):
    chosen = [STRAIN.index(mark) for mark in marks_for(steps)]
    assert len(chosen) == steps
    assert chosen == sorted(set(chosen))


def test_a_scale_that_is_too_long_is_refused():
    with pytest.raises(InputError):
        marks_for(6)
