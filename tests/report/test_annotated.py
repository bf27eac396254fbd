"""What is written into pictures that are passed on can be read."""

import numpy as np
import pytest

from ergo.report.pictures.annotated import CAPTION_ANGLES, captioned
from ergo.report.text.words import words

NOT_IN_ANY_FONT = "\U0010fffd"


def ink(text: str) -> np.ndarray:
    """Where a caption is written, array (row, column), without empty edges."""
    picture = captioned(np.zeros((720, 960, 3), np.uint8), text)
    written = picture[..., 1] > 128
    assert written.any()
    return written[np.ix_(written.any(axis=1), written.any(axis=0))]


def test_a_minus_sign_is_one_bar_and_no_box():
    minus = ink(words("en").measure(-3.0, "neck_flexion_deg")[0])
    assert minus.all()
    assert minus.shape[1] > 2 * minus.shape[0]


def test_minus_3_does_not_read_as_3():
    minus, plus = (ink(words("en").measure(v, "neck_flexion_deg")) for v in (-3.0, 3.0))
    assert minus.shape[1] > plus.shape[1] + 3
    np.testing.assert_array_equal(minus[:, -plus.shape[1] :], plus)


@pytest.mark.parametrize("language", ["en", "de"])
def test_the_font_has_every_sign_of_a_caption(language):
    own = words(language)
    said = [own.name("angle", name) for name in CAPTION_ANGLES]
    said += [own.measure(value, "neck_flexion_deg") for value in (-12.3, 9.0)]
    said += [own.say("number.plus_minus", value="1", spread="2"), own.say("number.unknown")]
    said += [own.clock_time(4567.8)]
    box = ink(NOT_IN_ANY_FONT)
    for sign in sorted(set("".join(said)) - {" ", "\n", "\u202f", "\u00a0"}):
        shown = ink(sign)
        assert shown.shape != box.shape or (shown != box).any(), f"{sign!r} is a box"
