"""The camera and the chair of every source, by the best route that its notes allow."""

from dataclasses import dataclass

from ergo.frames.frame import SourceFacts
from ergo.notes.notes import Notes
from ergo.room.camera import Camera
from ergo.room.level import camera_for
from ergo.room.set_up import SetUp, solve_set_up


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """What is known of the place of one source.

    Attributes
    ----------
    camera : Camera
        From the marks, else from notes and EXIF.
    set_up : SetUp or None
        None where nothing is marked.
    """

    camera: Camera
    set_up: SetUp | None


def place_of(facts: SourceFacts, notes: Notes) -> Place:
    """Return what notes tell of the place that one still or clip was taken from.

    Raises
    ------
    NotesError, SetUpError
        Where the notes contradict the picture or themselves.
    """
    set_up = solve_set_up(facts, notes)
    return Place(camera_for(facts, notes) if set_up is None else set_up.camera, set_up)
