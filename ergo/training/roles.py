"""Fit the weights by which operator, assistant and patient are told apart.

    python -m ergo.training.roles FOLDER [FOLDER ...] --found FOLDER

Every still lies beside a JSON file with the true people. Of all folders the true
people are looked at where they are; of the folders behind ``--found`` also
everybody is taken whom the people finder finds, bodies that are none included: in
the whole picture, and by a closer search where that does not find operator and patient. Who
of two people sits like the operator was learned before (:mod:`ergo.training.pairs`)
and is one more cue. The weights make the true sharing out of roles among people, and
the operator's true hand, as likely as possible (a log-linear model over all ways to
share them out with either hand, with an L2 penalty).
"""

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.optimize import minimize

from ergo.arrays import FloatArray
from ergo.landmarks.names import INDEX
from ergo.landmarks.network import PoseEstimate
from ergo.tracking.people_finder import PRESENCE_FLOOR, PeopleFinder, with_hands
from ergo.tracking.roles import (
    HANDS,
    MODEL_PATH,
    MOST_PEOPLE,
    ROLES,
    cues,
    pose_of,
    role_permutations,
)
from ergo.training.scenes import Person, Scene, read_scene, true_box

NOBODY = len(ROLES)
NEAR_SHARE = 0.3  # of a person's size: a find further from every true person is nobody
FOUND_WEIGHT = 2.0  # of a find against a true person looked at
GOES_ON_WEIGHT = 1.0  # the same after which the search goes on
PARTS = 100  # principal parts of the impression that are used
PART_SCALE = 1.5  # of the first part; larger is trusted more under the penalty
SPREAD_SCALE = 2.0
PENALTY = 1.5  # variance of the weights expected before
_STEPS = 200
_NONE = 1e-9
_COMPARED = ("shoulder", "elbow", "wrist", "hip")


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """People seen in one picture and who they truly are.

    Attributes
    ----------
    cues, poses : array (hand, person, number)
        As of a right- and of a left-handed operator.
    impressions : array (person, number)
    roles : sequence of int
        Position in ``ROLES``, or :data:`NOBODY`.
    handed : str
        Of the operator.
    weight : float
    """

    cues: FloatArray
    poses: FloatArray
    impressions: FloatArray
    roles: Sequence[int]
    handed: str
    weight: float


def fitted(groups: Sequence[Group], parts: int = PARTS) -> dict[str, FloatArray]:
    """Return the arrays of the roles model."""
    impressions = np.concatenate([group.impressions for group in groups])
    own = [group.poses[HANDS.index(group.handed)] for group in groups]
    poses = np.concatenate(own)
    impression_mean, pose_mean = impressions.mean(axis=0), poses.mean(axis=0)
    deviation, axes = _principal(impressions - impression_mean, parts)
    to_parts = axes.T * (PART_SCALE / deviation)
    scale = np.ones(groups[0].cues.shape[2])
    scale[-1] = SPREAD_SCALE
    measured = []
    for group in groups:
        parts_of = (group.impressions - impression_mean) @ to_parts
        of_both = np.broadcast_to(parts_of, (len(HANDS), *parts_of.shape))
        each = [group.cues * scale, group.poses - pose_mean, of_both]
        measured.append(np.concatenate(each, axis=2))
    weights = _likeliest(measured, groups)
    cue, pose, part = np.split(weights, np.cumsum([len(scale), len(pose_mean)]))
    return {
        "cue": cue * scale[:, None],
        "pose": pose,
        "pose_mean": pose_mean,
        "impression": to_parts @ part,
        "impression_mean": impression_mean,
    }


def _principal(values: FloatArray, parts: int) -> tuple[float, FloatArray]:
    """Return the deviation along the first axis, and array (part, feature) of axes."""
    _, lengths, axes = np.linalg.svd(values, full_matrices=False)
    return float(lengths[0]) / np.sqrt(max(len(values) - 1, 1)), axes[:parts]


def _likeliest(measured: Sequence[FloatArray], groups: Sequence[Group]) -> FloatArray:
    """Return array (measure, role or none) of the weights.

    Parameters
    ----------
    measured : sequence of array (hand, person, measure)
    groups : sequence of Group
    """
    shape = (measured[0].shape[2], NOBODY + 1)
    handed = np.array([HANDS.index(group.handed) for group in groups])
    share = np.log(np.maximum(np.bincount(handed, minlength=len(HANDS)) / len(handed), _NONE))
    known = []
    for values, group, hand in zip(measured, groups, handed.tolist(), strict=True):
        shares = np.eye(NOBODY + 1)[role_permutations(values.shape[1])]  # way, person, role
        each = np.einsum("wpr,hpm->hwmr", shares, values).reshape(-1, shape[0] * shape[1])
        true = np.einsum("pr,pm->mr", np.eye(NOBODY + 1)[list(group.roles)], values[hand]).ravel()
        known.append((each, true, np.repeat(share, len(shares)), group.weight))

    def unlikely(weights: FloatArray) -> tuple[float, FloatArray]:
        total, slope = float(weights @ weights) / (2 * PENALTY), weights / PENALTY
        for each, true, before, weight in known:
            votes = each @ weights + before
            most = votes.max()
            chances = np.exp(votes - most)
            total += weight * float(most + np.log(chances.sum()) - true @ weights)
            slope = slope + weight * (chances @ each / chances.sum() - true)
        return total, slope

    start = np.zeros(shape[0] * shape[1])
    best = minimize(unlikely, start, jac=True, method="L-BFGS-B", options={"maxiter": _STEPS})
    found: FloatArray = best.x.reshape(shape)
    return found


def group_of(
    people: Sequence[PoseEstimate], roles: Sequence[int], scene: Scene, weight: float
) -> Group:
    """Return people of a scene and their true roles as the fit takes them."""
    width_px = scene.picture.shape[1]
    return Group(
        np.stack([cues(people, width_px, hand) for hand in HANDS]),
        np.array([[pose_of(one, hand) for one in people] for hand in HANDS]),
        np.array([one.impression for one in people]),
        list(roles),
        scene.handed,
        weight,
    )


def _groups(path: Path, finder: PeopleFinder, *, is_found: bool) -> Iterator[Group]:
    """Yield the groups of one still: found, placed, and the patient alone."""
    scene = read_scene(path)
    if is_found:
        yield from _found(scene, finder)
    placed = [(finder.look(scene.picture, true_box(one)), one) for one in scene.people]
    seen = [
        (with_hands(finder.look, scene.picture, look), ROLES.index(one["role"]))
        for look, one in placed
        if look.presence >= PRESENCE_FLOOR and roles_of([look], [one]) != [NOBODY]
    ]
    patient = [(look, role) for look, role in seen if ROLES[role] == "patient"]
    for some in (seen, patient if len(seen) > 1 else []):
        if some:
            yield group_of([look for look, _ in some], [role for _, role in some], scene, 1.0)


def _found(scene: Scene, finder: PeopleFinder) -> Iterator[Group]:
    """Yield who is found in the whole picture, and by the closer search that may follow.

    As in the program that search is made unless operator and patient are found without
    it; what has to be judged before it counts too, but less.
    """
    stages: list[tuple[Sequence[PoseEstimate], list[int]]] = []

    def is_enough(people: Sequence[PoseEstimate]) -> bool:
        some = people[:MOST_PEOPLE]
        stages.append((some, roles_of(some, scene.people)))
        return {ROLES.index("operator"), ROLES.index("patient")} <= set(stages[-1][1])

    finder.find(scene.picture, is_enough)
    for at, (people, roles) in enumerate(stages, start=1):
        if people:
            weight = FOUND_WEIGHT if at == len(stages) else GOES_ON_WEIGHT
            yield group_of(people, roles, scene, weight)


def roles_of(people: Sequence[PoseEstimate], persons: Sequence[Person]) -> list[int]:
    """Return the role of the true person nearest each look; each at most once."""
    names = [f"{part}_{side}" for part in _COMPARED for side in ("left", "right")]
    places = [INDEX[name] for name in names]
    roles = [NOBODY] * len(people)
    if not people:
        return roles
    for person in persons:
        true = np.array([person["points"][name]["px"] for name in names])
        size = max(float(np.ptp(true, axis=0).max()), 1.0)
        apart = [
            float(np.median(np.linalg.norm(one.picture_px[places, :2] - true, axis=1))) / size
            for one in people
        ]
        nearest = int(np.argmin(apart))
        if apart[nearest] < NEAR_SHARE:
            roles[nearest] = ROLES.index(person["role"])
    return roles


def main() -> None:
    """Fit on folders of stills and write the model."""
    parser = argparse.ArgumentParser(prog="python -m ergo.training.roles", description=__doc__)
    parser.add_argument("folders", type=Path, nargs="*")
    parser.add_argument("--found", type=Path, nargs="*", default=[])
    given = parser.parse_args()
    finder = PeopleFinder()
    groups = [
        group
        for folder in (*given.folders, *given.found)
        for path in sorted(folder.glob("*.json"))
        for group in _groups(path, finder, is_found=folder in given.found)
    ]
    finder.close()
    model = {name: values.astype(np.float32) for name, values in fitted(groups).items()}
    with MODEL_PATH.open("wb") as file:
        np.savez_compressed(file, **model)  # type: ignore[arg-type]


if __name__ == "__main__":
    main()
