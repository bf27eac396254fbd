"""What an interrupted analysis had finished, kept beside the output folder."""

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ergo import __version__
from ergo.analyse import Watched
from ergo.errors import SessionError
from ergo.frames.frame import SourceFacts
from ergo.landmarks.follow import SourceLandmarks
from ergo.session import Settings
from ergo.storage.folder import workshop
from ergo.storage.landmark_file import StoredLandmarks, as_stored, read_landmarks, write_landmarks


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

    def kept(self, facts: SourceFacts) -> Watched | None:
        """Return what was kept of this source, if anything and if it is whole."""
        stem = self._stem(facts)
        try:
            remarks = json.loads(stem.with_suffix(".json").read_text(encoding="utf-8"))
            stored = read_landmarks(stem.with_suffix(".parquet"))
        except (OSError, ValueError, SessionError):
            return None
        seen = SourceLandmarks(
            time_s=stored.time_s,
            number=stored.number,
            tracks=stored.tracks,
            doubt=remarks["doubt"],
        )
        return Watched(seen, remarks["damage"])

    def keep(self, facts: SourceFacts, watched: Watched) -> None:
        """Keep what was seen of this source; the remarks come last and make it valid."""
        stem = self._stem(facts)
        stem.parent.mkdir(parents=True, exist_ok=True)
        seen = watched.seen
        write_landmarks(
            stem.with_suffix(".parquet"),
            StoredLandmarks(
                source_index=np.zeros(len(seen.time_s), dtype=np.int64),
                time_s=seen.time_s,
                number=seen.number,
                tracks={role: as_stored(track) for role, track in seen.tracks.items()},
            ),
        )
        remarks = {"doubt": seen.doubt, "damage": watched.damage}
        stem.with_suffix(".json").write_text(json.dumps(remarks), encoding="utf-8")

    def _stem(self, facts: SourceFacts) -> Path:
        way = f"{__version__} {self.settings.rate_hz} {self.settings.effort} {self.notes}"
        key = hashlib.sha256(f"{facts.sha256} {facts.name} {way}".encode()).hexdigest()[:24]
        return workshop(self.folder) / "kept" / key
