"""Tiny clips, made on the spot; each picture tells its own number."""

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

WIDTH, HEIGHT = 64, 48


def numbered_picture(number: int) -> np.ndarray:
    """A picture whose left half is as bright as its number says; top right is red."""
    picture = np.zeros((HEIGHT, WIDTH, 3), dtype=np.uint8)
    picture[:, : WIDTH // 2] = 40 + 4 * (number % 50)
    picture[: HEIGHT // 2, WIDTH // 2 :, 0] = 255
    return picture


def number_of(picture: np.ndarray) -> int:
    """Which number an upright decoded picture shows."""
    return round((float(np.mean(picture[8:40, 8:24])) - 40) / 4)


def make_clip(
    path: Path,
    times_ms: Sequence[int],
    *,
    codec: str = "mpeg4",
    container: str | None = None,
    options: dict[str, str] | None = None,
    matrix: Sequence[int] | None = None,
    ticks_per_s: int = 1000,
    key_every: int = 5,
    x264: str = "",
) -> Path:
    """Write a clip whose pictures are shown at the given times [ms]."""
    with av.open(str(path), "w", format=container, options=options or {}) as out:
        stream = out.add_stream(codec, rate=25)
        stream.width, stream.height, stream.pix_fmt = WIDTH, HEIGHT, "yuv420p"
        stream.bit_rate = 2_000_000
        stream.gop_size = key_every
        stream.time_base = stream.codec_context.time_base = Fraction(1, ticks_per_s)
        if x264:
            stream.options = {"x264-params": x264}
        if matrix:
            stream.set_display_matrix(matrix)
        for number, at_ms in enumerate(times_ms):
            frame = av.VideoFrame.from_ndarray(numbered_picture(number), format="rgb24")
            frame.pts = at_ms * ticks_per_s // 1000
            frame.time_base = Fraction(1, ticks_per_s)
            out.mux(stream.encode(frame))
        out.mux(stream.encode())
    return path


@pytest.fixture
def clip(tmp_path) -> Path:
    """4 s at 25 pictures a second, its index first."""
    return make_clip(tmp_path / "clip.mp4", range(0, 4000, 40), options={"movflags": "faststart"})
