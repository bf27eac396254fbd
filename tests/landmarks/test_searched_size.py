import numpy as np
import pytest

from ergo.frames.frame import SourceFacts
from ergo.tracking.follow import DECODED_AHEAD, _ahead
from ergo.tracking.people_finder import MOST_SEARCHED_PIXELS, _searchable


@pytest.mark.parametrize(("height", "width"), [(4990, 7200), (9000, 1200), (3001, 3000)])
def test_a_huge_picture_is_searched_smaller_and_shows_the_same(height, width):
    picture = np.zeros((height, width, 3), np.uint8)
    picture[: height // 4, width // 2 :] = 200
    small = _searchable(picture)
    assert small.shape[0] * small.shape[1] <= 1.001 * MOST_SEARCHED_PIXELS
    assert small.shape[0] / small.shape[1] == pytest.approx(height / width, rel=2e-3)
    assert (small == 200).mean() == pytest.approx(0.125, abs=2e-3)
    assert small[: small.shape[0] // 5, small.shape[1] * 3 // 5 :].min() == 200


def test_a_usual_picture_is_searched_as_it_is():
    picture = np.arange(2160 * 3840 * 3, dtype=np.uint8).reshape(2160, 3840, 3)
    np.testing.assert_array_equal(_searchable(picture), picture)


@pytest.mark.parametrize(
    ("size", "ahead"), [((1280, 960), DECODED_AHEAD), ((3840, 2160), 1), ((9000, 6600), 1)]
)
def test_fewer_large_pictures_wait_decoded(tmp_path, size, ahead):
    facts = SourceFacts("a.mp4", tmp_path, "clip", *size, 1.0, 5.0, None, "0")
    assert _ahead(facts) == ahead
