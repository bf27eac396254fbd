"""A session: all that is known of one recording; travels between analyse, storage and views."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from ergo.arrays import FloatArray, IndexArray
from ergo.camera.camera import Camera
from ergo.exposure.assessed import assessed
from ergo.frames.frame import SourceFacts
from ergo.landmarks.pose_track import PoseTrack, Role
from ergo.multi_camera.alignment import Start
from ergo.notes.excluded import is_excluded
from ergo.notes.notes import Notes
from ergo.posture.posture_track import PostureTrack
from ergo.posture.upright import MomentEffect
from ergo.scores.method_score import MethodScore
from ergo.timeline import Timeline
from ergo.workplace.clock_track import ClockTrack
from ergo.workplace.place_track import PlaceTrack

SCHEMA = 2
"""Number of the layout of the files of a session; rises with every change of it."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What the user chose for this analysis.

    Attributes
    ----------
    rate_hz : float
        Analysed frames a second of clip. [1/s]
    effort : str
        ``"full"`` or ``"fast"``: how many looks each frame is worth.
    readings : mapping of str to str
        Reading of each method's open points, by option name; an option that is
        not named has its documented default.
    operator : str or None
        Pseudonym of the operator whose profile was taken.
    profile : mapping of str to str or float
        What that profile states, by the key of the notes it stands in for
        (``"handed"``, ``"operator_height_cm"``, ``"loupes_declination_deg"``).
    """

    rate_hz: float = 5.0
    effort: str = "full"
    readings: Mapping[str, str] = field(default_factory=dict)
    operator: str | None = None
    profile: Mapping[str, str | float] = field(default_factory=dict)

    def completed(self, notes: Notes) -> Notes:
        """Return notes in which the profile stands in for what they do not state."""
        stated = {"pseudonym": self.operator, **self.profile}
        missing = {key: v for key, v in stated.items() if getattr(notes, key) is None}
        return notes.model_copy(update=missing)


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """The expensive part of a session: what was seen. Never computed twice.

    Attributes
    ----------
    settings : Settings
    sources : tuple of SourceFacts
        In the order of ``timeline.sources``.
    timeline : Timeline
    number : array (frame,)
        Number of each analysed picture in its source as decoded.
    tracks : mapping of role to PoseTrack
        Always holds ``"operator"``; others where they were seen.
    damage : mapping of str to str
        Source name to why reading it stopped early.
    doubt : mapping of str to str
        Source name to why the right person may not have been followed.
    skipped : tuple of str
        Names of files that were not pictures or clips and were left out.
    versions : mapping of str to str
        Program and libraries that took part.
    edges : mapping of str to array (edge, end, xy)
        Source name to steep edges of the room. [px]
    beside : tuple of Beside
        What other cameras saw of the same session; the times of this recording
        are then those of its only source.
    """

    settings: Settings
    sources: tuple[SourceFacts, ...]
    timeline: Timeline
    number: IndexArray
    tracks: Mapping[Role, PoseTrack]
    damage: Mapping[str, str]
    doubt: Mapping[str, str]
    skipped: tuple[str, ...]
    versions: Mapping[str, str]
    edges: Mapping[str, FloatArray] = field(default_factory=dict)
    beside: tuple["Beside", ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Beside:
    """What another camera saw of a session.

    Attributes
    ----------
    recording : Recording
        Of one clip, with nothing beside it.
    notes : Notes
        Of that clip.
    start : Start
        When it began on the clock of the session's first clip.
    """

    recording: Recording
    notes: Notes
    start: Start


@dataclass(frozen=True, slots=True, eq=False)
class Joined:
    """How the angles of several cameras became one.

    Attributes
    ----------
    names : tuple of str
        Source of every view, the session's own first.
    cameras : tuple of Camera
        One per view.
    counted : array (frame, angle)
        Position in ``names`` of the view that counted most; ``len(names)`` =
        what two views tell together; -1 = no view tells.
    """

    names: tuple[str, ...]
    cameras: tuple[Camera, ...]
    counted: IndexArray


@dataclass(frozen=True, slots=True, eq=False)
class Session:
    """A recording and all that follows from it and the notes.

    Attributes
    ----------
    recording : Recording
    notes : tuple of Notes
        One per source.
    cameras : tuple of Camera
        One per source.
    posture : PostureTrack
    clock : ClockTrack
    scores : tuple of MethodScore
        Every method and side.
    place : PlaceTrack or None
        Where people sat, as far as it was measured.
    joined : Joined or None
        None where one camera filmed.
    moments : tuple of MomentEffect
        What neutral moments changed; of several views the first's.
    moments_left_out : mapping of str to str
        Source name to why the neutral moment that its stored notes state was not used.
    """

    recording: Recording
    notes: tuple[Notes, ...]
    cameras: tuple[Camera, ...]
    posture: PostureTrack
    clock: ClockTrack
    scores: tuple[MethodScore, ...]
    place: PlaceTrack | None = None
    joined: Joined | None = None
    moments: tuple[MomentEffect, ...] = ()
    moments_left_out: Mapping[str, str] = field(default_factory=dict)

    def without_excluded(self) -> "Session":
        """Return the session with nothing judged where the notes exclude a part.

        What was measured there stays in the session's files; no figure is made of it.
        """
        excluded = is_excluded(self.recording.timeline, self.notes)
        return replace(
            self,
            posture=self.posture.without(excluded),
            clock=self.clock.without(excluded),
            scores=tuple(score.without(excluded) for score in self.scores),
            place=None if self.place is None else self.place.without(excluded),
        )

    def excluded_share(self) -> float:
        """Return the share of the total that the notes exclude, 0..1."""
        timeline = self.recording.timeline
        if timeline.total <= 0:
            return 0.0
        return float(timeline.held[is_excluded(timeline, self.notes)].sum() / timeline.total)

    def assessed(self) -> PostureTrack:
        """Return the posture as published limits are applied to it."""
        settings = self.recording.settings
        return assessed(self.recording.timeline, self.posture, self.notes, settings.readings)
