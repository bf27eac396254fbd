"""The camera and the chair of every source, by the best route that its notes allow."""

from dataclasses import dataclass

import numpy as np

from ergo.arrays import FloatArray
from ergo.camera.camera import Camera, Level
from ergo.camera.edges import RoomLevel, level_of_edges
from ergo.camera.level import camera_for, fused
from ergo.camera.set_up import SetUp, solve_set_up
from ergo.frames.frame import SourceFacts
from ergo.notes.notes import Notes

MOVED_DEG, MOVED_SD = 2.0, 2.5
"""The camera counts as moved where the room leans by more than this against the set-up (ours)."""


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """What is known of the place of one source.

    Attributes
    ----------
    camera : Camera
        From the marks, else from notes and EXIF.
    set_up : SetUp or None
        None where nothing is marked.
    is_moved : bool
        True where the room's edges contradict the set-up.
    """

    camera: Camera
    set_up: SetUp | None
    is_moved: bool = False


def place_of(facts: SourceFacts, notes: Notes, edges: FloatArray | None = None) -> Place:
    """Return what is known of the place that one still or clip was taken from.

    The level comes from the marks of a set-up; else notes and the room's vertical edges
    tell it together, each by its spread; else it is assumed.

    Parameters
    ----------
    facts : SourceFacts
    notes : Notes
    edges : array (edge, end, xy), optional
        Steep edges of the room as of :func:`ergo.camera.edges.edges_px`. [px]

    Raises
    ------
    NotesError, SetUpError
        Where the notes contradict the picture or themselves.
    """
    set_up = solve_set_up(facts, notes)
    camera = camera_for(facts, notes) if set_up is None else set_up.camera
    room = None if edges is None else level_of_edges(edges, camera)
    if room is None:
        return Place(camera, set_up)
    if set_up is not None:
        return Place(camera, set_up, _is_moved(camera, room))
    return Place(fused(camera, _told(room)), None)


def _told(room: RoomLevel) -> Level:
    return Level(room.pitch_deg, room.roll_deg, room.pitch_sd_deg, room.roll_sd_deg, "room")


def _is_moved(camera: Camera, room: RoomLevel) -> bool:
    off = np.abs([camera.pitch_deg - room.pitch_deg, camera.roll_deg - room.roll_deg])
    sd = np.hypot([room.pitch_sd_deg, room.roll_sd_deg], camera.level_sd_deg)
    return bool((off > MOVED_DEG + MOVED_SD * sd).any())
