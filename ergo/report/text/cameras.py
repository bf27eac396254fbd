"""What several cameras of one session each told, in words and as a table."""

from collections.abc import Iterator

import numpy as np

from ergo.camera.camera import Camera
from ergo.posture.angle_names import COLUMN
from ergo.report.text.words import Words
from ergo.session.session import Beside, Recording, Session


def filmed(session: Session) -> Iterator[tuple[Recording, int, Camera]]:
    """Yield every recording with the position of a source in it, and that source's camera."""
    for source, camera in enumerate(session.cameras):
        yield session.recording, source, camera
    if session.joined is not None:
        cameras = session.joined.cameras[1:]
        for each, camera in zip(session.recording.beside, cameras, strict=True):
            yield each.recording, 0, camera


def start_sentences(session: Session, words: Words) -> list[str]:
    """Return when every other camera began, and how that was found; empty with one camera."""
    first = session.recording.sources[0].name if session.recording.sources else ""
    return [_start_sentence(each, first, words) for each in session.recording.beside]


def _start_sentence(each: Beside, first: str, words: Words) -> str:
    start = each.start
    when = words.say(
        "together.later" if start.offset_s >= 0 else "together.earlier",
        name=each.recording.sources[0].name,
        first=first,
        seconds=words.number(abs(start.offset_s), 2),
    )
    how = words.say(
        f"together.by.{start.origin}",
        likeness=words.number(start.likeness, 2),
    )
    if not np.isfinite(start.halves_apart_s):
        return f"{when} {how}"
    apart = words.say("together.halves", seconds=words.number(start.halves_apart_s, 2))
    return f"{when} {how} {apart}"


def together_sentences(session: Session, words: Words) -> list[str]:
    """Return how the views became one; empty with one camera."""
    joined = session.joined
    if joined is None:
        return []
    is_crossed = bool((joined.counted == len(joined.names)).any())
    return [
        words.say("together.filmed", n=len(joined.names), first=joined.names[0]),
        *start_sentences(session, words),
        words.say("together.crossed" if is_crossed else "together.not_crossed"),
    ]


def view_shares(session: Session, name: str) -> list[float]:
    """Return the share of the time in which an angle came from each view; NaN = never told.

    In the order of the joined names, then from what two of the views tell together.
    The shares are of the time in which the angle is told at all.
    """
    joined = session.joined
    if joined is None:
        return []
    counted, held = joined.counted[:, COLUMN[name]], session.recording.timeline.held
    total = held[counted >= 0].sum()
    return [
        float(held[counted == view].sum() / total) if total > 0 else np.nan
        for view in range(len(joined.names) + 1)
    ]
