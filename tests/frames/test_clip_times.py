"""Clips whose times make no sense: what was left out is said, or the clip is refused."""

import struct

import av
import pytest

from ergo.errors import UnreadableClip
from ergo.frames.clips import ClipSource
from tests.frames.clip_making import make_clip, number_of

STEP_MS = 40
HOUR_MS = 3_600_000
REMEDY = "Export it anew with the program of the camera or phone"


def with_times(tmp_path, times_ms):
    """A clip of key pictures alone, their times overwritten where the file has them.

    No muxer writes times that do not rise. In Matroska each block begins with its track
    (0x81) and its time in its cluster, 16 bits in ms (RFC 9559, section 10.1).
    """
    right_ms = [STEP_MS * number for number in range(len(times_ms))]
    path = make_clip(tmp_path / "a.mkv", right_ms, key_every=1)
    content, at = bytearray(path.read_bytes()), 0
    for right, wanted in zip(right_ms, times_ms, strict=True):
        at = content.index(b"\x81" + struct.pack(">h", right) + b"\x80", at)
        content[at + 1 : at + 3] = struct.pack(">h", wanted)
        at += 4
    path.write_bytes(content)
    return path


def shown(source):
    return [(round(frame.time_s, 2), number_of(frame.picture)) for frame in source]


def rightly(count):
    return [STEP_MS * number for number in range(count)]


def test_the_made_files_hold_the_times_asked_for(tmp_path):
    wanted = [0, 40, 30, 120]
    with av.open(str(with_times(tmp_path, wanted))) as container:
        found = [packet.pts for packet in container.demux(video=0) if packet.size]
    assert found == wanted


def test_pictures_with_broken_times_are_left_out_and_counted(tmp_path):
    times_ms = rightly(20)
    times_ms[7], times_ms[12] = 200, 440  # as late as the 5th and the 11th
    source = ClipSource(with_times(tmp_path, times_ms), rate_hz=25)
    assert [number for _, number in shown(source)] == [n for n in range(20) if n not in (7, 12)]
    assert source.damage == "2 of 20 pictures have broken times and were left out."


def test_a_clip_in_order_says_nothing(tmp_path):
    source = ClipSource(with_times(tmp_path, rightly(20)), rate_hz=5)
    assert len(shown(source)) == 4
    assert source.damage is None


@pytest.mark.parametrize(
    "times_ms",
    [
        [0, *[40] * 19],  # all at once
        [30_000, *rightly(19)],  # the first later than all that follow
        rightly(20)[::-1],  # backwards
    ],
)
def test_a_clip_of_which_most_would_be_left_out_is_refused(tmp_path, times_ms):
    source = ClipSource(with_times(tmp_path, times_ms), rate_hz=25)
    with pytest.raises(UnreadableClip, match=r"a\.mkv: has times that make no sense: ") as refused:
        list(source)
    assert REMEDY in str(refused.value)


def jumping(tmp_path, jump_ms, before=50, after=50, suffix="mp4"):
    times_ms = [STEP_MS * n + (jump_ms if n >= before else 0) for n in range(before + after)]
    return make_clip(tmp_path / f"a.{suffix}", times_ms)


@pytest.mark.parametrize(("suffix", "hours"), [("mp4", 30), ("mkv", 240), ("mkv", 365 * 24)])
def test_a_jump_of_days_is_refused_before_anything_is_watched(tmp_path, suffix, hours):
    source = ClipSource(jumping(tmp_path, hours * HOUR_MS, suffix=suffix))
    with pytest.raises(UnreadableClip, match=rf"they jump by {hours} h\. {REMEDY}"):
        _ = source.facts
    with pytest.raises(UnreadableClip, match=f"they jump by {hours} h"):
        next(iter(source))


def test_a_jump_of_ten_minutes_is_taken_as_it_is(tmp_path):
    source = ClipSource(jumping(tmp_path, 600_000), rate_hz=5)
    times_s = [frame.time_s for frame in source]
    assert times_s[-1] == pytest.approx(600 + 3.8)
    assert len(times_s) == 20


def test_many_jumps_count_together(tmp_path):
    times_ms = [STEP_MS * n + 1_500_000 * (n // 25) for n in range(100)]
    with pytest.raises(UnreadableClip, match="they jump by 75 min"):
        _ = ClipSource(make_clip(tmp_path / "a.mp4", times_ms)).facts


def test_a_few_pictures_of_another_day_are_left_out(tmp_path):
    times_ms = [STEP_MS * n + (100 * HOUR_MS if n >= 55 else 0) for n in range(60)]
    source = ClipSource(make_clip(tmp_path / "a.mkv", times_ms), rate_hz=25)
    assert [number for _, number in shown(source)] == [n % 50 for n in range(55)]
    assert source.damage is not None
    assert source.damage.endswith("5 of 60 pictures have broken times and were left out.")
