"""Where the operator and the assistant sat in every source, and the clock that follows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ergo.arrays import FloatArray, IndexArray
from ergo.camera.camera import Camera, LevelOrigin
from ergo.camera.places import Place
from ergo.landmarks.pose_track import PoseTrack, Role
from ergo.notes.notes import Notes
from ergo.timeline import Timeline
from ergo.workplace.clock import clock_from_notes, zones_of
from ergo.workplace.clock_track import ClockOrigin, ClockTrack, Handed
from ergo.workplace.estimated_room import SeenPeople, guessed_rooms
from ergo.workplace.handedness import handed_by
from ergo.workplace.measured_clock import Placed, placed_person
from ergo.workplace.people_level import levelled_by_people
from ergo.workplace.place_track import MEASURES, PlaceOrigin, PlaceTrack
from ergo.workplace.sampled_rooms import Rooms, rooms_of_set_up
from ergo.workplace.seat import seen_person

SET_UP_DRAWS = 64
LEAST_SEEN = 0.3
"""Share of the looks at an assistant in which one has to be found (ours)."""
FARTHEST_M = 1.2
"""Nobody who sits further from the patient's head assists (arm's reach; ours). [m]"""


def place_people(
    timeline: Timeline,
    tracks: Mapping[Role, PoseTrack],
    cameras: Sequence[Camera],
    places: Sequence[Place],
    notes: Sequence[Notes],
) -> PlaceTrack:
    """Return where operator and assistant sat, wherever camera and patient are known.

    Parameters
    ----------
    timeline : Timeline
    tracks : mapping of role to PoseTrack
    cameras : sequence of Camera
        One per source, levelled as well as can be.
    places : sequence of Place
        One per source.
    notes : sequence of Notes
        One per source.
    """
    laid = _Laid(len(timeline))
    each = []
    for source, (place, note) in enumerate(zip(places, notes, strict=True)):
        frames = timeline.frames_of(source)
        seconds, of_frame = _seconds(timeline, frames)
        own = {role: _by_second(track, frames, of_frame) for role, track in tracks.items()}
        told = _placed_source(seconds, own, cameras[source], place, note)
        laid.put(frames, of_frame, told)
        each.append(told)
    return laid.as_track(each, places)


@dataclass(frozen=True, slots=True, eq=False)
class _PlacedSource:
    """Places of one source, second by second; None where they are not judged."""

    operator: Placed | None
    assistant: Placed | None
    origin: PlaceOrigin
    right_handed: float
    level_origin: LevelOrigin


def _placed_source(
    timeline: Timeline,
    tracks: Mapping[Role, PoseTrack],
    camera: Camera,
    place: Place,
    note: Notes,
) -> _PlacedSource:
    camera = levelled_by_people(timeline, tracks, camera)
    people = _seen_people(timeline, tracks, camera, note.operator_height_cm)
    rooms, origin = _rooms(people, camera, place, note)
    believed = right_handed(tracks["operator"])
    if rooms is None:
        return _PlacedSource(None, None, origin, believed, camera.level_origin)
    operator, assistant = people.operator, people.assistant
    return _PlacedSource(
        placed_person(operator, rooms),
        None if assistant is None else _within_reach(placed_person(assistant, rooms)),
        origin,
        believed,
        camera.level_origin,
    )


def _seen_people(
    timeline: Timeline,
    tracks: Mapping[Role, PoseTrack],
    camera: Camera,
    height_cm: float | None,
) -> SeenPeople:
    operator = seen_person(timeline, tracks["operator"], camera, height_cm)
    assistant = None
    if "assistant" in tracks and _is_there(tracks["assistant"]):
        assistant = seen_person(timeline, tracks["assistant"], camera, None)
    return SeenPeople(timeline, operator, assistant, tracks.get("patient"))


def right_handed(operator: PoseTrack) -> float:
    """Return the usual belief that the operator is right-handed, 0..1; NaN where not judged."""
    belief = operator.right_handed
    if belief is None or not np.isfinite(belief).any():
        return float("nan")
    return float(np.nanmedian(belief))


def _is_there(track: PoseTrack) -> bool:
    """Return whether somebody is there in a fair share of the seconds in which they are looked for.

    Who is found once in a while is a mistake, or somebody who passes by.
    """
    looked_for = np.isfinite(track.presence) | track.found
    return bool(track.found.sum() > LEAST_SEEN * looked_for.sum())


def _rooms(
    people: SeenPeople, camera: Camera, place: Place, note: Notes
) -> tuple[Rooms | None, PlaceOrigin]:
    """Return equally likely rooms of one source by the best route, and which it is."""
    if place.set_up is not None and place.set_up.chair is not None:
        return rooms_of_set_up(place.set_up.draws(SET_UP_DRAWS)), "set-up"
    return guessed_rooms(people, camera, note.handed)


def _within_reach(assistant: Placed) -> Placed:
    """Return the places within reach of the patient's head; the others are not told."""
    is_near = np.linalg.norm(assistant.seat_m, axis=1, keepdims=True) < FARTHEST_M
    return replace(
        assistant,
        seat_m=np.where(is_near, assistant.seat_m, np.nan),
        seat_sd_m=np.where(is_near, assistant.seat_sd_m, np.nan),
    )


class _Laid:
    """Arrays over all frames, NaN until something is put there."""

    def __init__(self, frames: int) -> None:
        self.seat_m, self.seat_sd_m = np.full((2, frames, 2), np.nan)
        self.assistant_m, self.assistant_sd_m = np.full((2, frames, 2), np.nan)
        self.hours, self.sd_hours, self.knees_under = np.full((3, frames), np.nan)
        self.measured = {name: np.full(frames, np.nan) for name in MEASURES}
        self.measured_sd = {name: np.full(frames, np.nan) for name in MEASURES}

    def put(self, frames: IndexArray, of_frame: IndexArray, told: _PlacedSource) -> None:
        """Lay the places of one source where its frames belong."""
        if told.assistant is not None:
            self.assistant_m[frames] = told.assistant.seat_m[of_frame]
            self.assistant_sd_m[frames] = told.assistant.seat_sd_m[of_frame]
        placed = told.operator
        if placed is None:
            return
        self.seat_m[frames] = placed.seat_m[of_frame]
        self.seat_sd_m[frames] = placed.seat_sd_m[of_frame]
        self.hours[frames], self.sd_hours[frames] = (
            placed.hours[of_frame],
            placed.sd_hours[of_frame],
        )
        self.knees_under[frames] = placed.knees_under[of_frame]
        for at, name in enumerate(MEASURES):
            self.measured[name][frames] = placed.measured[of_frame, at]
            self.measured_sd[name][frames] = placed.measured_sd[of_frame, at]

    def as_track(self, told: Sequence[_PlacedSource], places: Sequence[Place]) -> PlaceTrack:
        """Return all that was laid; one of each per source."""
        chairs = [None if place.set_up is None else place.set_up.chair for place in places]
        return PlaceTrack(
            seat_m=self.seat_m,
            seat_sd_m=self.seat_sd_m,
            assistant_m=self.assistant_m,
            assistant_sd_m=self.assistant_sd_m,
            hours=self.hours,
            sd_hours=self.sd_hours,
            measured=self.measured,
            measured_sd=self.measured_sd,
            knees_under=self.knees_under,
            origins=tuple(each.origin for each in told),
            is_moved=tuple(place.is_moved for place in places),
            chair_length_m=tuple(None if chair is None else chair.length_m for chair in chairs),
            chair_width_m=tuple(None if chair is None else chair.width_m for chair in chairs),
            right_handed=tuple(each.right_handed for each in told),
            level_origins=tuple(each.level_origin for each in told),
        )


def _seconds(timeline: Timeline, frames: IndexArray) -> tuple[Timeline, IndexArray]:
    """Return one source as a timeline of the seconds with a frame, and each frame's second.

    Nobody changes seats within a second, so places are told once a second.
    """
    whole, begins, of_frame = np.unique(
        np.floor(timeline.time_s[frames]), return_index=True, return_inverse=True
    )
    source = int(timeline.source_index[frames[0]]) if len(frames) else 0
    seconds = Timeline(
        sources=(timeline.sources[source],),
        source_index=np.zeros(len(whole), dtype=np.int64),
        time_s=whole,
        held=np.bincount(of_frame, timeline.held[frames]).astype(np.float64),
        is_still=timeline.is_still[frames][begins],
        unit=timeline.unit,
    )
    return seconds, of_frame


def _by_second(track: PoseTrack, frames: IndexArray, of_frame: IndexArray) -> PoseTrack:
    """Return the mean of a track in each second; not found where no frame of it is."""
    found = np.flatnonzero(track.found[frames])
    second, begins, count = np.unique(of_frame[found], return_index=True, return_counts=True)

    def mean(values: FloatArray) -> FloatArray:
        means = np.full((int(of_frame.max(initial=-1)) + 1, *values.shape[1:]), np.nan)
        if len(found):
            total = np.add.reduceat(values[frames[found]], begins, axis=0)
            means[second] = total / count.reshape(-1, *(1,) * (values.ndim - 1))
        return means

    def mean_if_any(values: FloatArray | None) -> FloatArray | None:
        return None if values is None else mean(values)

    return replace(
        track,
        picture_px=mean(track.picture_px),
        world_m=mean(track.world_m),
        visibility=mean(track.visibility),
        presence=_highest(track.presence[frames], of_frame),
        identity=mean(track.identity),
        right_handed=mean_if_any(track.right_handed),
        joint_px=mean_if_any(track.joint_px),
        joint_sd_px=mean_if_any(track.joint_sd_px),
    )


def _highest(values: FloatArray, of_frame: IndexArray) -> FloatArray:
    """Return the highest of each second, NaN where none is known."""
    highest = np.full(int(of_frame.max(initial=-1)) + 1, -np.inf)
    np.fmax.at(highest, of_frame, values)
    return np.where(np.isfinite(highest), highest, np.nan)


def clock_of(timeline: Timeline, notes: Sequence[Notes], place: PlaceTrack) -> ClockTrack:
    """Return the operator's clock position of every frame, from the best there is.

    A position measured with a set-up goes before one that the notes state, and
    that before one measured without a set-up.

    Parameters
    ----------
    timeline : Timeline
    notes : sequence of Notes
        One per source.
    place : PlaceTrack
    """
    stated = clock_from_notes(timeline, notes)
    origin_of = np.array(place.origins)[timeline.source_index]
    is_measured = np.isfinite(place.hours)
    is_stated = np.isfinite(stated.hours)
    from_place = is_measured & ((origin_of == "set-up") | ~is_stated)
    hours = np.where(from_place, place.hours, stated.hours)
    sd_hours = np.where(from_place, place.sd_hours, stated.sd_hours)
    origins = set(origin_of[from_place].tolist())
    if (is_stated & ~from_place).any():
        origins.add("notes")
    handed = handed_of(notes, place)
    zones = zones_of(timeline, hours, handed)
    return ClockTrack(hours, sd_hours, zones, _one_origin(origins), handed)


def handed_of(notes: Sequence[Notes], place: PlaceTrack) -> tuple[Handed | None, ...]:
    """Return the operator's handedness in every source: as stated, else as the places tell it."""
    believed = place.right_handed or (float("nan"),) * len(notes)
    return tuple(
        note.handed or handed_by(belief) for note, belief in zip(notes, believed, strict=True)
    )


def _one_origin(origins: set[ClockOrigin]) -> ClockOrigin:
    if len(origins) > 1:
        return "mixed"
    return origins.pop() if origins else "not judged"
