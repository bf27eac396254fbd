"""Where the operator and the assistant sat in every source, and the clock that follows."""

from collections.abc import Mapping, Sequence

import numpy as np

from ergo.arrays import IndexArray
from ergo.landmarks.pose_track import PoseTrack, Role
from ergo.notes.notes import Notes
from ergo.posture.clock import clock_from_notes, zones_of
from ergo.posture.clock_track import ClockOrigin, ClockTrack
from ergo.posture.guessed_room import guessed_rooms
from ergo.posture.measured_clock import (
    DRAWS,
    Placed,
    RoomDraw,
    placed_operator,
    seat_errors,
)
from ergo.posture.place_track import MEASURES, PlaceOrigin, PlaceTrack
from ergo.posture.seat import seen_person
from ergo.room.camera import Camera
from ergo.room.places import Place
from ergo.timeline import Timeline


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
    origins: list[PlaceOrigin] = []
    for source, (place, note) in enumerate(zip(places, notes, strict=True)):
        frames = timeline.frames_of(source)
        own = {role: _some(track, frames) for role, track in tracks.items()}
        camera, height_cm = cameras[source], note.operator_height_cm
        alone = _alone(timeline, frames)
        draws, origin = _rooms(alone, own, camera, place, height_cm)
        origins.append(origin)
        if draws:
            laid.put(frames, placed_operator(alone, own["operator"], camera, draws, height_cm))
        if draws and "assistant" in own:
            assistant = placed_operator(alone, own["assistant"], camera, draws)
            laid.assistant_m[frames] = assistant.seat_m
    chairs = [None if p.set_up is None else p.set_up.chair for p in places]
    return PlaceTrack(
        seat_m=laid.seat_m,
        seat_sd_m=laid.seat_sd_m,
        assistant_m=laid.assistant_m,
        hours=laid.hours,
        sd_hours=laid.sd_hours,
        measured=laid.measured,
        measured_sd=laid.measured_sd,
        origins=tuple(origins),
        is_moved=tuple(each.is_moved for each in places),
        chair_length_m=tuple(None if chair is None else chair.length_m for chair in chairs),
        chair_width_m=tuple(None if chair is None else chair.width_m for chair in chairs),
    )


def _rooms(
    timeline: Timeline,
    tracks: Mapping[Role, PoseTrack],
    camera: Camera,
    place: Place,
    height_cm: float | None,
) -> tuple[list[RoomDraw], PlaceOrigin]:
    """Return equally likely rooms of one source by the best route, and which it is."""
    if place.set_up is not None and place.set_up.chair is not None:
        drawn = zip(place.set_up.draws(DRAWS), seat_errors(DRAWS), strict=True)
        return [RoomDraw(at, bed, errors) for (at, bed), errors in drawn if bed], "set-up"
    if "patient" not in tracks:
        return [], "not judged"
    operator = seen_person(timeline, tracks["operator"], camera, height_cm)
    guesses = guessed_rooms(timeline, operator, tracks["patient"], camera)
    return guesses, "automatic" if guesses else "not judged"


class _Laid:
    """Arrays over all frames, NaN until something is put there."""

    def __init__(self, frames: int) -> None:
        self.seat_m, self.seat_sd_m, self.assistant_m = np.full((3, frames, 2), np.nan)
        self.hours, self.sd_hours = np.full((2, frames), np.nan)
        self.measured = {name: np.full(frames, np.nan) for name in MEASURES}
        self.measured_sd = {name: np.full(frames, np.nan) for name in MEASURES}

    def put(self, frames: IndexArray, placed: Placed) -> None:
        """Lay the places of one source where its frames belong."""
        self.seat_m[frames], self.seat_sd_m[frames] = placed.seat_m, placed.seat_sd_m
        self.hours[frames], self.sd_hours[frames] = placed.hours, placed.sd_hours
        for name in MEASURES:
            self.measured[name][frames] = placed.measured[name]
            self.measured_sd[name][frames] = placed.measured_sd[name]


def _some(track: PoseTrack, frames: IndexArray) -> PoseTrack:
    return PoseTrack(
        role=track.role,
        looks=track.looks,
        picture_px=track.picture_px[frames],
        world_m=track.world_m[frames],
        visibility=track.visibility[frames],
        presence=track.presence[frames],
        identity=track.identity[frames],
    )


def _alone(timeline: Timeline, frames: IndexArray) -> Timeline:
    """Return the timeline of one source on its own."""
    source = int(timeline.source_index[frames[0]]) if len(frames) else 0
    return Timeline(
        sources=(timeline.sources[source],),
        source_index=np.zeros(len(frames), dtype=np.int64),
        time_s=timeline.time_s[frames],
        held=timeline.held[frames],
        is_still=timeline.is_still[frames],
        unit=timeline.unit,
    )


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
    return ClockTrack(hours, sd_hours, zones_of(timeline, hours, notes), _one_origin(origins))


def _one_origin(origins: set[ClockOrigin]) -> ClockOrigin:
    if len(origins) > 1:
        return "mixed"
    return origins.pop() if origins else "not judged"
