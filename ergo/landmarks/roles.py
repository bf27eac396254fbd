"""Who is the operator, the assistant and the patient among the people of one picture.

Each person is described by cues (how far the trunk lies, where the hands are,
how near the heads are, on which side of the patient). A softmax over
four roles, fitted on rendered scenes, gives each person's leaning to each role;
all ways to share out the roles, each at most once, then vote. The sum of the
votes for a person is the stated belief in that identity.
"""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np

from ergo.arrays import FloatArray
from ergo.landmarks.names import INDEX
from ergo.landmarks.network import Look
from ergo.landmarks.pose_track import Role

ROLES: tuple[Role, ...] = ("operator", "assistant", "patient")
OPERATOR_FLOOR = 0.6  # belief below which nobody is called the operator: worse than none is wrong
OTHER_FLOOR = 0.5  # the same for assistant and patient
MOST_PEOPLE = 6  # who share out the roles; those seen best
CUES = (
    "one",
    "lean_in_picture",
    "lean_in_space",
    "lies",
    "size",
    "visibility",
    "hands_to_a_head",
    "head_to_a_head",
    "hands_in_reach",
    "hands_to_lying_head",
    "side_of_lying",
    "others_upright",
    "others_lying",
    "face_down",
    "head_height",
)
_FAR = 3.0  # trunk lengths at which a distance cue saturates
_LYING_DEG, _LYING_WIDTH_DEG = 52.0, 8.0  # a trunk further off vertical lies


@dataclass(frozen=True, slots=True, eq=False)
class Identified:
    """One person who was given a role.

    Attributes
    ----------
    look : Look
    belief : float
        Belief in this identity, 0..1.
    """

    look: Look
    belief: float


def identify(
    people: Sequence[Look], handed: str | None = None, alike: Sequence[float] | None = None
) -> dict[Role, Identified]:
    """Return who has which role; a role of which we are not sure is left out.

    Parameters
    ----------
    people : sequence of Look
        Everybody found in one picture.
    handed : str, optional
        ``"left"`` mirrors the side of the patient on which the operator is
        expected; right where not known.
    alike : sequence of float, optional
        How well each agrees with what is known of the operator, 0..1; the
        belief in the operator is multiplied by it.
    """
    people = list(people)[:MOST_PEOPLE]
    belief = beliefs(people, handed)
    if alike is not None:
        belief[:, 0] *= np.array(alike[:MOST_PEOPLE])
    taken: dict[Role, Identified] = {}
    for position, role in enumerate(ROLES):
        floor = OPERATOR_FLOOR if role == "operator" else OTHER_FLOOR
        if len(people) and belief[:, position].max() >= floor:
            best = int(np.argmax(belief[:, position]))
            taken[role] = Identified(people[best], float(belief[best, position]))
    return taken


def beliefs(people: Sequence[Look], handed: str | None = None) -> FloatArray:
    """Return array (person, role): belief that the person has the role, 0..1."""
    if not people:
        return np.zeros((0, len(ROLES)))
    leaning = _log_softmax(cues(people, handed) @ _weights())
    choices = len(ROLES) + 1  # the last: none of the roles
    ways = [
        way
        for way in itertools.product(range(choices), repeat=len(people))
        if all(way.count(role) <= 1 for role in range(len(ROLES)))
    ]
    votes = np.array([sum(leaning[who, role] for who, role in enumerate(way)) for way in ways])
    votes = np.exp(votes - votes.max())
    belief = np.zeros((len(people), choices))
    for vote, way in zip(votes / votes.sum(), ways, strict=True):
        belief[np.arange(len(people)), way] += vote
    return belief[:, : len(ROLES)]


def cues(people: Sequence[Look], handed: str | None = None) -> FloatArray:
    """Return array (person, cue) in the order of :data:`CUES`."""
    bodies = [_Body.of(person) for person in people]
    lies = np.array([_lies(body) for body in bodies])
    largest = max(body.size_px for body in bodies)
    rows = []
    for who, body in enumerate(bodies):
        others = [other for at, other in enumerate(bodies) if at != who]
        lying = _most_lying(bodies, lies, who)
        hands = _nearest(body.hands_px, others, body.trunk_px)
        to_lying = _FAR if lying is None else _nearest(body.hands_px, [lying], body.trunk_px)
        rows.append(
            (
                1.0,
                body.lean_deg / 90,
                body.lean_in_space_deg / 90,
                lies[who],
                np.log(body.size_px / largest),
                body.visibility,
                hands / _FAR,
                _nearest(body.head_px[None], others, body.trunk_px) / _FAR,
                float(hands < 0.8),
                to_lying / _FAR,
                0.0 if lying is None else _side(body, lying) * (-1 if handed == "left" else 1),
                float(np.sum(1 - lies) - (1 - lies[who])),
                float(np.sum(lies) - lies[who]),
                body.face_down,
                body.head_height,
            )
        )
    return np.array(rows)


@dataclass(frozen=True, slots=True, eq=False)
class _Body:
    """The few measures of a person that the cues need."""

    head_px: FloatArray  # array (xy,)
    hips_px: FloatArray  # array (xy,)
    hands_px: FloatArray  # array (hand, xy)
    trunk_px: float
    size_px: float
    lean_deg: float  # of the trunk in the picture, off vertical
    lean_in_space_deg: float
    visibility: float
    face_down: float  # how far the nose lies below the ears, in trunk lengths
    head_height: float  # of the head above the hands, in trunk lengths

    @classmethod
    def of(cls, person: Look) -> "_Body":
        points, world = person.picture_px[:, :2], person.world_m
        head = points[[INDEX["ear_left"], INDEX["ear_right"], INDEX["nose"]]].mean(0)
        hips = points[[INDEX["hip_left"], INDEX["hip_right"]]].mean(0)
        spine = points[[INDEX["shoulder_left"], INDEX["shoulder_right"]]].mean(0) - hips
        in_space = world[[INDEX["shoulder_left"], INDEX["shoulder_right"]]].mean(0)
        hands = points[[INDEX["index_left"], INDEX["index_right"]]]
        ears_down = points[[INDEX["ear_left"], INDEX["ear_right"]], 1].mean()
        length_m = float(np.linalg.norm(in_space))
        trunk_px = max(float(np.linalg.norm(spine)), 0.5 * _px_per_m(person) * length_m, 1.0)
        return cls(
            head_px=head,
            hips_px=hips,
            hands_px=hands,
            trunk_px=trunk_px,
            size_px=_px_per_m(person),
            lean_deg=_off_vertical_deg(spine),
            lean_in_space_deg=_off_vertical_deg(in_space),
            visibility=float(np.mean(person.visibility)),
            face_down=float(np.clip((points[INDEX["nose"], 1] - ears_down) / trunk_px, -1, 1)),
            head_height=float(np.clip((hands[:, 1].mean() - head[1]) / trunk_px, -2, 2)),
        )


def _px_per_m(person: Look) -> float:
    """Return the scale of a person in the picture, whatever the posture."""
    flat = person.world_m[:, :2] - person.world_m[:, :2].mean(0)
    seen = person.picture_px[:, :2] - person.picture_px[:, :2].mean(0)
    return float(np.sqrt((seen**2).sum() / max((flat**2).sum(), 1e-9))) + 1e-6


def _off_vertical_deg(spine: FloatArray) -> float:
    level = np.linalg.norm(np.delete(spine, 1))
    return float(np.degrees(np.arctan2(level, -spine[1])))


def _lies(body: _Body) -> float:
    return float(1 / (1 + np.exp((_LYING_DEG - body.lean_deg) / _LYING_WIDTH_DEG)))


def _most_lying(bodies: Sequence[_Body], lies: FloatArray, who: int) -> _Body | None:
    at = max((at for at in range(len(bodies)) if at != who), key=lambda at: lies[at], default=None)
    return bodies[at] if at is not None and lies[at] > 0.5 else None


def _nearest(points_px: FloatArray, others: Sequence[_Body], trunk_px: float) -> float:
    """Return the shortest way from any point to another's head, in trunk lengths."""
    ways = [np.linalg.norm(points_px - other.head_px, axis=1).min() for other in others]
    return float(min([way / trunk_px for way in ways] + [_FAR]))


def _side(body: _Body, lying: _Body) -> float:
    """Return +1 on the patient's right as seen from above, -1 on the left, 0 in line.

    A camera above the floor sees the floor plan the right way round, so the
    side follows from the turn between two lines in the picture.
    """
    feet_way, way = lying.hips_px - lying.head_px, body.hips_px - lying.head_px
    turn = feet_way[0] * way[1] - feet_way[1] * way[0]
    return float(turn / max(np.linalg.norm(feet_way) * np.linalg.norm(way), 1e-6))


def _log_softmax(values: FloatArray) -> FloatArray:
    values = values - values.max(axis=1, keepdims=True)
    return np.asarray(values - np.log(np.exp(values).sum(axis=1, keepdims=True)))


@cache
def _weights() -> FloatArray:
    """Return array (cue, role or none) from the fitted table beside this module."""
    lines = files("ergo.landmarks").joinpath("role_weights.csv").read_text(encoding="utf-8")
    rows = [line.split(",") for line in lines.splitlines() if line[0] not in "#c"]
    by_cue: Mapping[str, list[float]] = {row[0]: [float(cell) for cell in row[1:]] for row in rows}
    return np.array([by_cue[cue] for cue in CUES])
