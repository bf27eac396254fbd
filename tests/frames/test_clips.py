"""Clips: sampled by time, resumed, turned, damaged, unreadable."""

import gc
import os
import struct
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from ergo.errors import InputError, UnreadableClip
from ergo.frames.clips import ClipSource
from ergo.frames.fetch import picture_at
from tests.frames.clip_making import HEIGHT, WIDTH, make_clip, number_of

EVEN_MS = range(0, 4000, 40)
FRAGMENTED = {"movflags": "frag_keyframe+empty_moov"}
# A display matrix by ISO/IEC 14496-12: x' = a x + c y, y' = b x + d y; rows (a b u) (c d v).
ONE = 1 << 16
LAST_ROW = (0, 0, 1 << 30)
QUARTER_CLOCKWISE = (0, ONE, 0, -ONE, 0, 0, *LAST_ROW)  # (x, y) is shown at (-y, x)
QUARTER_BACK = (0, -ONE, 0, ONE, 0, 0, *LAST_ROW)
HALF = (-ONE, 0, 0, 0, -ONE, 0, *LAST_ROW)
MIRRORED = (-ONE, 0, 0, 0, ONE, 0, *LAST_ROW)


@pytest.fixture
def clip(tmp_path) -> Path:
    """4 s at 25 pictures a second, its index first."""
    return make_clip(tmp_path / "clip.mp4", EVEN_MS, options={"movflags": "faststart"})


def times(source):
    return [round(frame.time_s, 3) for frame in source]


def halved(path: Path) -> Path:
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    return path


def reddest_corner(picture: np.ndarray) -> str:
    rows, columns = picture.shape[0] // 2, picture.shape[1] // 2
    redness = picture[..., 0].astype(float) - picture[..., 1]
    corners = {
        "top left": redness[:rows, :columns],
        "top right": redness[:rows, columns:],
        "bottom left": redness[rows:, :columns],
        "bottom right": redness[rows:, columns:],
    }
    return max(corners, key=lambda name: corners[name].mean())


@pytest.mark.parametrize(
    ("name", "choices"),
    [
        ("a.mp4", {}),
        ("fragmented.mp4", {"options": FRAGMENTED}),
        ("a.m4v", {"container": "mp4"}),
        ("a.mov", {}),
        ("a.mkv", {}),
        ("a.avi", {"ticks_per_s": 25}),
        ("a.webm", {"codec": "libvpx"}),
    ],
)
def test_every_container_gives_the_pictures_shown_at_the_ticks(tmp_path, name, choices):
    source = ClipSource(make_clip(tmp_path / name, EVEN_MS, **choices), rate_hz=5)
    frames = list(source)
    assert [frame.number for frame in frames] == list(range(0, 100, 5))
    assert [number_of(frame.picture) for frame in frames] == [n % 50 for n in range(0, 100, 5)]
    assert [round(frame.time_s, 3) for frame in frames] == [tick / 5 for tick in range(20)]
    assert source.damage is None


def test_pictures_come_in_the_order_shown_though_stored_in_another(tmp_path):
    path = make_clip(tmp_path / "b.mp4", EVEN_MS, codec="libx264", key_every=50)
    frames = list(ClipSource(path, rate_hz=25))
    assert [number_of(frame.picture) for frame in frames] == [n % 50 for n in range(100)]


def test_uneven_times_are_sampled_by_time_and_not_by_counting(tmp_path):
    shown_ms = [0, 30, 90, 210, 230, 390, 401, 650, 1100, 1110]
    source = ClipSource(make_clip(tmp_path / "phone.mkv", shown_ms), rate_hz=5)
    # first at or after 0, .2, .4, .6 and 1.0; nothing is shown between .8 and 1.0
    assert times(source) == [0, 0.21, 0.401, 0.65, 1.1]


def test_no_picture_is_taken_twice_when_more_are_wanted_than_there_are(tmp_path):
    path = make_clip(tmp_path / "slow.mkv", [0, 500, 1000])
    assert times(ClipSource(path, rate_hz=100)) == [0, 0.5, 1.0]


def test_time_begins_with_the_first_picture(tmp_path):
    path = make_clip(tmp_path / "late.mkv", range(700, 1700, 40))
    assert times(ClipSource(path, rate_hz=5))[:2] == [0, 0.2]


@pytest.mark.parametrize(
    ("name", "choices"),
    [
        ("a.mp4", {}),
        ("a.mkv", {}),
        ("a.avi", {"ticks_per_s": 25}),
        ("b.mp4", {"codec": "libx264", "key_every": 20}),
        ("b.mkv", {"codec": "libx264", "key_every": 20}),
        ("open.mp4", {"codec": "libx264", "key_every": 20, "x264": "open-gop=1:bframes=3"}),
    ],
)
@pytest.mark.parametrize("start_s", [0.04, 0.2, 1.999, 2.0, 2.1, 3.8])
def test_resuming_gives_exactly_the_rest(tmp_path, name, choices, start_s):
    path = make_clip(tmp_path / name, EVEN_MS, **choices)
    whole = [
        (f.time_s, f.number, number_of(f.picture)) for f in ClipSource(path) if f.time_s >= start_s
    ]
    rest = ClipSource(path, start_s=start_s)
    assert [(f.time_s, f.number, number_of(f.picture)) for f in rest] == whole
    assert rest.damage is None


def test_resuming_behind_the_end_gives_nothing(clip):
    assert list(ClipSource(clip, start_s=60)) == []


def test_one_picture_can_be_fetched_by_its_time(clip):
    assert number_of(picture_at(ClipSource(clip).facts, 1.4)) == 35


def test_facts_are_those_of_the_container(clip):
    facts = ClipSource(clip, "monday").facts
    assert (facts.name, facts.path, facts.kind) == ("monday", clip, "clip")
    assert (facts.width_px, facts.height_px) == (WIDTH, HEIGHT)
    assert facts.duration_s == pytest.approx(4.0)
    assert facts.rate_hz == pytest.approx(25.0)
    assert facts.focal_px is None


@pytest.mark.parametrize(
    ("matrix", "corner"),
    [
        (None, "top right"),
        (QUARTER_CLOCKWISE, "bottom right"),
        (QUARTER_BACK, "top left"),
        (HALF, "bottom left"),
        (MIRRORED, "top left"),
    ],
)
def test_the_display_matrix_turns_the_picture_upright(tmp_path, matrix, corner):
    source = ClipSource(make_clip(tmp_path / "turned.mp4", range(0, 400, 40), matrix=matrix))
    picture = next(iter(source)).picture
    assert reddest_corner(picture) == corner
    assert picture.shape[:2] == (source.facts.height_px, source.facts.width_px)
    is_turned = matrix in (QUARTER_CLOCKWISE, QUARTER_BACK)
    assert picture.shape[:2] == ((WIDTH, HEIGHT) if is_turned else (HEIGHT, WIDTH))


@pytest.mark.parametrize(
    ("name", "choices"),
    [
        ("index_first.mp4", {"options": {"movflags": "faststart"}}),
        ("fragmented.mp4", {"options": FRAGMENTED}),
        ("a.mkv", {}),
        ("a.avi", {"ticks_per_s": 25}),
        ("a.webm", {"codec": "libvpx"}),
        ("b.mkv", {"codec": "libx264"}),
    ],
)
def test_of_a_clip_cut_off_half_way_the_readable_part_is_given(tmp_path, capfd, name, choices):
    source = ClipSource(halved(make_clip(tmp_path / name, EVEN_MS, **choices)))
    frames = list(source)
    assert 5 <= len(frames) <= 15
    assert [number_of(f.picture) for f in frames] == [f.number % 50 for f in frames]
    assert source.damage is not None
    assert source.damage.startswith("The file is ")
    assert capfd.readouterr() == ("", "")


def test_damage_in_the_middle_loses_that_part_alone(tmp_path, capfd):
    path = make_clip(tmp_path / "hole.mkv", EVEN_MS, codec="libx264")
    content = bytearray(path.read_bytes())
    middle = len(content) // 2
    content[middle : middle + 300] = os.urandom(300)
    path.write_bytes(content)
    frames = list(ClipSource(path))
    assert frames[-1].time_s > 3
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("name", ["a.mp4", "a.mov"])
def test_a_clip_cut_off_before_its_index_is_refused(tmp_path, capfd, name):
    path = halved(make_clip(tmp_path / name, EVEN_MS))
    with pytest.raises(UnreadableClip, match=f"{name}: cannot be opened; .* cut off"):
        list(ClipSource(path))
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize(
    "content", [b"this is a letter", b"#EXTM3U\n#EXTINF:1,\nhttp://127.0.0.1:9/a.ts\n", bytes(5000)]
)
def test_a_file_that_is_no_clip_is_refused(tmp_path, capfd, content):
    (tmp_path / "a.mp4").write_bytes(content)
    with pytest.raises(UnreadableClip, match="a.mp4: cannot be opened"):
        list(ClipSource(tmp_path / "a.mp4"))
    assert capfd.readouterr() == ("", "")


def test_a_clip_of_which_no_picture_can_be_decoded_is_refused(clip, capfd):
    content = clip.read_bytes()
    payload = content.index(b"mdat") + 4
    clip.write_bytes(content[:payload] + bytes(len(content) - payload))
    with pytest.raises(UnreadableClip, match=r"clip\.mp4: holds no picture that can be decoded"):
        list(ClipSource(clip))
    assert capfd.readouterr() == ("", "")


def test_a_recording_of_sound_alone_is_refused(tmp_path):
    with av.open(str(tmp_path / "sound.mkv"), "w") as out:
        stream = out.add_stream("pcm_s16le", rate=8000, layout="mono")
        silence = av.AudioFrame.from_ndarray(np.zeros((1, 800), np.int16), "s16", "mono")
        silence.sample_rate = 8000
        out.mux(stream.encode(silence))
        out.mux(stream.encode())
    with pytest.raises(UnreadableClip, match=r"sound\.mkv: holds sound but no pictures"):
        list(ClipSource(tmp_path / "sound.mkv"))


def test_an_empty_file_is_refused(tmp_path):
    (tmp_path / "a.mp4").touch()
    with pytest.raises(UnreadableClip, match="a.mp4: is empty"):
        list(ClipSource(tmp_path / "a.mp4"))


def test_a_file_that_vanishes_is_told_in_one_line(clip):
    source = ClipSource(clip)
    clip.unlink()
    with pytest.raises(UnreadableClip, match="clip.mp4: is no longer there"):
        list(source)


@pytest.mark.parametrize("name", ["a b.mp4", "Prüfung ß.mp4", "🦷.mp4", "100%d a:b.mp4", "-i.mp4"])
def test_any_name_works(tmp_path, name):
    source = ClipSource(make_clip(tmp_path / "x.mp4", EVEN_MS).rename(tmp_path / name))
    assert len(list(source)) == 20
    assert source.facts.name == name


@pytest.mark.parametrize("rate_hz", [0, -5, float("nan")])
def test_an_impossible_rate_is_refused(clip, rate_hz):
    with pytest.raises(InputError, match="above 0"):
        ClipSource(clip, rate_hz=rate_hz)


def test_decoded_pictures_do_not_stay_in_memory(clip):
    gc.collect()
    gc.disable()  # it does not know how much memory a picture takes
    try:
        assert len(list(ClipSource(clip, rate_hz=25.0))) == 100
        held = sum(isinstance(each, av.VideoFrame) for each in gc.get_objects())
    finally:
        gc.enable()
    assert held < 10


def one_picture(path, width, height):
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264", rate=25, options={"preset": "ultrafast"})
        stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
        out.mux(stream.encode(av.VideoFrame(width, height, "yuv420p")))
        out.mux(stream.encode())
    return path


def with_pixel_shape(clip: bytes, across: int, down: int) -> bytes:
    """An MP4 with a box that states the shape of its pixels (ISO/IEC 14496-12, pasp)."""
    changed = bytearray(clip)
    described = changed.index(b"avc1", changed.index(b"stsd"))
    (size,) = struct.unpack(">I", changed[described - 4 : described])
    end = described - 4 + size
    changed[end:end] = struct.pack(">I4sII", 16, b"pasp", across, down)
    for place in [changed.index(kind) for kind in (b"moov", b"trak", b"mdia", b"minf", b"stbl")] + [
        changed.index(b"stsd"),
        described,
    ]:
        (size,) = struct.unpack(">I", changed[place - 4 : place])
        changed[place - 4 : place] = struct.pack(">I", size + 16)
    return bytes(changed)


@pytest.mark.parametrize("pixel_shape", [(1, 1500), (1500, 1)])
def test_pixels_that_would_make_a_picture_too_narrow_to_show_anybody_are_refused(
    tmp_path, pixel_shape
):
    path = one_picture(tmp_path / "a.mp4", 64, 48)
    path.write_bytes(with_pixel_shape(path.read_bytes(), *pixel_shape))
    for read in (lambda: ClipSource(path).facts, lambda: list(ClipSource(path))):
        with pytest.raises(UnreadableClip, match=r"a\.mp4: is \d+ x 48 px, too narrow"):
            read()


@pytest.mark.parametrize(("width", "height"), [(6016, 6016), (4224, 2880)])
def test_a_clip_of_too_large_pictures_is_refused_before_any_is_decoded(
    tmp_path, monkeypatch, width, height
):
    path = one_picture(tmp_path / "a.mp4", width, height)
    monkeypatch.setattr(ClipSource, "_decoded", None)
    for read in (lambda: ClipSource(path).facts, lambda: list(ClipSource(path))):
        with pytest.raises(UnreadableClip, match=r"a\.mp4: has too many pixels"):
            read()


def test_a_picture_of_another_size_within_a_clip_is_left_out_and_told(tmp_path):
    """MPEG-4 part 2 states its size again at every key picture."""
    parts = []
    for number, (width, height) in enumerate([(64, 48), (96, 80)]):
        raw = tmp_path / f"{number}.m4v"
        with av.open(str(raw), "w", format="m4v") as out:
            stream = out.add_stream("mpeg4", rate=5)
            stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
            for at in range(5):
                frame = av.VideoFrame(width, height, "yuv420p")
                frame.pts = at
                out.mux(stream.encode(frame))
            out.mux(stream.encode())
        parts.append(raw)
    path = tmp_path / "a.avi"
    with av.open(str(path), "w") as joined:
        copied = None
        at = 0
        for part in parts:
            with av.open(str(part), format="m4v") as given:
                copied = copied or joined.add_stream_from_template(given.streams.video[0])
                for packet in given.demux(video=0):
                    if packet.size:
                        packet.stream, packet.pts, packet.dts = copied, at, at
                        packet.time_base = Fraction(1, 5)
                        joined.mux(packet)
                        at += 1
    source = ClipSource(path)
    shapes = {frame.picture.shape for frame in source}
    assert shapes == {(48, 64, 3)}
    assert source.damage is not None
