"""Several clips of one session, filmed by several cameras: laid side by side.

The first clip is the session; the others lie *beside* it, each with the time at
which it began on the first one's clock. Sound tells it, else how the operator
moves, unless the notes state it.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ergo.arrays import IndexArray
from ergo.errors import NotTogether
from ergo.frames.frame import SourceFacts
from ergo.frames.same_file import is_same_file
from ergo.frames.sound import loudness
from ergo.landmarks.pose_track import PoseTrack, Role
from ergo.multi_camera.alignment import Start, movement, start_of
from ergo.notes.notes import NeutralMoment, Notes
from ergo.notes.reading import notes_path
from ergo.session.session import Beside, Recording
from ergo.timeline import build_timeline
from ergo.tracking.join import join_sources

SOUND_RATE_HZ = 100.0
MOVEMENT_RATE_HZ = 20.0


def check_can_be_together(sources: Sequence[SourceFacts]) -> None:
    """Refuse what cannot be one session filmed by several cameras.

    Raises
    ------
    NotTogether
        If there are fewer than two sources, or one is a still.
    """
    if len(sources) < 2:
        raise NotTogether(
            "is the only recording.",
            where=f"{sources[0].name}:",
            remedy="Name the clips of all cameras, the one to be shown first.",
        )
    for facts in sources:
        if facts.kind != "clip":
            raise NotTogether(
                "is a still, and stills have no common time.",
                where=f"{facts.name}:",
                remedy="Name clips only, or leave out --together.",
            )


def merged_cameras(recording: Recording, notes: Sequence[Notes]) -> Recording:
    """Return the first clip's recording, with those of the others beside it.

    Parameters
    ----------
    recording : Recording
        Of clips, one after the other.
    notes : sequence of Notes
        One per source.

    Raises
    ------
    NotTogether
        If a clip has nothing in common with the first.
    """
    first, *others = _parts(recording)
    starts = [_start(first, each, stated) for each, stated in zip(others, notes[1:], strict=True)]
    return with_secondary_cameras(recording, list(zip(notes[1:], starts, strict=True)))


def with_secondary_cameras(recording: Recording, known: Sequence[tuple[Notes, Start]]) -> Recording:
    """Return the first clip's recording, the others beside it with known notes and starts."""
    first, *others = _parts(recording)
    beside = [
        Beside(each, stated, start) for each, (stated, start) in zip(others, known, strict=True)
    ]
    return replace(first, beside=tuple(beside))


def _parts(recording: Recording) -> list[Recording]:
    return [part_of(recording, at) for at in range(len(recording.sources))]


def with_notes_of_secondary(recording: Recording, notes: Sequence[Notes]) -> Recording:
    """Return the recording with other notes of the clips beside it; starts as they are stated.

    Raises
    ------
    NotTogether
        If a clip now lies outside the first.
    """
    beside = []
    for each, stated in zip(recording.beside, notes, strict=True):
        is_kept = stated.begins_s is None and each.start.origin != "notes"
        start = each.start if is_kept else _start(recording, each.recording, stated)
        beside.append(Beside(each.recording, stated, start))
    return replace(recording, beside=tuple(beside))


def one_after_the_other(recording: Recording) -> Recording:
    """Return what :func:`merged_cameras` was given."""
    parts = [replace(recording, beside=()), *(each.recording for each in recording.beside)]
    if len(parts) == 1:
        return recording
    timelines = [part.timeline for part in parts]
    return replace(
        parts[0],
        sources=tuple(facts for part in parts for facts in part.sources),
        timeline=build_timeline(
            tuple(name for each in timelines for name in each.sources),
            tuple(each.time_s for each in timelines),
            (True,) * len(parts),
        ),
        number=np.concatenate([part.number for part in parts]),
        tracks=join_sources([part.tracks for part in parts], [len(each) for each in timelines]),
        damage={name: why for part in parts for name, why in part.damage.items()},
        doubt={name: why for part in parts for name, why in part.doubt.items()},
        edges={name: found for part in parts for name, found in part.edges.items()},
    )


def part_of(recording: Recording, source: int) -> Recording:
    """Return what was seen of one source, as a recording of its own."""
    facts = recording.sources[source]
    frames = recording.timeline.frames_of(source)
    tracks = {role: track.frames(frames) for role, track in recording.tracks.items()}
    return replace(
        recording,
        sources=(facts,),
        timeline=build_timeline(
            (facts.name,), (recording.timeline.time_s[frames],), (facts.kind == "clip",)
        ),
        number=recording.number[frames],
        tracks=_seen(tracks),
        damage={name: why for name, why in recording.damage.items() if name == facts.name},
        doubt={name: why for name, why in recording.doubt.items() if name == facts.name},
        edges={name: found for name, found in recording.edges.items() if name == facts.name},
    )


def _seen(tracks: dict[Role, PoseTrack]) -> dict[Role, PoseTrack]:
    return {
        role: track for role, track in tracks.items() if role == "operator" or track.found.any()
    }


def _start(first: Recording, other: Recording, stated: Notes) -> Start:
    name, begins_s = first.sources[0].name, stated.begins_s
    if begins_s is not None:
        start: Start | None = Start(begins_s, "notes")
        why = (
            f"cannot be laid beside {name}: notes say that it began at {begins_s:g} s of the "
            "first, which is outside it."
        )
    else:
        heard, silent = _by_sound(first, other)
        start = heard or _by_movement(first, other)
        why = (
            f"cannot be laid beside {name}: {silent} has no sound, and the operator's movements "
            "in both have too little in common."
            if silent
            else f"cannot be laid beside {name}: their sounds have too little in common, and the "
            "operator's movements in both too."
        )
    if start is None or not _overlap_s(first, other, start.offset_s) > 0:
        facts = other.sources[0]
        raise NotTogether(
            why,
            where=f"{facts.name}:",
            remedy=f"Film at least half a minute with both at once, and clap once at the start; "
            f"or state begins_s in {notes_path(facts.path).name}.",
        )
    return start


def _by_sound(first: Recording, other: Recording) -> tuple[Start | None, str | None]:
    """Return the start by sound, and the name of a clip that has none."""
    heard = []
    for facts in (first.sources[0], other.sources[0]):
        loud = loudness(facts, SOUND_RATE_HZ) if is_same_file(facts) else None
        if loud is None:
            return None, facts.name
        heard.append(loud)
    return start_of(heard[0], heard[1], SOUND_RATE_HZ, "sound"), None


def _by_movement(first: Recording, other: Recording) -> Start | None:
    seen = [
        movement(each.tracks["operator"], each.timeline.time_s, MOVEMENT_RATE_HZ)
        for each in (first, other)
    ]
    return start_of(seen[0], seen[1], MOVEMENT_RATE_HZ, "movement")


def _overlap_s(first: Recording, other: Recording, offset_s: float) -> float:
    ends_s = [each.timeline.time_s[-1:].sum() for each in (first, other)]
    return float(min(ends_s[0], ends_s[1] + offset_s) - max(0.0, offset_s))


def views_of(recording: Recording) -> list[Recording]:
    """Return the recording and those beside it."""
    return [recording, *(each.recording for each in recording.beside)]


def all_sources(recording: Recording) -> list[SourceFacts]:
    """Return the sources of the recording, then those of the clips beside it."""
    return [facts for view in views_of(recording) for facts in view.sources]


def all_notes(recording: Recording, notes: Sequence[Notes]) -> list[Notes]:
    """Return notes (one per source of the recording), then those of the clips beside it."""
    return [*notes, *(each.notes for each in recording.beside)]


def frames_of_secondary(recording: Recording) -> list[IndexArray]:
    """Return, for every clip beside the first, which of its frames shows the same moment.

    Returns
    -------
    list of array (frame,)
        By frame of the recording; -1 where that clip shows nothing within one step.
    """
    step_s = 1 / recording.settings.rate_hz
    found = []
    for each in recording.beside:
        own_s = each.recording.timeline.time_s
        wanted_s = recording.timeline.time_s - each.start.offset_s
        after = np.minimum(np.searchsorted(own_s, wanted_s), len(own_s) - 1)
        before = np.maximum(after - 1, 0)
        is_before = np.abs(own_s[before] - wanted_s) < np.abs(own_s[after] - wanted_s)
        at = np.where(is_before, before, after)
        found.append(np.where(np.abs(own_s[at] - wanted_s) <= step_s, at, -1))
    return found


def starts_s(recording: Recording) -> list[float]:
    """Return when every view began on the clock of the first. [s]."""
    return [0.0, *(each.start.offset_s for each in recording.beside)]


def notes_of_views(recording: Recording, notes: Sequence[Notes]) -> list[Sequence[Notes]]:
    """Return the notes of every view; several views share one neutral moment.

    The first view whose notes state one decides; a view that did not film the
    moment goes without.

    Parameters
    ----------
    recording : Recording
    notes : sequence of Notes
        One per source of the recording itself.

    Returns
    -------
    list of (sequence of Notes)
        Per view, one per source.
    """
    if not recording.beside:
        return [notes]
    of_views = [notes[0], *(each.notes for each in recording.beside)]
    moment_s = _neutral_s(recording, of_views)
    if moment_s is None:
        return [[each] for each in of_views]
    return [
        [each.model_copy(update={"neutral": _seen_at(moment_s - start_s, view)})]
        for each, start_s, view in zip(
            of_views, starts_s(recording), views_of(recording), strict=True
        )
    ]


def _neutral_s(recording: Recording, of_views: Sequence[Notes]) -> float | None:
    """Return the stated neutral moment on the clock of the first view. [s]."""
    names = [view.sources[0].name for view in views_of(recording)]
    for at, stated in enumerate(of_views):
        if stated.neutral is not None:
            source = stated.neutral.source or names[at]
            if source in names:
                return stated.neutral.time_s + starts_s(recording)[names.index(source)]
    return None


def _seen_at(time_s: float, view: Recording) -> NeutralMoment | None:
    is_filmed = 0 <= time_s <= view.timeline.time_s[-1:].sum()
    return NeutralMoment(time_s=time_s) if is_filmed else None
