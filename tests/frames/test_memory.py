"""What reading takes: with 0.6 GB for the networks, no input takes more than 1.3 GB in all."""

import subprocess
import sys

import av
import numpy as np
import pytest
from PIL import Image

MOST_MIB = 660
READS = """
import re, sys
from pathlib import Path
from ergo.frames.find import find_sources
def peak():
    return int(re.search(r"VmHWM:\\s+(\\d+) kB", Path("/proc/self/status").read_text())[1]) // 1024
before = peak()
for frame in find_sources([Path(sys.argv[1])], 1000.0).sources[0]:
    size = frame.picture.shape
print(size[0] * size[1], peak() - before)
"""


def read_in_a_process(path):
    """Pixels of the last picture, and what reading the file took at most [MiB]."""
    done = subprocess.run(
        [sys.executable, "-c", READS, str(path)], capture_output=True, check=True, text=True
    )
    return map(int, done.stdout.split())


def square(width, height, mode):
    kept = np.zeros((height, width), np.uint16 if mode == "I;16" else np.uint8)
    kept[height // 3 : height // 2, width // 4 : width // 2] = 200
    return Image.fromarray(kept).convert(mode) if mode != "I;16" else Image.fromarray(kept)


@pytest.mark.parametrize(
    ("name", "size", "mode"),
    [
        ("clear.png", (7200, 4990), "RGBA"),
        ("grey.png", (4990, 7200), "I;16"),
        ("palette.png", (7200, 4990), "P"),
        ("phone.jpg", (9000, 6600), "RGB"),
        ("layers.tif", (7200, 4990), "CMYK"),
    ],
)
def test_the_largest_still_is_read_within_bounds(tmp_path, name, size, mode):
    square(*size, mode).save(tmp_path / name)
    pixels, peak_mib = read_in_a_process(tmp_path / name)
    assert pixels == size[0] * size[1]
    assert 100 < peak_mib < MOST_MIB


def test_the_largest_clip_with_all_its_references_is_read_within_bounds(tmp_path):
    size = (4000, 2992)
    with av.open(tmp_path / "a.mp4", "w") as clip:
        stream = clip.add_stream("libx264", rate=30)
        stream.width, stream.height = size
        stream.pix_fmt = "yuv420p"
        stream.options = {"preset": "ultrafast", "x264-params": "ref=16:bframes=0:level=6.2"}
        for number in range(18):
            picture = av.VideoFrame.from_ndarray(
                np.full((size[1] * 3 // 2, size[0]), 16 + number, np.uint8), format="yuv420p"
            )
            clip.mux(stream.encode(picture))
        clip.mux(stream.encode())
    pixels, peak_mib = read_in_a_process(tmp_path / "a.mp4")
    assert pixels == size[0] * size[1]
    assert 100 < peak_mib < MOST_MIB
