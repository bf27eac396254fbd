"""The fit of the role weights on invented people."""

import numpy as np

from ergo.landmarks.names import INDEX
from ergo.tracking.roles import HANDS
from ergo.training.roles import NOBODY, Group, fitted, roles_of
from tests.tracking.people import person

RANDOM = np.random.default_rng(7)


def invented_group():
    """Return three people; the first number of the impression tells who is who."""
    roles = [int(role) for role in RANDOM.permutation([0, 1, NOBODY])]
    impressions = RANDOM.normal(0, 1, (3, 8))
    impressions[:, 0] = [4.0 * role for role in roles]
    handed = str(RANDOM.choice(HANDS))
    side = 1.0 if handed == "right" else -1.0  # the operator's cue, right as of a right-handed one
    cues = np.zeros((2, 3, 2))
    cues[:, roles.index(0), 0] = side, -side
    poses = RANDOM.normal(0, 0.1, (2, 3, 4))
    return Group(cues, poses, impressions, roles, handed, 1.0)


def test_the_fit_finds_what_tells_the_roles_apart():
    model = fitted([invented_group() for _ in range(60)], parts=8)
    fresh = [invented_group() for _ in range(20)]
    for group in fresh:
        leaning = group.cues @ model["cue"]  # hand, person, role
        leaning += (group.poses - model["pose_mean"]) @ model["pose"]
        own, other = leaning if group.handed == "right" else leaning[::-1]
        assert own[group.roles.index(0), 0] > other[group.roles.index(0), 0]
        leaning = own + (group.impressions - model["impression_mean"]) @ model["impression"]
        operator = int(np.argmax(leaning[:, 0] - leaning[:, NOBODY]))
        assert group.roles[operator] == 0


def true_person(role, at_px):
    seen = person(at_px)
    return {
        "role": role,
        "points": {name: {"px": seen.picture_px[at, :2].tolist()} for name, at in INDEX.items()},
    }


def test_a_find_far_from_everybody_is_nobody_and_a_near_one_has_the_role():
    persons = [true_person("operator", (200.0, 300.0)), true_person("patient", (450.0, 300.0))]
    people = [person((455.0, 300.0)), person((205.0, 300.0)), person((330.0, 100.0))]
    assert roles_of(people, persons) == [2, 0, NOBODY]
