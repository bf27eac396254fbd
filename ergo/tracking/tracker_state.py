"""What is known while a source is watched, and what was seen in each frame."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from ergo.arrays import FloatArray
from ergo.landmarks.network import PoseEstimate
from ergo.landmarks.pose_track import Role
from ergo.tracking.tracked_person import TrackedPerson

NEVER = -1e9  # a time before all others. [s]


@dataclass(frozen=True, slots=True, eq=False)
class TrackerState:
    """All that has to be known to go on with a clip after a break.

    Attributes
    ----------
    followed : mapping of role to Followed
    searched_s, searched_closely_s, others_s : float
        Time of the last search, thorough search and look at others. [s]
    turn : int
        Counts the looks at others, who take turns.
    colours : array (colour,) or None
        CIELAB of the operator's clothes when last taken for certain.
    is_noted : bool
        True once the point of the notes has been used.
    doubts : tuple of str
        Reasons to doubt that the right person was followed, as sentences.
    """

    followed: Mapping[Role, TrackedPerson] = field(default_factory=dict)
    searched_s: float = NEVER
    searched_closely_s: float = NEVER
    others_s: float = NEVER
    turn: int = 0
    colours: FloatArray | None = None
    is_noted: bool = False
    doubts: tuple[str, ...] = ()

    def with_doubt(self, doubt: str) -> "TrackerState":
        """Return the state with one more reason, told once."""
        return self if doubt in self.doubts else replace(self, doubts=(*self.doubts, doubt))

    def following(self, role: Role, person: TrackedPerson | None) -> "TrackerState":
        """Return the state with a person followed from now on, or no longer."""
        others = {known: who for known, who in self.followed.items() if known != role}
        return replace(self, followed=others if person is None else {**others, role: person})


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """One person in one frame.

    Attributes
    ----------
    looks : tuple of PoseEstimate
        As many as were taken; empty where the person was not seen.
    presence : float
        Of the first look.
    belief : float
        Belief in the identity, 0..1.
    right_handed : float
        Belief that the operator is right-handed, 0..1; NaN where not judged.
    """

    looks: tuple[PoseEstimate, ...]
    presence: float
    belief: float
    right_handed: float = float("nan")


@dataclass(frozen=True, slots=True, eq=False)
class Row:
    """What was seen in one frame; a person who was not looked at is missing."""

    time_s: float
    number: int
    seen: Mapping[Role, Seen]
