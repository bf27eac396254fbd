"""Runs in a process of its own: decode one picture, make others unrecognisable, encode it.

A picture that makes a decoder crash takes this process down, not the page. It is a child
(:mod:`ergo.child_process`) that hears a name of :data:`WORK` and its arguments.
"""

import base64
import sys
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from ergo.app.workflow import load_session
from ergo.arrays import PictureArray
from ergo.child_process import Limits, Talk, run_child
from ergo.errors import ErgoError, NotTogether
from ergo.frames.fetch import picture_at
from ergo.frames.find import find_sources
from ergo.report.pictures.annotated import annotated_picture, safe_picture
from ergo.session.session import Recording
from ergo.session.several_cameras import check_can_be_together, frames_of_secondary
from ergo.storage.session_folder import read_session

JPEG_QUALITY = 82
LIMITS = Limits(cpu_s=60)
"""For one picture: more than the page waits for it."""


@lru_cache(maxsize=4)
def _recording(folder: str, _changed_ns: int) -> Recording:
    return read_session(Path(folder)).recording


def picture_jpeg(
    folder: str, changed_ns: int, frame: int, width: int, blur_operator: bool, camera: int = 1
) -> bytes | None:
    """Return one analysed frame as JPEG, everybody but the operator unrecognisable.

    Parameters
    ----------
    folder : str
        Session folder.
    changed_ns : int
        When its landmarks were written; tells an old one from a new one.
    frame : int
        Position in the timeline.
    width : int
        Wanted width; pictures are never enlarged. [px]
    blur_operator : bool
    camera : int
        From 1; others than the first show what they filmed at that moment.

    Returns
    -------
    bytes or None
        None where the recording is no longer at its place, or did not film the moment.
    """
    shown = shown_by(_recording(folder, changed_ns), frame, camera)
    if shown is None:
        return None
    recording, frame = shown
    timeline = recording.timeline
    source = recording.sources[timeline.source_index[frame]]
    try:
        picture = picture_at(source, float(timeline.time_s[frame]), least_px=2 * width)
    except ErgoError:
        return None
    seen = _seen_at(recording, picture.shape[1] / source.width_px)
    return _encoded(safe_picture(seen, frame, picture, blur_operator=blur_operator), width)


def shown_by(recording: Recording, frame: int, camera: int) -> tuple[Recording, int] | None:
    """Return what a camera filmed at a moment: its recording and the frame there, or None.

    Parameters
    ----------
    recording : Recording
    frame : int
        Position in the timeline.
    camera : int
        From 1: the clip that the times are those of, then those beside it.
    """
    if camera == 1:
        return recording, frame
    its_frame = int(frames_of_secondary(recording)[camera - 2][frame])
    return None if its_frame < 0 else (recording.beside[camera - 2].recording, its_frame)


def _seen_at(recording: Recording, scale: float) -> Recording:
    """Return a recording with everybody where they are in a picture of another size."""
    if scale == 1:
        return recording
    tracks = {
        role: replace(track, picture_px=track.picture_px * scale)
        for role, track in recording.tracks.items()
    }
    return replace(recording, tracks=tracks)


def still_jpeg(folder: str, frame: int) -> bytes | None:
    """Return a frame as it may be passed on: landmarks drawn in, every face blurred.

    None where the recording is no longer at its place.
    """
    session = load_session(Path(folder))
    timeline = session.recording.timeline
    source = session.recording.sources[timeline.source_index[frame]]
    try:
        picture = picture_at(source, float(timeline.time_s[frame]))
    except ErgoError:
        return None
    return _encoded(annotated_picture(session, frame, picture), picture.shape[1])


def _encoded(picture: PictureArray, width: int) -> bytes:
    import cv2

    scale = min(1.0, width / picture.shape[1])
    if scale < 1:
        picture = np.asarray(
            cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), np.uint8
        )
    _, jpeg = cv2.imencode(".jpg", picture[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    return jpeg.tobytes()


def nothing() -> None:
    """Do nothing; whoever waits for it waits for this process to be ready."""


def refusal_of(path: str) -> str | None:
    """Return why an uploaded file cannot be analysed, as one line; None if it can.

    Only its head is read here; how large a picture may be is checked there, so that a
    small file cannot unfold into a huge one before it is refused.
    """
    try:
        find_sources([Path(path)]).sources[0].facts  # noqa: B018
    except ErgoError as error:
        return error.what
    return None


def refusal_together(called: Mapping[Path, str]) -> str | None:
    """Return why uploaded files cannot be one session of several cameras; None if they may."""
    try:
        found = find_sources(tuple(called), called=called)
        check_can_be_together([source.facts for source in found.sources])
    except NotTogether as error:  # the page has a remedy of its own
        return f"{error.where} {error.what}"
    except ErgoError as error:
        return str(error)
    return None


WORK: Mapping[str, Callable[..., object]] = {
    work.__name__: work
    for work in (picture_jpeg, still_jpeg, refusal_of, refusal_together, nothing)
}


def serve(talk: Talk) -> None:
    """Say that all is loaded, then answer one question after the other; an error ends it all."""
    talk.say({"answer": None})
    while True:
        name, arguments = talk.hear()
        talk.got_on()
        answer = WORK[name](*arguments)
        if isinstance(answer, bytes):
            talk.say({"jpeg": base64.b64encode(answer).decode()})
        else:
            talk.say({"answer": answer})


if __name__ == "__main__":
    sys.exit(run_child(serve, LIMITS))
