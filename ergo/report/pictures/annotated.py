"""Pictures and clips that may be passed on: landmarks drawn in, nobody to be recognised."""

from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from pathlib import Path

import numpy as np

from ergo.arrays import FloatArray, PictureArray
from ergo.errors import NothingToAnalyse, OutputError
from ergo.frames.clips import ClipSource
from ergo.frames.same_file import check_same_file
from ergo.report.pictures.faces import blur_heads, blur_outside, head_of
from ergo.report.pictures.moment_pictures import bystander_heads, drawn, outline, tracked_heads
from ergo.report.text.words import Words
from ergo.session.session import Recording, Session

CAPTION_ANGLES = (
    "neck_flexion_deg",
    "trunk_flexion_deg",
    "upper_arm_elevation_deg_left",
    "upper_arm_elevation_deg_right",
)
SD_OF_90_PERCENT = 1.645
WIDEST_PX = 1280
_DARK, _LIGHT = (28, 20, 60), (255, 255, 255)


def safe_picture(
    recording: Recording, frame: int, picture: PictureArray, *, blur_operator: bool
) -> PictureArray:
    """Return a frame in which nobody but the operator can be recognised; quick.

    Everything outside the operator's outline is blurred softly, heads whose
    landmarks are known strongly.
    """
    operator = recording.tracks["operator"]
    points = _points(recording, frame)
    keep = np.zeros(picture.shape[:2], bool)
    if points is not None:
        keep = outline(points, picture.shape[:2])
    safe = blur_outside(picture, keep)
    safe = blur_heads(safe, tracked_heads(recording, frame, picture.shape[0]))
    own = head_of(operator, frame, picture.shape[0])
    return blur_heads(safe, [own]) if blur_operator and own is not None else safe


def annotated_picture(session: Session, frame: int, picture: PictureArray) -> PictureArray:
    """Return a frame with landmarks and every face blurred, also those no landmark tells."""
    safe = safe_picture(session.recording, frame, picture, blur_operator=True)
    safe = blur_heads(safe, bystander_heads(session, frame, picture))
    points = _points(session.recording, frame)
    return safe if points is None else drawn(safe, points)


def write_annotated_clip(session: Session, source: int, path: Path, words: Words) -> None:
    """Write the analysed pictures of a clip as MP4, landmarks and angles drawn in.

    Raises
    ------
    NothingToAnalyse
        If the source is a still.
    UnreadableClip
        If the recording is no longer at its place, or another file lies there.
    OutputError
        If the clip cannot be written.
    """
    facts = session.recording.sources[source]
    if facts.kind != "clip":
        raise NothingToAnalyse("is a still, not a clip.", where=f"{facts.name}:")
    check_same_file(facts)
    rate = Fraction(session.recording.settings.rate_hz).limit_denominator(1000)
    try:
        _encode(_annotated(session, source, words), rate, path)
    except OSError as error:
        raise OutputError(f"cannot be written ({error.strerror}).", where=f"{path}:") from error


def _annotated(session: Session, source: int, words: Words) -> Iterator[PictureArray]:
    recording = session.recording
    facts = recording.sources[source]
    frames = recording.timeline.frames_of(source)
    frame_of = dict(zip(recording.number[frames].tolist(), frames.tolist(), strict=True))
    for shown in ClipSource(facts.path, facts.name, recording.settings.rate_hz):
        frame = frame_of.get(shown.number)
        if frame is None:
            continue
        safe = safe_picture(recording, frame, shown.picture, blur_operator=True)
        points = _points(recording, frame)
        picture = safe if points is None else drawn(safe, points)
        yield captioned(picture, _caption(session, frame, words))


def _caption(session: Session, frame: int, words: Words) -> str:
    lines = [words.clock_time(float(session.recording.timeline.time_s[frame]))]
    for name in CAPTION_ANGLES:
        value = float(session.posture.angle(name)[frame])
        spread = SD_OF_90_PERCENT * float(session.posture.angle_sd(name)[frame])
        text = words.say("number.unknown")
        if np.isfinite(value):
            text = words.say(
                "number.plus_minus",
                value=words.measure(value, name),
                spread=words.measure(spread, name),
            )
        lines.append(f"{words.name('angle', name)}: {text}")
    return "\n".join(lines)


def captioned(picture: PictureArray, text: str) -> PictureArray:
    """Return a picture, at most :data:`WIDEST_PX` wide, with lines of text at its top left."""
    from PIL import Image, ImageDraw, ImageFont

    image = Image.fromarray(picture)
    image.thumbnail((WIDEST_PX, WIDEST_PX))
    draw = ImageDraw.Draw(image)
    font = ImageFont.truetype(_font(), size=max(11, image.height // 36))
    at = (image.width // 60, image.height // 60)
    left, top, right, bottom = draw.multiline_textbbox(at, text, font=font)
    draw.rectangle((left - 6, top - 4, right + 6, bottom + 6), fill=_DARK)
    draw.multiline_text(at, text, font=font, fill=_LIGHT)
    return np.asarray(image, dtype=np.uint8)


@cache
def _font() -> Path:
    """Return the font of the plots, which has the minus sign; Pillow's own draws a box for it."""
    import matplotlib

    return Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf"


def _encode(pictures: Iterator[PictureArray], rate: Fraction, path: Path) -> None:
    import av

    with av.open(str(path), "w", format="mp4") as container:
        stream = None
        for picture in pictures:
            even = picture[: picture.shape[0] // 2 * 2, : picture.shape[1] // 2 * 2]
            if stream is None:
                stream = container.add_stream("libx264", rate=rate)
                stream.width, stream.height = even.shape[1], even.shape[0]
                stream.pix_fmt = "yuv420p"
            frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(even), format="rgb24")
            container.mux(stream.encode(frame))
        if stream is not None:
            container.mux(stream.encode())


def _points(recording: Recording, frame: int) -> FloatArray | None:
    operator = recording.tracks["operator"]
    if not operator.found[frame]:
        return None
    points: FloatArray = np.nanmean(operator.picture_px[frame, :, :, :2], axis=0)
    return points
