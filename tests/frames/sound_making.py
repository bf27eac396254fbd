"""Tiny clips with sound, made on the spot."""

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import av
import numpy as np

SOUND_HZ = 48000


def clip_with_sound(
    path: Path,
    sound: np.ndarray,
    *,
    codec: str = "aac",
    layout: str = "mono",
    late_s: float = 0.0,
    pictures: Sequence[np.ndarray] = (),
) -> Path:
    """Write a clip with this sound (-1..1, at ``SOUND_HZ``), which begins ``late_s`` late.

    Its pictures fill the time of the sound evenly; black ones, where none are given.
    """
    length_s = len(sound) / SOUND_HZ
    pictures = pictures or [np.zeros((48, 64, 3), np.uint8)] * round(length_s * 25)
    rate = Fraction(round(len(pictures) / length_s))
    with av.open(str(path), "w") as out:
        video = out.add_stream("mpeg4", rate=rate)
        video.height, video.width = pictures[0].shape[:2]
        video.pix_fmt, video.bit_rate = "yuv420p", 2_000_000
        audio = out.add_stream(codec, rate=SOUND_HZ)
        audio.layout = layout
        for number, picture in enumerate(pictures):
            frame = av.VideoFrame.from_ndarray(picture, format="rgb24")
            frame.pts, frame.time_base = number, 1 / rate
            out.mux(video.encode(frame))
        out.mux(video.encode())
        both = np.repeat(sound[None].astype(np.float32), audio.layout.nb_channels, axis=0)
        for start in range(0, len(sound), 1024):
            part = np.ascontiguousarray(both[:, start : start + 1024])
            frame = av.AudioFrame.from_ndarray(part, format="fltp", layout=layout)
            frame.sample_rate, frame.time_base = SOUND_HZ, Fraction(1, SOUND_HZ)
            frame.pts = start + round(late_s * SOUND_HZ)
            out.mux(audio.encode(frame))
        out.mux(audio.encode())
    return path


def clap_at(at_s: float, length_s: float) -> np.ndarray:
    """Faint hiss with 0.1 s of a loud tone."""
    time_s = np.arange(int(length_s * SOUND_HZ)) / SOUND_HZ
    hiss = 0.001 * np.random.default_rng(1).normal(size=len(time_s))
    is_loud = (time_s >= at_s) & (time_s < at_s + 0.1)
    return hiss + np.where(is_loud, 0.5 * np.sin(2 * np.pi * 800 * time_s), 0.0)
