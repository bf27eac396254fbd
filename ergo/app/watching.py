"""Watching a source part by part onto a shelf, so that a run may stop and go on."""

from collections.abc import Callable, Sequence
from typing import Protocol

from ergo.frames.frame import FrameSource, SourceFacts
from ergo.notes.notes import Notes
from ergo.tracking.follow import Part, watch_parts

OnProgress = Callable[[SourceFacts, float], None]
"""Called with the source at hand and how many seconds of it have been watched."""


class Shelf(Protocol):
    """Keeps what has been watched, so that an interrupted run can be continued."""

    def parts(self, facts: SourceFacts) -> Sequence[Part]:
        """Return what was kept of this source, from its beginning, without a gap."""

    def newest(self, facts: SourceFacts) -> tuple[int, Part | None]:
        """Return how many parts were kept, and the last of them."""

    def is_closed(self, facts: SourceFacts) -> bool:
        """Return whether this source has been watched to its end."""

    def damage(self, facts: SourceFacts) -> str | None:
        """Return why reading a closed source stopped early, if it did."""

    def keep(self, facts: SourceFacts, number: int, part: Part) -> None:
        """Keep one part of this source, counted from 0."""

    def close(self, facts: SourceFacts, damage: str | None) -> None:
        """Note that this source has been watched to its end."""


class OwnShelf:
    """A shelf in memory, for who will not go on another time."""

    def __init__(self) -> None:
        self._parts: dict[str, list[Part]] = {}
        self._damage: dict[str, str | None] = {}

    def parts(self, facts: SourceFacts) -> Sequence[Part]:
        """Return what was kept of this source."""
        return self._parts.get(facts.name, [])

    def newest(self, facts: SourceFacts) -> tuple[int, Part | None]:
        """Return how many parts were kept, and the last of them."""
        parts = self.parts(facts)
        return len(parts), parts[-1] if parts else None

    def is_closed(self, facts: SourceFacts) -> bool:
        """Return whether this source has been watched to its end."""
        return facts.name in self._damage

    def damage(self, facts: SourceFacts) -> str | None:
        """Return why reading a closed source stopped early, if it did."""
        return self._damage.get(facts.name)

    def keep(self, facts: SourceFacts, number: int, part: Part) -> None:
        """Keep one part of this source, counted from 0."""
        self._parts[facts.name] = [*self.parts(facts)[:number], part]

    def close(self, facts: SourceFacts, damage: str | None) -> None:
        """Note that this source has been watched to its end."""
        self._damage[facts.name] = damage


def watch(
    source: FrameSource,
    notes: Notes,
    effort: str,
    shelf: Shelf,
    on_progress: OnProgress | None = None,
) -> None:
    """Watch what is not yet on the shelf of one source.

    Parameters
    ----------
    source : FrameSource
    notes : Notes
    effort : str
        A key of :data:`ergo.tracking.tracker.LOOKS`.
    shelf : Shelf
    on_progress : callable, optional
        Told the source and its seconds watched, many times.

    Raises
    ------
    UnreadablePicture, UnreadableClip
        If the source cannot be decoded at all.
    """
    facts = source.facts
    if shelf.is_closed(facts):
        return
    kept, last = shelf.newest(facts)
    rest = source.starting_at(last.next_s) if last else source
    state = last.state if last else None
    tell = None if on_progress is None else (lambda seconds: on_progress(facts, seconds))
    for number, part in enumerate(watch_parts(rest, notes, effort, tell, state), kept):
        shelf.keep(facts, number, part)
    shelf.close(facts, rest.damage)
