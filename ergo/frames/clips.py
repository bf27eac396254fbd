"""Clips: MP4, MOV, AVI, MKV and WebM files, sampled by presentation time."""

from collections.abc import Iterator
from fractions import Fraction
from functools import cached_property
from pathlib import Path
from typing import cast

import av
import av.logging
import numpy as np
from av.container import InputContainer
from av.video.frame import VideoFrame
from av.video.stream import VideoStream

from ergo.arrays import AnyArray, PictureArray
from ergo.errors import InputError, UnreadableClip
from ergo.frames.clip_times import ClipTimes, check_broken, clip_times
from ergo.frames.file_checks import MOST_PIXELS_OF_CLIPS, check_declared, check_readable, sha256_of
from ergo.frames.frame import Frame, SourceFacts

CLIP_SUFFIXES = frozenset({".mp4", ".m4v", ".mov", ".avi", ".mkv", ".webm"})

# Nothing but these containers, from nothing but files: a playlist in disguise
# must not make the decoder fetch from a network.
_OPEN_OPTIONS = {"protocol_whitelist": "file", "format_whitelist": "mov,matroska,avi"}

MOST_PIXELS_AT_ONCE = 2_500_000
"""Larger ones (than Full HD) are decoded one at a time: each that waits is memory (ours)."""
_TICK_SLACK = 1e-6  # of a sampling step; takes up rounding of times
_MISSING_END_S = 0.5  # a container's stated length is trusted to this much

av.logging.set_level(None)  # the decoder must not write to the user's stderr


class ClipSource:
    """One clip; of its pictures, those nearest after each tick of a time grid.

    A picture is taken if it is the first at or after a tick (a whole multiple of
    ``1 / rate_hz`` since the clip's first picture). No picture is taken twice.

    Parameters
    ----------
    path : Path
    name : str, optional
        Name shown to people; the file's own where it is not given.
    rate_hz : float
        Pictures wanted a second. [1/s]
    start_s : float
        Only pictures at or after this time, of the same grid. [s]
    """

    def __init__(
        self, path: Path, name: str | None = None, rate_hz: float = 5.0, start_s: float = 0.0
    ) -> None:
        if not rate_hz > 0:
            raise InputError("The sampling rate must be above 0 pictures a second.")
        self._path = path
        self._name = name or path.name
        self._rate_hz = rate_hz
        self._start_s = start_s
        self._damage: str | None = None
        self._lost = 0
        self._size: tuple[int, int] | None = None
        self._far_away: frozenset[int] = frozenset()

    @cached_property
    def _times(self) -> ClipTimes:
        """What the index says of the pictures' times; refused where they make no sense."""
        with self._open() as container:
            return clip_times(container, self._name)

    @cached_property
    def facts(self) -> SourceFacts:
        """What is known of the clip; reads its times and decodes its first picture."""
        self._far_away = self._times.far_away
        with self._open() as container:
            stream = container.streams.video[0]
            first = next(self._decoded(container, stream), None)
            if first is None:
                raise self._undecodable()
            matrix = _display_matrix(first)
            height, width = _upright(first, stream.sample_aspect_ratio, matrix).shape[:2]
            return SourceFacts(
                name=self._name,
                path=self._path,
                kind="clip",
                width_px=width,
                height_px=height,
                duration_s=_stated_duration_s(container, stream),
                rate_hz=float(stream.average_rate) if stream.average_rate else None,
                focal_px=None,
                sha256=sha256_of(self._path, self._name, UnreadableClip),
            )

    @property
    def damage(self) -> str | None:
        """After iterating: why pictures are missing, in sentences; else None."""
        return self._damage

    def __iter__(self) -> Iterator[Frame]:
        """Decode the pictures to be analysed, one at a time."""
        self._damage, self._lost, self._far_away = None, 0, self._times.far_away
        with self._open() as container:
            pixel_shape = container.streams.video[0].sample_aspect_ratio
            first_number, matrix = None, None
            for picture, time_s, count in self._sampled(container):
                if first_number is None:
                    first_number = self._first_number(picture, count)
                    matrix = _display_matrix(picture)
                yield Frame(_upright(picture, pixel_shape, matrix), time_s, first_number + count)

    def starting_at(self, start_s: float) -> "ClipSource":
        """Return the same clip from a time (in seconds) on, on the same grid of times."""
        return ClipSource(self._path, self._name, self._rate_hz, start_s)

    def picture(self) -> PictureArray | None:
        """Return the first picture at or after the start alone, or None if there is none."""
        with self._open() as container:
            for picture, _, _ in self._sampled(container):
                pixel_shape = container.streams.video[0].sample_aspect_ratio
                return _upright(picture, pixel_shape, _display_matrix(picture))
        return None

    def _sampled(self, container: InputContainer) -> Iterator[tuple[VideoFrame, float, int]]:
        """Yield picture, time [s] and count since decoding began, of those wanted."""
        stream = container.streams.video[0]
        is_large = stream.width * stream.height > MOST_PIXELS_AT_ONCE
        stream.thread_type = "SLICE" if is_large else "AUTO"
        origin_s, pictures = self._from_start(container, stream)
        last_s, step_s, last_tick, broken, count = -np.inf, 0.0, -1, 0, -1
        for count, picture in enumerate(pictures):
            time_s = _time_s(picture) - origin_s
            if time_s <= last_s:
                broken += 1  # shown earlier than the one before it: a broken time stamp
                continue
            step_s, last_s = time_s - last_s, time_s
            tick = int(np.floor(time_s * self._rate_hz + _TICK_SLACK))
            if tick > last_tick and time_s >= self._start_s:
                yield picture, time_s, count
            last_tick = tick
        check_broken(broken, count + 1, self._name)
        missing = self._what_is_missing(container, stream, last_s, step_s)
        self._damage = " ".join(filter(None, (missing, self._what_is_broken(broken)))) or None

    def _from_start(
        self, container: InputContainer, stream: VideoStream
    ) -> tuple[float, Iterator[VideoFrame]]:
        """Return the time of the first picture [s] and pictures from before the start."""
        pictures = self._decoded(container, stream)
        first = next(pictures, None)
        if first is None:
            raise self._undecodable()
        origin_s = _time_s(first)
        # one sampling step earlier, so that the picture before the start is known
        wanted_s = origin_s + self._start_s - 1 / self._rate_hz
        if wanted_s > origin_s:
            return origin_s, self._sought(container, stream, first, wanted_s)
        return origin_s, _with_first(first, pictures)

    def _sought(
        self, container: InputContainer, stream: VideoStream, first: VideoFrame, wanted_s: float
    ) -> Iterator[VideoFrame]:
        """Yield pictures from the last key picture before a time of the container [s]."""
        for target_s in (wanted_s, wanted_s - 10.0):
            try:
                container.seek(int(target_s / (stream.time_base or 1)), stream=stream)
            except av.error.FFmpegError:
                break
            pictures = self._decoded(container, stream)
            landed = next(pictures, None)
            if landed is not None and _time_s(landed) <= wanted_s:
                yield from _with_first(landed, pictures)
                return
        container.seek(first.pts or 0, stream=stream)  # an index that leads astray
        yield from self._decoded(container, stream)

    def _decoded(self, container: InputContainer, stream: VideoStream) -> Iterator[VideoFrame]:
        """Yield whole pictures in order of presentation; count what cannot be decoded."""
        packets = container.demux(stream)
        while True:
            try:
                packet = next(packets, None)
                if packet is None:
                    return
                pictures = packet.decode()
            except av.error.FFmpegError:
                self._lost += 1
                continue
            for picture in pictures:
                if not isinstance(picture, VideoFrame) or not self._is_whole(picture):
                    self._lost += 1
                elif picture.pts not in self._far_away:
                    yield picture

    def _is_whole(self, picture: VideoFrame) -> bool:
        """Return whether a picture is not damaged, and of the size of the clip's first."""
        size = (picture.width, picture.height)
        if self._size is None and not picture.is_corrupt:
            self._size = size
        return size == self._size and not picture.is_corrupt

    def _first_number(self, picture: VideoFrame, count: int) -> int:
        """Return the number of the picture with which decoding began."""
        if self._start_s <= 0 or picture.pts is None:
            return 0
        before = 0
        with self._open() as container:
            for packet in container.demux(container.streams.video[0]):
                at = packet.pts if packet.pts is not None else packet.dts
                before += at is not None and at < picture.pts
                if packet.dts is not None and packet.dts > picture.pts:
                    break
        return before - count

    def _what_is_missing(
        self, container: InputContainer, stream: VideoStream, last_s: float, step_s: float
    ) -> str | None:
        stated_s = _stated_duration_s(container, stream)
        end_s = last_s + (step_s if np.isfinite(step_s) else 0.0)
        if stated_s is not None and end_s < stated_s - _MISSING_END_S:
            return f"The file is cut off: {end_s:.1f} s of the stated {stated_s:.1f} s can be read."
        if self._lost:
            return (
                f"The file is damaged: {self._lost} part(s) could not be decoded and were left out."
            )
        return None

    def _what_is_broken(self, broken: int) -> str | None:
        broken = max(broken, self._times.broken)
        if not broken:
            return None
        return f"{broken} of {self._times.pictures} pictures have broken times and were left out."

    def _open(self) -> InputContainer:
        return opened_clip(self._path, self._name)

    def _undecodable(self) -> UnreadableClip:
        return UnreadableClip(
            "holds no picture that can be decoded.",
            where=f"{self._name}:",
            remedy="Copy it again from the camera.",
        )


def opened_clip(path: Path, name: str) -> InputContainer:
    """Open a clip; ``name`` is what errors call it.

    Raises
    ------
    UnreadableClip
        If it cannot be opened, or holds no pictures.
    """
    check_readable(path, name, UnreadableClip)
    try:
        container = av.open(f"file:{path.absolute()}", options=dict(_OPEN_OPTIONS))
    except (av.error.FFmpegError, OSError, ValueError) as cause:
        raise UnreadableClip(
            "cannot be opened; it is damaged, cut off or not a clip.",
            where=f"{name}:",
            remedy="Copy it again from the camera.",
        ) from cause
    if not container.streams.video:
        container.close()
        raise UnreadableClip("holds sound but no pictures.", where=f"{name}:")
    try:
        _check_size(container.streams.video[0], name)
    except UnreadableClip:
        container.close()
        raise
    return container


def _check_size(stream: VideoStream, name: str) -> None:
    """Refuse pictures that are too large, before the first is decoded."""
    codec = stream.codec_context
    if codec is None:  # a kind of coding that nobody knows
        raise UnreadableClip(
            "holds no picture that can be decoded.",
            where=f"{name}:",
            remedy="Copy it again from the camera.",
        )
    shape = float(stream.sample_aspect_ratio or 1) or 1.0
    for width in (round(codec.width * shape), codec.width):
        check_declared(width, codec.height, name, UnreadableClip, MOST_PIXELS_OF_CLIPS)


def _with_first(first: VideoFrame, rest: Iterator[VideoFrame]) -> Iterator[VideoFrame]:
    yield first
    yield from rest


def _time_s(picture: VideoFrame) -> float:
    """Return the presentation time by the container's clock. [s]."""
    at = picture.pts if picture.pts is not None else picture.dts
    return float((at or 0) * (picture.time_base or 0))


def _stated_duration_s(container: InputContainer, stream: VideoStream) -> float | None:
    """Return the length of the pictures as the container states it. [s]."""
    if stream.duration and stream.time_base:
        return float(stream.duration * stream.time_base)
    return container.duration / av.time_base if container.duration else None


def _display_matrix(picture: VideoFrame) -> AnyArray | None:
    """Return how the container says that its pictures are to be turned, array (3, 3).

    Asked of one picture of a clip only: side data and their picture hold on to each
    other, so that a picture that was asked stays in memory for a long time.
    """
    matrix = picture.side_data.get("DISPLAYMATRIX")
    if matrix is None:
        return None
    return np.frombuffer(cast(bytes, matrix), dtype=np.int32).reshape(3, 3).copy()


def _upright(
    picture: VideoFrame, pixel_shape: Fraction | None, matrix: AnyArray | None
) -> PictureArray:
    """Return the picture as RGB with square pixels, turned by a display matrix."""
    width = round(picture.width * pixel_shape) if pixel_shape else picture.width
    plain = picture.reformat(width=width, height=picture.height, format="rgb24")
    rgb: PictureArray = plain.to_ndarray().astype(np.uint8, copy=False)
    if matrix is not None:
        rgb = _turned(rgb, matrix)
    return np.ascontiguousarray(rgb)


def _turned(rgb: PictureArray, matrix: AnyArray) -> PictureArray:
    """Apply a display matrix, to the quarter turn.

    It shows the point (x, y) at (x, y) @ matrix[:2, :2], y down (ISO/IEC
    14496-12, track header; from memory). Shifts are left out.
    """
    across, down = matrix[0, 0], matrix[1, 1]
    if abs(matrix[0, 1]) > abs(across):
        rgb = rgb.transpose(1, 0, 2)
        across, down = matrix[1, 0], matrix[0, 1]
    return rgb[:: -1 if down < 0 else 1, :: -1 if across < 0 else 1]
