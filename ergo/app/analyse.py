"""The whole chain, readable as a table of contents: pictures → recording → session.

:func:`record` is the expensive half (it reads pictures and runs networks) and is
done once; :func:`evaluate_session` is everything that follows from it and the notes, fast
and pure, and is done again whenever notes or readings change.
"""

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from importlib.metadata import version

import numpy as np

from ergo import __version__
from ergo.app.watching import OnProgress, OwnShelf, Shelf, watch
from ergo.arrays import IndexArray
from ergo.camera.camera import Camera
from ergo.camera.places import Place, place_of
from ergo.camera.watch import room_edges
from ergo.errors import NotesError
from ergo.frames.frame import FrameSource, SourceFacts
from ergo.landmarks.pose_track import PoseTrack
from ergo.multi_camera.fusion import TOGETHER, fuse
from ergo.multi_camera.limb_triangulation import View as SeenFrom
from ergo.multi_camera.limb_triangulation import crossed_posture
from ergo.notes.notes import Notes
from ergo.posture.estimate import estimate_posture
from ergo.posture.neutral import level_cameras, neutral_frames
from ergo.posture.placing import PlacedBody, placed_body
from ergo.posture.posture_track import PostureTrack
from ergo.posture.upright import effects, refusal
from ergo.scores.methods import score_all
from ergo.session.session import Joined, Recording, Session, Settings
from ergo.session.several_cameras import notes_of_views, starts_s, views_of
from ergo.timeline import Timeline, build_timeline
from ergo.tracking.corrected_landmarks import with_moved_landmarks
from ergo.tracking.follow import SourceLandmarks, join_parts
from ergo.tracking.join import join_sources
from ergo.workplace.places import clock_of, place_people

_LIBRARIES = ("mediapipe", "openvino", "numpy", "scipy", "av", "pillow")


def record(
    sources: Sequence[FrameSource],
    notes: Sequence[Notes],
    settings: Settings,
    *,
    skipped: Sequence[str] = (),
    shelf: Shelf | None = None,
    on_progress: OnProgress | None = None,
) -> Recording:
    """Watch every source and return all that was seen.

    Parameters
    ----------
    sources : sequence of FrameSource
    notes : sequence of Notes
        One per source.
    settings : Settings
    skipped : sequence of str
        Names of files left out because they are neither picture nor clip.
    shelf : Shelf, optional
        Where parts of sources are kept; what already lies there is not watched again.
    on_progress : callable, optional
        Told the source and its seconds watched, many times.

    Returns
    -------
    Recording

    Raises
    ------
    UnreadablePicture, UnreadableClip
        If a source cannot be decoded at all.
    """
    shelf = shelf or OwnShelf()
    for source, stated in zip(sources, notes, strict=True):
        watch(source, stated, settings.effort, shelf, on_progress)
    facts = tuple(source.facts for source in sources)
    seen = [_seen(shelf, each, settings.effort) for each in facts]
    damage = {each.name: shelf.damage(each) for each in facts}
    return Recording(
        settings=settings,
        sources=facts,
        timeline=build_timeline(
            tuple(each.name for each in facts),
            tuple(each.time_s for each in seen),
            tuple(each.kind == "clip" for each in facts),
        ),
        number=np.concatenate([each.number for each in seen]).astype(np.int64),
        tracks=join_sources([each.tracks for each in seen], [len(each.time_s) for each in seen]),
        damage={name: reason for name, reason in damage.items() if reason},
        doubt={each.name: s.doubt for each, s in zip(facts, seen, strict=True) if s.doubt},
        skipped=tuple(skipped),
        versions={"ergo": __version__, **{name: version(name) for name in _LIBRARIES}},
        edges={each.name: room_edges(each) for each in facts},
    )


def _seen(shelf: Shelf, facts: SourceFacts, effort: str) -> SourceLandmarks:
    return join_parts([part.seen for part in shelf.parts(facts)], effort)


def evaluate_session(
    recording: Recording, notes: Sequence[Notes], *, is_stored: bool = False
) -> Session:
    """Measure angles, place and scores from what was seen and what was stated.

    Parameters
    ----------
    recording : Recording
    notes : sequence of Notes
        One per source.
    is_stored : bool
        The neutral moments are those of a session that was stored: one in which nobody sits
        upright is then left out, and the session says so, instead of being refused.

    Returns
    -------
    Session

    Raises
    ------
    NotesError
        If notes contradict the pictures (camera size, a neutral moment that is none).
    InputError
        If a reading in the settings is unknown.
    """
    timeline = recording.timeline
    stands = [
        _stand(view, stated, is_stored=is_stored)
        for view, stated in zip(views_of(recording), notes_of_views(recording, notes), strict=True)
    ]
    own, of_views = stands[0], [each.notes for each in stands]
    with ThreadPoolExecutor(1) as beside:  # places and angles do not need each other
        placing = beside.submit(
            place_people, timeline, recording.tracks, own.cameras, own.places, of_views[0]
        )
        alone = _angles_alone(recording, stands)
        posture, joined = _angles(recording, stands, alone)
        scores = score_all(timeline, posture, notes, recording.settings.readings)
        place = placing.result()
    return Session(
        recording=recording,
        notes=tuple(notes),
        cameras=own.cameras,
        posture=posture,
        clock=clock_of(timeline, notes, place),
        scores=scores,
        place=place,
        joined=joined,
        moments=() if own.before is None else effects(timeline, own.notes, own.before, alone[0]),
        moments_left_out={name: why for each in stands for name, why in each.left_out.items()},
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Stand:
    """How one view saw the operator; cameras, places and notes one per source.

    ``before``: its angles without any neutral moment; None where none is stated.
    ``left_out``: source to why its neutral moment was not used.
    """

    operator: PoseTrack
    places: tuple[Place, ...]
    cameras: tuple[Camera, ...]
    placed: PlacedBody
    notes: tuple[Notes, ...]
    before: PostureTrack | None
    left_out: Mapping[str, str]


def _stand(recording: Recording, notes: Sequence[Notes], *, is_stored: bool) -> _Stand:
    timeline = recording.timeline
    operator = with_moved_landmarks(recording.tracks["operator"], timeline, notes)
    places = tuple(
        place_of(facts, each, recording.edges.get(facts.name))
        for facts, each in zip(recording.sources, notes, strict=True)
    )
    as_told = [place.camera for place in places]
    placed = placed_body(operator, as_told, timeline)
    before, left_out = None, dict[str, str]()
    if any(each.neutral is not None for each in notes):
        without = [each.model_copy(update={"neutral": None}) for each in notes]
        before = estimate_posture(timeline, operator, as_told, without, placed=placed)
        for source, error in _no_moments(timeline, notes, before).items():
            if not is_stored:
                raise error
            left_out[timeline.sources[source]] = str(error.what)
            notes = [*notes[:source], without[source], *notes[source + 1 :]]
    cameras = level_cameras(timeline, placed.points, as_told, notes)
    return _Stand(operator, places, cameras, placed, tuple(notes), before, left_out)


def _no_moments(
    timeline: Timeline, notes: Sequence[Notes], posture: PostureTrack
) -> dict[int, NotesError]:
    """Return the sources whose neutral moment is none, and why."""
    refused = {
        source: refusal(timeline, source, each.neutral, posture)
        for source, each in enumerate(notes)
        if each.neutral is not None
    }
    return {source: error for source, error in refused.items() if error is not None}


def _neutral(view: Recording, notes: Notes) -> IndexArray:
    """Return the frames of a view's neutral moment; none where none is stated."""
    if notes.neutral is None:
        return np.zeros(0, dtype=np.int64)
    return neutral_frames(view.timeline, 0, notes.neutral)


def _angles_alone(recording: Recording, stands: Sequence[_Stand]) -> list[PostureTrack]:
    """Return the angles of every view by itself."""
    return [
        estimate_posture(part.timeline, each.operator, each.cameras, each.notes, placed=each.placed)
        for part, each in zip(views_of(recording), stands, strict=True)
    ]


def _angles(
    recording: Recording, stands: Sequence[_Stand], alone: Sequence[PostureTrack]
) -> tuple[PostureTrack, Joined | None]:
    """Return the angles of all views at the times of the first, and how they were joined."""
    parts = views_of(recording)
    if len(alone) == 1:
        return alone[0], None
    seen = [
        SeenFrom(
            part.timeline, each.operator, each.cameras[0], start_s, _neutral(part, each.notes[0])
        )
        for part, each, start_s in zip(parts, stands, starts_s(recording), strict=True)
    ]
    crossings = [crossed_posture(seen[0], other) for other in seen[1:]]
    told = [*zip(alone, seen, strict=True)]
    told += [(each, seen[0]) for each in crossings if each is not None]
    posture, counted = fuse(
        [each for each, _ in told],
        [at.timeline.time_s for _, at in told],
        [at.start_s for _, at in told],
        [1.0] * len(alone) + [TOGETHER] * (len(told) - len(alone)),
    )
    names = tuple(part.sources[0].name for part in parts)
    cameras = tuple(each.cameras[0] for each in stands)
    return posture, Joined(names, cameras, np.minimum(counted, len(names)))
