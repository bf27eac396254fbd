"""The eyes on one source: which look is taken at which frame, and what follows from it.

Looks at the operator take the crop that the landmarks of :data:`LAG` frames
earlier ask for, so that as many looks run beside each other and the result does
not depend on how fast any of them is.
"""

from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from ergo.arrays import FloatArray, PictureArray
from ergo.frames.frame import Frame, SourceFacts
from ergo.landmarks.network import Box, PoseEstimate, Refinement
from ergo.landmarks.pose_track import Role
from ergo.notes.notes import Notes
from ergo.tracking.body import LYING_DEG, Body, body_size_px
from ergo.tracking.people_finder import LOOKS_AT_ONCE, SAME_BODY_SHARE, Enough, body_distance
from ergo.tracking.roles import (
    OPERATOR_FLOOR,
    Identified,
    identify,
    role_posterior,
    with_patient,
)
from ergo.tracking.tracked_person import (
    PRESENCE_FLOOR,
    TrackedPerson,
    distance_to_point,
    likeness,
    must_look_again,
    surer,
    trunk_colours,
)
from ergo.tracking.tracker_state import NEVER, Row, Seen, TrackerState

LOOKS: Mapping[str, tuple[str, ...]] = {"fast": ("heavy",), "full": ("heavy_closer",)}
"""The stored look at the operator by effort; a closer one looks at the upper body again, and in
a still, which has no neighbours to take a mean with, at mirror images too."""

OTHERS: tuple[Role, ...] = ("assistant", "patient")
LAG = LOOKS_AT_ONCE  # frames from a look to the frame whose crop it sets; looks in flight
OPINION_LAG = 10  # frames from a search to the frame that heeds it: looks go on meanwhile
SEARCH_EVERY_S = 10.0  # for people who came, and for a second opinion on who is who
LOST_SEARCH_EVERY_S = 1.0  # when the operator is not in view
THOROUGH_EVERY_S = 10.0  # of those, how often the search is a close one
OTHERS_EVERY_S = 3.0  # a look at the assistant and the patient by turns
SURE = 0.85  # belief in the operator at which no closer search is made
MEMORY = 0.7  # weight of the belief so far against that of a new search
POINT_REACH = 0.5  # trunk lengths by which a point of the notes may miss its person


@dataclass(frozen=True, slots=True, eq=False)
class _Ordered:
    """A frame whose looks have been ordered and are being taken."""

    frame: Frame
    looks: Mapping[Role, tuple["Future[PoseEstimate]", ...]]
    is_searched: bool


@dataclass(slots=True, eq=False)
class _Asked:
    """A second opinion that has been asked for: a search of a whole picture, under way."""

    frame: Frame
    operator: PoseEstimate
    people: "Future[list[PoseEstimate]]"
    rows_to_go: int = OPINION_LAG


class PoseDetector(Protocol):
    """Finds people in a picture, and looks at one."""

    def find(
        self,
        picture: PictureArray,
        enough: Enough | None = None,
        known: Sequence[PoseEstimate] = (),
    ) -> list[PoseEstimate]:
        """Return one look per person, those seen best first; whom we know is among them."""

    def look(
        self, picture: PictureArray, box: Box, refinement: Refinement = "once"
    ) -> PoseEstimate:
        """Return what is seen in one crop; threads may do this beside each other."""

    def close(self) -> None:
        """Give back whatever was needed."""


class Tracker:
    """Watches the frames of one source in order; close it when done.

    Parameters
    ----------
    notes : Notes
    effort : str
        A key of :data:`LOOKS`.
    facts : SourceFacts
    state : TrackerState
    eyes : PoseDetector
        Closed with the watcher.
    """

    def __init__(
        self,
        notes: Notes,
        effort: str,
        facts: SourceFacts,
        state: TrackerState,
        detector: PoseDetector,
    ) -> None:
        self.state = state
        self._notes, self._effort, self._is_clip = notes, effort, facts.kind == "clip"
        self._refinement: Refinement = "once"
        if effort == "full":
            self._refinement = "closer" if self._is_clip else "closer, mirrored too"
        self._width_px = facts.width_px
        self._detector = detector
        self._pool = ThreadPoolExecutor(LAG)
        self._asked: _Asked | None = None

    def close(self) -> None:
        """Give threads and detector back."""
        self._pool.shutdown(cancel_futures=True)
        self._detector.close()

    def watch(self, frames: Iterable[Frame]) -> Iterator[Row]:
        """Yield what is seen in each frame, in order; nothing is in flight afterwards."""
        ordered: deque[_Ordered] = deque()
        for frame in frames:
            if len(ordered) == LAG:
                yield self._taken(ordered.popleft())
            if self._must_search_first(frame):
                yield from self._all_taken(ordered)
                self._search_first(frame)
            ordered.append(self._order(frame))
        yield from self._all_taken(ordered)

    def _all_taken(self, ordered: deque[_Ordered]) -> Iterator[Row]:
        while ordered:
            yield self._taken(ordered.popleft())
        self._heed_second_opinion()

    def _must_search_first(self, frame: Frame) -> bool:
        """Return whether this frame cannot be looked at before the picture is searched."""
        point = self._notes.operator
        if point is not None and not self.state.is_noted and frame.time_s >= point.time_s:
            return True
        is_lost = "operator" not in self.state.followed
        return is_lost and frame.time_s - self.state.searched_s >= LOST_SEARCH_EVERY_S

    def _search_first(self, frame: Frame) -> None:
        is_close = frame.time_s - self.state.searched_closely_s >= THOROUGH_EVERY_S
        people = self._detector.find(frame.picture, self._is_enough if is_close else None)
        self.state = replace(self.state, searched_s=frame.time_s)
        if is_close:
            self.state = replace(self.state, searched_closely_s=frame.time_s)
        who = self._identified(frame, people)
        if "operator" in who:
            for role, person in with_patient(who).items():
                self.state = self.state.following(
                    role, TrackedPerson.from_now(person, frame.time_s)
                )
        elif people:  # whoever seems to assist or lie there: without an operator nobody does
            self.state = self.state.with_doubt(
                "Somebody was seen who may or may not be the operator."
            )

    def _is_enough(self, people: Sequence[PoseEstimate]) -> bool:
        if self._notes.operator is not None and not self.state.is_noted:
            return self._at_point(people) is not None
        who = identify(people, self._width_px, self._notes.handed)
        return "operator" in who and who["operator"].belief >= SURE and "patient" in who

    def _identified(self, frame: Frame, people: Sequence[PoseEstimate]) -> dict[Role, Identified]:
        """Return who is who, by the notes, by what is known, or by the looks of it."""
        point = self._notes.operator
        if point is not None and not self.state.is_noted and frame.time_s >= point.time_s:
            return self._identified_by_point(frame, people)
        alike = [likeness(self.state.colours, trunk_colours(frame.picture, one)) for one in people]
        who = identify(people, self._width_px, self._notes.handed, alike)
        return who if "operator" in who else self._by_upright_alone(people, alike) | who

    def _by_upright_alone(
        self, people: Sequence[PoseEstimate], alike: Sequence[float]
    ) -> dict[Role, Identified]:
        """Return who is who without those who lie: a false patient must not raise doubt."""
        upright = [at for at, one in enumerate(people) if Body.of(one).lean_deg < LYING_DEG]
        return identify(
            [people[at] for at in upright],
            self._width_px,
            self._notes.handed,
            [alike[at] for at in upright],
        )

    def _identified_by_point(
        self, frame: Frame, people: Sequence[PoseEstimate]
    ) -> dict[Role, Identified]:
        self.state = replace(self.state, is_noted=True)
        operator = self._at_point(people)
        if operator is None:
            self.state = self.state.with_doubt("Nobody was found at the point given in the notes.")
            return identify(people, self._width_px, self._notes.handed)
        if Body.of(people[operator]).lean_deg > LYING_DEG:
            self.state = self.state.with_doubt(
                "The person at the point given in the notes lies, as a patient does."
            )
        colours = trunk_colours(frame.picture, people[operator])
        self.state = replace(self.state, colours=colours)
        return self._beside(people, operator)

    def _beside(self, people: Sequence[PoseEstimate], operator: int) -> dict[Role, Identified]:
        """Return who is who where the operator is certain."""
        ordered = [people[operator], *people[:operator], *people[operator + 1 :]]
        return identify(ordered, self._width_px, self._notes.handed, operator=0)

    def _at_point(self, people: Sequence[PoseEstimate]) -> int | None:
        """Return the position of whom the notes point at; None where nobody is."""
        point = self._notes.operator
        if point is None or not people:
            return None
        ways = [distance_to_point(one, point.at) for one in people]
        return int(np.argmin(ways)) if min(ways) <= POINT_REACH else None

    def _order(self, frame: Frame) -> _Ordered:
        """Start all looks at a frame."""
        looks: dict[Role, tuple[Future[PoseEstimate], ...]] = {}
        operator = self.state.followed.get("operator")
        if operator is not None:
            looks["operator"] = (self._start(frame, operator, self._refinement),)
        for role in self._others_due(frame):
            person = self.state.followed[role]
            looks[role] = (self._start(frame, person, _refinement_of(role)),)
        is_due = frame.time_s - self.state.searched_s >= SEARCH_EVERY_S
        is_searched = self._is_clip and is_due and operator is not None
        if is_searched:
            self.state = replace(self.state, searched_s=frame.time_s)
        return _Ordered(frame, looks, is_searched)

    def _start(
        self, frame: Frame, person: TrackedPerson, refinement: Refinement
    ) -> "Future[PoseEstimate]":
        box = person.box_at(frame.time_s)
        if not self._is_clip or refinement == "lying":
            return self._pool.submit(self._detector.look, frame.picture, box, refinement)
        return self._pool.submit(self._look_well, frame.picture, box, refinement)

    def _look_well(self, picture: PictureArray, box: Box, refinement: Refinement) -> PoseEstimate:
        """Return a look; the surer of two where the first was off its person or unsure."""
        look = self._detector.look(picture, box, refinement)
        if look.presence < PRESENCE_FLOOR or not must_look_again(look, box):
            return look
        again = self._detector.look(picture, look.next_box, refinement)
        return surer(look, again)

    def _others_due(self, frame: Frame) -> list[Role]:
        followed = [role for role in OTHERS if role in self.state.followed]
        if not followed or frame.time_s - self.state.others_s < OTHERS_EVERY_S:
            return []
        is_first = self.state.others_s == NEVER
        turn = self.state.turn
        self.state = replace(self.state, others_s=frame.time_s, turn=turn + 1)
        return followed if is_first else [followed[turn % len(followed)]]

    def _taken(self, ordered: _Ordered) -> Row:
        """Wait for the looks at a frame and learn from them."""
        seen: dict[Role, Seen] = {}
        for role, futures in ordered.looks.items():
            looks = tuple(future.result() for future in futures)
            person = self.state.followed.get(role)
            if person is None:  # given up since the look was ordered
                seen[role] = Seen((), looks[0].presence, np.nan)
                continue
            is_them = person.accepts(looks[0], ordered.frame.time_s)
            goes_on = person.after(looks[0], ordered.frame.time_s)
            if role == "assistant" and _is_one_body(looks[0], seen.get("operator")):
                is_them, goes_on = False, None  # the look has slipped onto the operator
            self.state = self.state.following(role, goes_on)
            seen[role] = Seen(
                looks if is_them else (), looks[0].presence, person.belief, person.right_handed
            )
        if self._asked is not None:
            self._asked.rows_to_go -= 1
            if not self._asked.rows_to_go:
                self._heed_second_opinion()
        if ordered.is_searched and seen["operator"].looks:
            self._ask_second_opinion(ordered.frame, seen["operator"].looks[0])
        return Row(ordered.frame.time_s, ordered.frame.number, seen)

    def _ask_second_opinion(self, frame: Frame, operator: PoseEstimate) -> None:
        self._heed_second_opinion()  # an earlier one, where frames are far apart
        people = self._pool.submit(self._detector.find, frame.picture, None, [operator])
        self._asked = _Asked(frame, operator, people)

    def _heed_second_opinion(self) -> None:
        """Weigh who is who anew by the search of a whole picture, if one was asked for."""
        asked, self._asked = self._asked, None
        if asked is None or "operator" not in self.state.followed:
            return
        people = asked.people.result()
        apart = [body_distance(one.picture_px, asked.operator.picture_px) for one in people]
        if not people or min(apart) >= SAME_BODY_SHARE:
            return  # who is followed was not among them: nothing is told of who is who
        at, person = int(np.argmin(apart)), self.state.followed["operator"]
        who = with_patient(self._beside(people, at))
        for role in OTHERS:
            if role in who:
                self.state = self.state.following(
                    role, TrackedPerson.from_now(who[role], asked.frame.time_s)
                )
        if person.belief >= OPERATOR_FLOOR:
            colours = trunk_colours(asked.frame.picture, asked.operator)
            self.state = replace(self.state, colours=colours)
        if self.state.is_noted:
            self._learn(person.belief, who["operator"].right_handed)
            return
        shared = role_posterior(people, self._width_px, self._notes.handed)
        self._learn(float(shared.belief[at, 0]), shared.right_handed)
        self._doubt_if_another_fits_better(np.delete(shared.belief[:, 0], at))

    def _learn(self, belief: float, right_handed: float) -> None:
        """Weigh a new opinion of the operator against what was believed so far."""
        person = self.state.followed["operator"]
        learned = replace(
            person,
            belief=MEMORY * person.belief + (1 - MEMORY) * belief,
            right_handed=MEMORY * person.right_handed + (1 - MEMORY) * right_handed,
        )
        self.state = self.state.following("operator", learned)

    def _doubt_if_another_fits_better(self, others: FloatArray) -> None:
        believed = self.state.followed["operator"].belief
        if believed < OPERATOR_FLOOR and others.size and others.max() > believed:
            self.state = self.state.with_doubt(
                "Another person looked more like the operator for a while."
            )
            self.state = self.state.following("operator", None)


def _is_one_body(look: PoseEstimate, other: Seen | None) -> bool:
    return other is not None and any(_is_same(look, one) for one in other.looks)


def _is_same(look: PoseEstimate, other: PoseEstimate) -> bool:
    """Return whether two looks show one body, by their landmarks or by the joints alone."""
    if body_distance(look.picture_px, other.picture_px) < SAME_BODY_SHARE:
        return True
    if look.joints is None or other.joints is None:
        return False
    ways = np.linalg.norm((look.joints.place - other.joints.place)[:, :2], axis=1)
    size_px = min(body_size_px(look.picture_px), body_size_px(other.picture_px))
    return float(np.median(ways)) < SAME_BODY_SHARE * size_px


def _refinement_of(role: Role) -> Refinement:
    """Return how somebody who is no operator is looked at."""
    return "lying" if role == "patient" else "once"
