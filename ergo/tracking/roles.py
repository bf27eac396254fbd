"""Who is the operator, the assistant and the patient among the people of one picture.

Each person is described by cues (how far the trunk lies, where the hands are,
how near the heads are, on which side of the patient, how surely the joints are
placed, who of any two sits like the operator, how each sits to who lies at the own
hands), by the pose and by the landmark network's impression of the crop. Their
weighted sums, fitted on rendered scenes, give each person's leaning to each role;
all ways to share out the roles, each at most once, then vote, as those of a right-
and of a left-handed operator where that is not known. The sum of the votes for a
person is the stated belief in that identity, the sum of those of right-handed
operators the belief in that hand.
"""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from ergo.arrays import FloatArray, IndexArray
from ergo.landmarks.joints import JOINT
from ergo.landmarks.names import INDEX
from ergo.landmarks.network import PoseEstimate
from ergo.landmarks.pose_track import Role
from ergo.tracking.body import LYING_DEG, Body, joint_spread
from ergo.tracking.pairs import operator_odds
from ergo.tracking.patient_detector import CHANGES_SIDE, LYING_FLOOR, SITS, sits_to_patient

MODEL_PATH = Path(__file__).parent / "models" / "roles.npz"

ROLES: tuple[Role, ...] = ("operator", "assistant", "patient")
OPERATOR_FLOOR = 0.5
"""Belief below which nobody is called the operator: the wrong person is worse than none.

In 836 training stills, each judged by a fit without it, 98 % of the operators found are named, and
of those named 97 % are operators; of beliefs from .95 on 99.6 % are right, from .5 to .7 52 %."""
HANDS = ("right", "left")
LEFT_HANDED = 0.2
"""Belief in left-handed before anything is seen: as in the training stills, twice the share of
people, since who is not expected is mistaken for the assistant (ours)."""
OTHER_FLOOR = 0.5  # the same for assistant and patient
MOST_OF_IMPRESSION = 3.0  # log odds; pictures unlike those learned from must not overrule the rest
MOST_OF_PAIR = 4.0  # log odds of a pair; the same
LYING_ODDS = 4.0  # log odds by which who lies is the less an operator or an assistant
SAME_TRUNKS = 0.6
"""Head and hips of one body looked at in two ways are no further apart, in trunk lengths (ours)."""
MOST_PEOPLE = 6  # who share out the roles; those seen best
CUES = (
    *SITS,
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
    "upright_on_the_left",
    "sits_like_operator",
    "spread",
)
POSE = (
    "nose",
    "ear_left",
    "ear_right",
    "shoulder_left",
    "shoulder_right",
    "elbow_left",
    "elbow_right",
    "wrist_left",
    "wrist_right",
    "index_left",
    "index_right",
    "hip_left",
    "hip_right",
    "knee_left",
    "knee_right",
)
_SWAP = {"left": "right", "right": "left"}
_MIRRORED_POSE = [
    POSE.index("_".join(_SWAP.get(part, part) for part in name.split("_"))) for name in POSE
]
_FAR = 3.0  # trunk lengths at which a distance cue saturates
_FOCAL_SHARE = 0.8  # focal length of a common camera in picture widths; only signs hang on it
_LYING_WIDTH_DEG = 8.0  # over which a trunk passes from upright to lying


_USUAL_SPREAD = np.exp(-3.5)  # of an operator's joints, as a share of the body's size (train)


@dataclass(frozen=True, slots=True, eq=False)
class Identified:
    """One person who was given a role.

    Attributes
    ----------
    look : PoseEstimate
    belief : float
        Belief in this identity, 0..1.
    right_handed : float
        Belief that who operates there is right-handed, 0..1; NaN where not judged.
    """

    look: PoseEstimate
    belief: float
    right_handed: float = float("nan")


@dataclass(frozen=True, slots=True, eq=False)
class RolePosterior:
    """How the roles are shared out among the people of one picture.

    Attributes
    ----------
    belief : array (person, role)
        That the person has the role, 0..1.
    right_handed : float
        That who operates is right-handed, 0..1, whatever is stated of that.
    """

    belief: FloatArray
    right_handed: float


def identify(
    people: Sequence[PoseEstimate],
    width_px: int,
    handed: str | None = None,
    alike: Sequence[float] | None = None,
    operator: int | None = None,
) -> dict[Role, Identified]:
    """Return who has which role; a role of which we are not sure is left out.

    Parameters
    ----------
    people : sequence of PoseEstimate
        Everybody found in one picture.
    width_px : int
        Of the picture; stands in for the focal length. [px]
    handed : str, optional
        ``"left"`` mirrors the side of the patient on which the operator is
        expected; right where not known.
    alike : sequence of float, optional
        How well each agrees with what is known of the operator, 0..1; the
        belief in the operator is multiplied by it.
    operator : int, optional
        Position of the operator, where that is certain.
    """
    people = list(people)[:MOST_PEOPLE]
    shared = role_posterior(people, width_px, handed, operator)
    belief = shared.belief
    if alike is not None:
        belief[:, 0] *= np.array(alike[:MOST_PEOPLE])
    taken: dict[Role, Identified] = {}
    for position, role in enumerate(ROLES):
        floor = OPERATOR_FLOOR if role == "operator" else OTHER_FLOOR
        if len(people) and belief[:, position].max() >= floor:
            best = int(np.argmax(belief[:, position]))
            believed = float(belief[best, position])
            taken[role] = Identified(people[best], believed, shared.right_handed)
    return taken


def with_patient(who: Mapping[Role, Identified]) -> dict[Role, Identified]:
    """Return who is who by who lies at the operator's hands.

    That look alone tells the patient, and whether there is one; somebody taken for the
    assistant who is the same body is none.

    Parameters
    ----------
    who : mapping of role to Identified
        By the looks of them.
    """
    told: dict[Role, Identified] = {role: who[role] for role in who if role != "patient"}
    lying = who["operator"].look.at_hands if "operator" in who else None
    if lying is None or lying.presence < LYING_FLOOR:
        return told
    assistant = told.get("assistant")
    if assistant is not None and _is_same_body(assistant.look, lying):
        del told["assistant"]
    return told | {"patient": Identified(lying, lying.presence)}


def _is_same_body(one: PoseEstimate, lying: PoseEstimate) -> bool:
    """Return whether head and hips of a person lie where those of a patient lie."""
    body, patient = Body.of(one), Body.of(lying)
    ways = (body.head_px - patient.head_px, body.hips_px - patient.hips_px)
    return max(float(np.linalg.norm(way)) for way in ways) < SAME_TRUNKS * patient.trunk_px


def role_posterior(
    people: Sequence[PoseEstimate],
    width_px: int,
    handed: str | None = None,
    operator: int | None = None,
) -> RolePosterior:
    """Return how the roles are shared out; ``operator``: who has that role for certain."""
    if not people:
        return RolePosterior(np.zeros((0, len(ROLES))), float("nan"))
    ways = role_permutations(len(people))
    leaning = np.stack([_leaning(people, width_px, each) for each in HANDS])
    votes = leaning[:, np.arange(len(people)), ways].sum(axis=2)
    votes += np.log([1 - LEFT_HANDED, LEFT_HANDED])[:, None]
    if operator is not None:
        votes = np.where(ways[:, operator] == ROLES.index("operator"), votes, -np.inf)
    likely = np.exp(votes - votes.max())
    right_handed = likely[HANDS.index("right")].sum() / likely.sum()
    if handed is not None:
        votes = votes[[HANDS.index(handed)]]
    of_way = np.exp(votes - votes.max()).sum(axis=0)
    of_way /= of_way.sum()
    belief = np.stack([of_way @ (ways == role) for role in range(len(ROLES))], axis=1)
    if operator is not None:
        belief[operator, ROLES.index("operator")] = 1.0  # exactly
    return RolePosterior(belief, float(right_handed))


@cache
def role_permutations(people: int) -> IndexArray:
    """Return array (way, person): all ways to share out the roles, each at most once.

    The values are positions in :data:`ROLES`; one more stands for none of them.
    """
    ways = itertools.product(range(len(ROLES) + 1), repeat=people)
    return np.array(
        [way for way in ways if all(way.count(role) <= 1 for role in range(len(ROLES)))]
    )


def cues(people: Sequence[PoseEstimate], width_px: int, handed: str | None = None) -> FloatArray:
    """Return array (person, cue) in the order of :data:`CUES`."""
    bodies = [Body.of(person) for person in people]
    lies = np.array([_lies(body) for body in bodies])
    largest = max(body.px_per_m for body in bodies)
    mirror = -1 if handed == "left" else 1
    to_patient = mirror ** np.array([name in CHANGES_SIDE for name in SITS], dtype=int)
    like_operator = _sits_like_operator(people, 1 - lies, width_px, handed)
    rows = []
    for who, body in enumerate(bodies):
        others = [other for at, other in enumerate(bodies) if at != who]
        lying = _most_lying(bodies, lies, who)
        hands = _nearest(body.hands_px, others, body.trunk_px)
        to_lying = _FAR if lying is None else _nearest(body.hands_px, [lying], body.trunk_px)
        rows.append(
            (
                *(to_patient * sits_to_patient(people[who])),
                1.0,
                body.lean_deg / 90,
                body.lean_in_space_deg / 90,
                lies[who],
                np.log(body.px_per_m / largest),
                body.visibility,
                hands / _FAR,
                _nearest(body.head_px[None], others, body.trunk_px) / _FAR,
                float(hands < 0.8),
                to_lying / _FAR,
                0.0 if lying is None else mirror * _side(body, lying),
                float(np.sum(1 - lies) - (1 - lies[who])),
                float(np.sum(lies) - lies[who]),
                body.face_down,
                body.head_height,
                mirror * _upright_on_the_left(bodies, lies, who, width_px),
                like_operator[who],
                _spread(people[who]),
            )
        )
    return np.array(rows)


def _lies(body: Body) -> float:
    return float(1 / (1 + np.exp((LYING_DEG - body.lean_deg) / _LYING_WIDTH_DEG)))


def _most_lying(bodies: Sequence[Body], lies: FloatArray, who: int) -> Body | None:
    at = max((at for at in range(len(bodies)) if at != who), key=lambda at: lies[at], default=None)
    return bodies[at] if at is not None and lies[at] > 0.5 else None


def _nearest(points_px: FloatArray, others: Sequence[Body], trunk_px: float) -> float:
    """Return the shortest way from any point to another's head, in trunk lengths."""
    ways = [np.linalg.norm(points_px - other.head_px, axis=1).min() for other in others]
    return float(min([way / trunk_px for way in ways] + [_FAR]))


def _side(body: Body, lying: Body) -> float:
    """Return +1 on the patient's right as seen from above, -1 on the left, 0 in line.

    A camera above the floor sees the floor plan the right way round, so the
    side follows from the turn between two lines in the picture.
    """
    feet_way, way = lying.hips_px - lying.head_px, body.hips_px - lying.head_px
    turn = feet_way[0] * way[1] - feet_way[1] * way[0]
    return float(turn / max(np.linalg.norm(feet_way) * np.linalg.norm(way), 1e-6))


def _upright_on_the_left(
    bodies: Sequence[Body], lies: FloatArray, who: int, width_px: int
) -> float:
    """Return +1 when the nearest upright other sits on one's own left, -1 on the right.

    Seen from above, a right-handed operator sits between 8 and 12 o'clock and
    faces the patient's head; an assistant at 2 to 4 is then on the left.
    Places on the floor plan follow from the sizes in the picture.
    """
    places = [
        np.array([body.hips_px[0], _FOCAL_SHARE * width_px]) / body.px_per_m for body in bodies
    ]
    ways = [place - places[who] for at, place in enumerate(places) if at != who and lies[at] < 0.5]
    if not ways:
        return 0.0
    nearest = min(ways, key=lambda way: float(np.linalg.norm(way)))
    return float(nearest @ bodies[who].left_way / (np.linalg.norm(nearest) + 1e-9))


def _sits_like_operator(
    people: Sequence[PoseEstimate], upright: FloatArray, width_px: int, handed: str | None
) -> FloatArray:
    """Return array (person,): summed log odds of operating, against each other upright one.

    Parameters
    ----------
    upright : array (person,)
        Belief that the person does not lie, 0..1; who lies is no party to it.
    """
    odds = np.clip(operator_odds(people, width_px, handed), -MOST_OF_PAIR, MOST_OF_PAIR)
    return np.asarray(upright * (odds @ upright))


def _spread(person: PoseEstimate) -> float:
    """Return the log of how unsurely the joints are placed, against well-seen ones.

    Bodies that are none, cut or mixed from two have joints of large spread.
    """
    if person.joints is None:
        return 0.0
    return float(np.log(joint_spread(person) / _USUAL_SPREAD))


def pose_of(person: PoseEstimate, handed: str = "right") -> FloatArray:
    """Return array (coordinate,): points of :data:`POSE` along the person's own axes.

    From mid-hip, each along the own left, down and backwards; of a left-handed
    operator, and of all who sit with one, as the mirror image. [m]
    """
    points = _points_m(person)
    own = {name: points[at] for at, name in enumerate(POSE)}
    left = own["shoulder_left"] - own["shoulder_right"] + own["hip_left"] - own["hip_right"]
    left[1] = 0.0  # level
    left /= np.linalg.norm(left) + 1e-9
    down = np.array([0.0, 1.0, 0.0])
    axes = np.stack([left, down, np.cross(left, down)])
    posed: FloatArray = (points - (own["hip_left"] + own["hip_right"]) / 2) @ axes.T
    if handed == "left":
        posed = posed[_MIRRORED_POSE] * (-1.0, 1.0, 1.0)
    return posed.ravel()


def _points_m(person: PoseEstimate) -> FloatArray:
    """Return array (point, xyz) of :data:`POSE`: joint centres where those were seen. [m]."""
    if person.joints is None:
        return person.world_m[[INDEX[name] for name in POSE]]
    place_px = person.joints.place[[JOINT[name] for name in POSE]]
    return np.asarray(place_px / Body.of(person).px_per_m)


def _leaning(people: Sequence[PoseEstimate], width_px: int, handed: str) -> FloatArray:
    """Return array (person, role or none): log odds against one another."""
    weights = _weights()
    poses = np.array([pose_of(person, handed) for person in people])
    measured = cues(people, width_px, handed)
    leaning: FloatArray = measured @ weights["cue"]
    leaning += (poses - weights["pose_mean"]) @ weights["pose"]
    leaning[:, :2] -= LYING_ODDS * measured[:, [CUES.index("lies")]]
    for who, person in enumerate(people):
        if person.impression is not None:
            unusual = person.impression - weights["impression_mean"]
            of_impression = unusual @ weights["impression"]
            leaning[who] += np.clip(of_impression, -MOST_OF_IMPRESSION, MOST_OF_IMPRESSION)
    return leaning


@cache
def _weights() -> Mapping[str, FloatArray]:
    """Return arrays (cue, pose coordinate or feature; role or none), and the means taken off."""
    with np.load(MODEL_PATH) as stored:
        return {name: stored[name].astype(np.float64) for name in stored.files}
