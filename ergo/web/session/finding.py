"""Runs in a process of its own: finds everybody in one picture of a session.

``python -m ergo.web.session.finding FOLDER FRAME CAMERA``, as a child (:mod:`ergo.child_process`).
It says ``{"people": [...]}``, one object per person from left to right, or
``{"people": null}`` where the recording is no longer at its place.
"""

import math
import sys
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from ergo.arrays import FloatArray, PictureArray
from ergo.child_process import Limits, Talk, run_child
from ergo.errors import ErgoError
from ergo.frames.fetch import picture_at
from ergo.landmarks.names import INDEX
from ergo.landmarks.network import PoseEstimate
from ergo.report.pictures.moment_pictures import outline
from ergo.session.session import Recording
from ergo.storage.session_folder import read_session
from ergo.tracking.body import LYING_DEG, Body, joint_spread
from ergo.tracking.patient_detector import LYING_FLOOR
from ergo.tracking.people_finder import SAME_BODY_SHARE, PeopleFinder, body_distance
from ergo.tracking.tracked_person import UNSURE_SPREAD, way_to_body
from ergo.web.session.picture_process import shown_by

LIMITS = Limits(cpu_s=300)
_ON_BODY = (
    ("shoulder_left", "shoulder_right", "hip_left", "hip_right"),
    ("shoulder_left", "shoulder_right"),
    ("hip_left", "hip_right"),
    ("shoulder_left", "hip_left"),
    ("shoulder_right", "hip_right"),
    ("shoulder_left", "elbow_left"),
    ("shoulder_right", "elbow_right"),
)
"""Middles of these landmarks are places by which a person can be pointed at."""
_COARSE = 0.004
"""The outline's corners may lie this share of the picture's diagonal beside it (ours)."""


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """One person in the picture.

    Attributes
    ----------
    points : array (landmark, xy)
        [px of the upright picture]
    lies : bool
        As a patient does.
    is_operator : bool
        Followed as the operator by now.
    """

    points: FloatArray
    lies: bool
    is_operator: bool = False


def everybody(recording: Recording, frame: int, picture: PictureArray) -> list[Found]:
    """Return everybody who is found in a picture, and who was followed there before.

    Bodies whose joints are unsure are left out: most are none, or mixed from two. (On
    three stills of the samples all five false ones have a spread above .12 of the
    body's size, all six true ones below .07.) Who lies at somebody's hands counts as
    lying even if found upright.
    """
    with closing(PeopleFinder()) as finder:
        found = finder.find(picture, lambda _: False)
    looks = [look for look in found if not joint_spread(look) > UNSURE_SPREAD]
    upright = [Found(look.picture_px[:, :2], Body.of(look).lean_deg > LYING_DEG) for look in looks]
    lying = [Found(each.picture_px[:, :2], lies=True) for each in _surest_patient(looks)]
    return merged([*_followed(recording, frame), *upright, *lying])


def _surest_patient(looks: Sequence[PoseEstimate]) -> list[PoseEstimate]:
    """Return who lies at the hands of the one whose look is surest of it, if anybody does.

    Everybody's hands are looked at; one patient seen from several hands is one patient.
    """
    found = [look.at_hands for look in looks if look.at_hands is not None]
    surest = max(found, key=lambda each: each.presence, default=None)
    return [surest] if surest is not None and surest.presence >= LYING_FLOOR else []


def _followed(recording: Recording, frame: int) -> list[Found]:
    return [
        Found(
            np.nanmean(track.picture_px[frame, :, :, :2], axis=0),
            lies=role == "patient",
            is_operator=role == "operator",
        )
        for role, track in recording.tracks.items()
        if track.found[frame]
    ]


def merged(people: Sequence[Found]) -> list[Found]:
    """Return every body once, from left to right; what any find says of it holds."""
    kept: list[Found] = []
    for person in people:
        same = [at for at, each in enumerate(kept) if _is_one_body(person, each)]
        if not same:
            kept.append(person)
        for at in same:
            kept[at] = replace(
                kept[at],
                lies=kept[at].lies or person.lies,
                is_operator=kept[at].is_operator or person.is_operator,
            )
    return sorted(kept, key=lambda each: float(_middle(each.points, _ON_BODY[0])[0]))


def _is_one_body(one: Found, other: Found) -> bool:
    return body_distance(one.points, other.points) <= SAME_BODY_SHARE


def described(people: Sequence[Found], shape: tuple[int, ...]) -> list[dict[str, Any]]:
    """Return people as the browser is told of them: outline and a point on that person alone."""
    return [
        {
            "outline": _outline(person.points, shape),
            "at": _point_on(person, [each for each in people if each is not person], shape),
            "lies": person.lies,
            "is_operator": person.is_operator,
        }
        for person in people
    ]


def _outline(points: FloatArray, shape: tuple[int, ...]) -> list[list[int]]:
    import cv2

    mask = outline(points, shape).astype(np.uint8)
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    widest = max(contours, key=cv2.contourArea)
    corners = cv2.approxPolyDP(widest, _COARSE * math.hypot(shape[0], shape[1]), True)
    return [[int(x), int(y)] for x, y in corners[:, 0]]


def _point_on(person: Found, others: Sequence[Found], shape: tuple[int, ...]) -> list[float]:
    """Return the point on a body, inside the picture, that is least on anybody else's."""

    def apart(at: FloatArray) -> float:
        ways = [way_to_body(each.points, at) for each in others]
        return min([*ways, 9.0]) - way_to_body(person.points, at)

    most = np.array([shape[1] - 1, shape[0] - 1], dtype=np.float64)
    places = [np.clip(_middle(person.points, names), 0, most) for names in _ON_BODY]
    return [round(float(value), 1) for value in max(places, key=apart)]


def _middle(points: FloatArray, names: Sequence[str]) -> FloatArray:
    middle: FloatArray = points[[INDEX[name] for name in names]].mean(axis=0)
    return middle


def _find(talk: Talk) -> None:
    folder, frame, camera = sys.argv[1:]
    shown = shown_by(read_session(Path(folder)).recording, int(frame), int(camera))
    talk.say({"people": None if shown is None else _people(*shown)})


def _people(recording: Recording, frame: int) -> list[dict[str, Any]] | None:
    timeline = recording.timeline
    source = recording.sources[timeline.source_index[frame]]
    try:
        picture = picture_at(source, float(timeline.time_s[frame]))
    except ErgoError:
        return None
    people = [each for each in everybody(recording, frame, picture) if _can_be_drawn(each.points)]
    return described(people, picture.shape)


def _can_be_drawn(points: FloatArray) -> bool:
    return bool(np.isfinite(points[: INDEX["knee_right"] + 1]).all())


if __name__ == "__main__":
    sys.exit(run_child(_find, LIMITS))
