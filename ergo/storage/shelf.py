"""What an interrupted analysis had watched, kept beside the output folder."""

import hashlib
import itertools
import json
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from ergo import __version__
from ergo.errors import SessionError
from ergo.frames.frame import SourceFacts
from ergo.landmarks.network import Box
from ergo.session.session import Settings
from ergo.storage.landmark_file import StoredLandmarks, as_stored, read_landmarks, write_landmarks
from ergo.tracking.follow import Part, SourceLandmarks
from ergo.tracking.tracked_person import TrackedPerson
from ergo.tracking.tracker_state import TrackerState
from ergo.whole import workshop, write_file

_CLOSED = "closed.json"


@dataclass(frozen=True, slots=True)
class FolderShelf:
    """A shelf in the hidden folder in which ``folder`` is being made.

    What lies on it is used again only for the same file, watched in the same
    way by the same version of the program.

    Attributes
    ----------
    folder : Path
        The output folder that is being made.
    settings : Settings
    notes : str
        What the notes state about who is the operator, in any stable form.
    """

    folder: Path
    settings: Settings
    notes: str

    def parts(self, facts: SourceFacts) -> list[Part]:
        """Return the parts kept of this source, as far as they are whole."""
        return list(self._whole(facts))

    def newest(self, facts: SourceFacts) -> tuple[int, Part | None]:
        """Return how many parts are kept, and the last; one at a time is in memory."""
        count, last = 0, None
        for count, last in enumerate(self._whole(facts), 1):  # noqa: B007
            pass
        return count, last

    def _whole(self, facts: SourceFacts) -> Iterator[Part]:
        place = self._place(facts)
        for number in itertools.count():
            part = _read_part(place / f"{number:04d}")
            if part is None:
                return
            yield part

    def is_closed(self, facts: SourceFacts) -> bool:
        """Return whether this source has been watched to its end."""
        return self._closed(facts) is not None

    def damage(self, facts: SourceFacts) -> str | None:
        """Return why reading a closed source stopped early, if it did."""
        closed = self._closed(facts)
        return closed["damage"] if closed else None

    def _closed(self, facts: SourceFacts) -> dict[str, str | None] | None:
        try:
            text = (self._place(facts) / _CLOSED).read_text(encoding="utf-8")
            closed: dict[str, str | None] = json.loads(text)
        except (OSError, ValueError):
            return None
        return closed

    def keep(self, facts: SourceFacts, number: int, part: Part) -> None:
        """Keep one part; its state is written last and makes it valid."""
        place = self._place(facts)
        place.mkdir(parents=True, exist_ok=True)
        _write_part(place / f"{number:04d}", part)

    def close(self, facts: SourceFacts, damage: str | None) -> None:
        """Note that the source has been watched to its end."""
        place = self._place(facts)
        place.mkdir(parents=True, exist_ok=True)
        write_file(place / _CLOSED, json.dumps({"damage": damage}))

    def _place(self, facts: SourceFacts) -> Path:
        way = f"{__version__} {self.settings.rate_hz} {self.settings.effort} {self.notes}"
        key = hashlib.sha256(f"{facts.sha256} {facts.name} {way}".encode()).hexdigest()[:24]
        return workshop(self.folder) / "kept" / key


def _write_part(stem: Path, part: Part) -> None:
    seen = part.seen
    write_landmarks(
        stem.with_suffix(".parquet"),
        StoredLandmarks(
            source_index=np.zeros(len(seen.time_s), dtype=np.int64),
            time_s=seen.time_s,
            number=seen.number,
            tracks={role: as_stored(track) for role, track in seen.tracks.items()},
        ),
    )
    state = {"doubt": seen.doubt, "next_s": part.next_s, "state": _exact(part.state)}
    write_file(stem.with_suffix(".json"), json.dumps(state))


def _read_part(stem: Path) -> Part | None:
    try:
        remarks = json.loads(stem.with_suffix(".json").read_text(encoding="utf-8"))
        stored = read_landmarks(stem.with_suffix(".parquet"))
    except (OSError, ValueError, SessionError):
        return None
    seen = SourceLandmarks(
        time_s=stored.time_s, number=stored.number, tracks=stored.tracks, doubt=remarks["doubt"]
    )
    return Part(seen, _state(remarks["state"]), remarks["next_s"])


def _exact(state: TrackerState) -> dict[str, Any]:
    """Return the state as JSON values, every number to its last bit."""
    values: dict[str, Any] = asdict(state)
    if state.colours is not None:
        values["colours"] = state.colours.tolist()
    return values


def _state(values: Mapping[str, Any]) -> TrackerState:
    followed = {
        role: TrackedPerson(
            **{
                **person,
                "box": Box(**person["box"]),
                "velocity_px_s": tuple(person["velocity_px_s"]),
            }
        )
        for role, person in values["followed"].items()
    }
    colours = None if values["colours"] is None else np.array(values["colours"])
    doubts = tuple(values["doubts"])
    return TrackerState(**{**values, "followed": followed, "colours": colours, "doubts": doubts})
