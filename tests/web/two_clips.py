"""Clips of two phones on the same seconds of the sample, with or without sound. No test."""

from fractions import Fraction
from pathlib import Path

import av
import numpy as np

from tests.frames.sound_making import SOUND_HZ, clip_with_sound
from tests.web.conftest import SAMPLES

LATER_S = 1.2
NAMES = ("side.mp4", "rear.mp4")


def two_clips(folder: Path, length_s: float, *, is_silent: bool = False) -> list[Path]:
    """Clips that end together; the second begins ``LATER_S`` after the first."""
    folder.mkdir(parents=True, exist_ok=True)
    with av.open(str(SAMPLES / "kf_scaling.mp4")) as sample:
        pictures = [(f.time, f.to_ndarray(format="rgb24")) for f in sample.decode(video=0)]
    talk = chatter(length_s)
    clips = []
    for name, from_s in zip(NAMES, (0.0, LATER_S), strict=True):
        shown = [picture for time_s, picture in pictures if from_s <= time_s < length_s]
        heard = talk[round(from_s * SOUND_HZ) :]
        make = silent_clip if is_silent else clip_with_sound
        clips.append(make(folder / name, heard, pictures=shown))
    return clips


def chatter(length_s: float) -> np.ndarray:
    """Bursts of noise of changing loudness, like talk."""
    chance = np.random.default_rng(4)
    loud = np.repeat(np.exp(chance.normal(-3, 1.5, round(length_s * 8) + 1)), SOUND_HZ // 8)
    talk = np.clip(loud * chance.normal(size=len(loud)) * 0.3, -1, 1)
    return talk[: round(length_s * SOUND_HZ)]


def silent_clip(path: Path, sound: np.ndarray, *, pictures: list[np.ndarray]) -> Path:
    """A clip without sound, as long as this sound."""
    rate = Fraction(round(len(pictures) * SOUND_HZ / len(sound)))
    with av.open(str(path), "w") as out:
        video = out.add_stream("mpeg4", rate=rate)
        video.height, video.width = pictures[0].shape[:2]
        video.pix_fmt, video.bit_rate = "yuv420p", 2_000_000
        for number, picture in enumerate(pictures):
            frame = av.VideoFrame.from_ndarray(picture, format="rgb24")
            frame.pts, frame.time_base = number, 1 / rate
            out.mux(video.encode(frame))
        out.mux(video.encode())
    return path
