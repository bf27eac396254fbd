"""Loudness over time, of clips with a clap at a known moment."""

import numpy as np
import pytest

from ergo.errors import UnreadableClip
from ergo.frames.clips import ClipSource
from ergo.frames.sound import loudness
from tests.frames.clip_making import make_clip
from tests.frames.sound_making import SOUND_HZ, clap_at, clip_with_sound


def loud_from_to(loud):
    """First and last hundredth of a second above a tenth of the clap's power."""
    at = np.flatnonzero(np.exp(loud) > 0.0125)  # a sine of 0.5 has a mean power of 0.125
    return at[0], at[-1]


@pytest.mark.parametrize("layout", ["mono", "stereo"])
@pytest.mark.parametrize(
    ("name", "codec"), [("a.mp4", "aac"), ("a.mov", "pcm_s16le"), ("a.mkv", "libopus")]
)
def test_a_clap_is_heard_when_it_was(tmp_path, name, codec, layout):
    clip = clip_with_sound(tmp_path / name, clap_at(1.5, 4.0), codec=codec, layout=layout)
    first, last = loud_from_to(loudness(ClipSource(clip).facts))
    assert first == pytest.approx(150, abs=1)
    assert last == pytest.approx(159, abs=1)


def test_sound_that_begins_after_the_pictures_is_not_known_before(tmp_path):
    clip = clip_with_sound(tmp_path / "a.mov", clap_at(1.0, 3.0), codec="pcm_s16le", late_s=0.4)
    loud = loudness(ClipSource(clip).facts)
    assert np.isnan(loud[:40]).all()
    assert loud_from_to(loud)[0] == pytest.approx(140, abs=1)


def test_a_clip_without_sound_has_no_loudness(tmp_path):
    clip = make_clip(tmp_path / "a.mp4", range(0, 2000, 40))
    assert loudness(ClipSource(clip).facts) is None


def test_half_a_damaged_sound_is_still_heard(tmp_path):
    clip = clip_with_sound(tmp_path / "a.mkv", clap_at(0.5, 6.0), codec="libopus")
    facts = ClipSource(clip).facts
    clip.write_bytes(clip.read_bytes()[: clip.stat().st_size * 2 // 3])
    loud = loudness(facts)
    assert loud_from_to(loud)[0] == pytest.approx(50, abs=1)
    assert len(loud) < 600


def test_what_is_no_clip_is_refused(tmp_path):
    clip = clip_with_sound(tmp_path / "a.mp4", np.zeros(SOUND_HZ))
    facts = ClipSource(clip).facts
    clip.write_text("no clip")
    with pytest.raises(UnreadableClip, match="a.mp4: cannot be opened"):
        loudness(facts)
