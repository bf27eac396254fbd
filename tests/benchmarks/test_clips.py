from fractions import Fraction

import av
import numpy as np

from tests.benchmarks.clips import repeated_clip


def test_a_repeated_clip_has_every_picture_again_at_rising_times(tmp_path):
    short, long = tmp_path / "short.mp4", tmp_path / "long.mp4"
    with av.open(str(short), "w") as container:
        stream = container.add_stream("h264", rate=10)
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
        for brightness in range(0, 250, 25):
            picture = np.full((48, 64, 3), brightness, dtype=np.uint8)
            container.mux(stream.encode(av.VideoFrame.from_ndarray(picture)))
        container.mux(stream.encode())
    repeated_clip(short, long, 3.0)
    with av.open(str(long)) as container:
        times = [Fraction(frame.pts) * frame.time_base for frame in container.decode(video=0)]
    assert len(times) == 30
    assert times == [Fraction(number, 10) for number in range(30)]
