"""How far every mark of a set-up lies from where a camera and a chair would show it."""

import numpy as np

from ergo.arrays import FloatArray
from ergo.camera.camera import Camera
from ergo.camera.chair import Chair
from ergo.camera.unknowns import Values
from ergo.notes.notes import SetUpNotes

CHAIR_MARKS = ("head", "head_end", "foot_end", "sides")
HEIGHT_SD_M = 0.03
FAR_PX = 5000.0


def misses(
    marks: SetUpNotes, camera: Camera, chair: Chair | None, values: Values
) -> dict[str, FloatArray]:
    """Return by how much each mark is missed, by its key in the notes.

    Parameters
    ----------
    marks : SetUpNotes
        In px of this camera's picture.
    camera : Camera
    chair : Chair or None
    values : dict of str to float
        Places of the rectangles and tapes on the floor.

    Returns
    -------
    dict of str to array (number,)
        Each number has the standard deviation of one coordinate of a mark. [px]
        A point that would lie behind the camera is missed by :data:`FAR_PX`.
    """
    found = {} if chair is None else _chair_misses(marks, camera, chair)
    for n, tile in enumerate(marks.floor):
        sides = np.array([tile.first_side_m, tile.second_side_m])
        corners = _UNIT_SQUARE * sides
        found[f"floor[{n + 1}]"] = _patch_misses(
            camera, values, f"tile_{n}", corners, np.array(tile.corners)
        )
    for n, tape in enumerate(marks.tape):
        ends = np.array([[0.0, 0.0], [tape.length_m, 0.0]])
        found[f"tape[{n + 1}]"] = _patch_misses(
            camera, values, f"tape_{n}", ends, np.array(tape.ends)
        )
    for n, edge in enumerate(marks.vertical):
        found[f"vertical[{n + 1}]"] = _edge_misses(camera, np.array(edge.ends))
    return {key: np.nan_to_num(miss, nan=FAR_PX) for key, miss in found.items()}


_UNIT_SQUARE = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])


def _chair_misses(marks: SetUpNotes, camera: Camera, chair: Chair) -> dict[str, FloatArray]:
    found = {}
    for key, point_m in chair.points_m().items():
        marked = getattr(marks, key)
        if marked is None:
            continue
        choices = [camera.pixels(point_m) - np.array(marked)]
        if key == "sides":  # which of the two is which is not asked
            choices.append(camera.pixels(point_m[::-1]) - np.array(marked))
        found[key] = min(choices, key=lambda miss: np.nan_to_num(np.sum(miss**2), nan=np.inf))
    return {key: miss.ravel() for key, miss in found.items()}


def chair_height_miss_m(marks: SetUpNotes, chair: Chair | None) -> FloatArray:
    """Return how far the head end's height is from what was measured, array (0 or 1,) [m]."""
    if marks.chair_height_m is None or chair is None:
        return np.zeros(0)
    return np.array([chair.points_m()["head_end"][2] - marks.chair_height_m])


def _patch_misses(
    camera: Camera, values: Values, name: str, patch_m: FloatArray, marked_px: FloatArray
) -> FloatArray:
    """Return the misses of points on the floor; corners may run either way round."""
    turn = np.radians(values[f"{name}_turn_deg"])
    first = np.array([np.sin(turn), np.cos(turn)])
    right = np.array([first[1], -first[0]])
    start = np.array([values[f"{name}_x_m"], values[f"{name}_y_m"]])
    choices = []
    for second in (right, -right):
        floor = start + patch_m[:, :1] * first + patch_m[:, 1:] * second
        points = np.concatenate([floor, np.zeros((len(floor), 1))], axis=1)
        choices.append((camera.pixels(points) - marked_px).ravel())
    return min(choices, key=lambda miss: np.nan_to_num(np.sum(miss**2), nan=np.inf))


def _edge_misses(camera: Camera, ends_px: FloatArray) -> FloatArray:
    """Return how far a marked edge leans away from where verticals meet."""
    up = camera.up
    centre = np.asarray(camera.centre_px)
    meeting = np.array([*(camera.focal_px * up[:2] + centre * up[2]), up[2]])
    middle = ends_px.mean(axis=0)
    line = np.cross(np.array([*middle, 1.0]), meeting)
    length = np.hypot(line[0], line[1])
    if length < 1e-9:
        return np.array([FAR_PX])
    off = (line[:2] @ ends_px[1] + line[2]) / length
    return np.array([off * np.sqrt(2.0)])  # half the difference of two marks: sd / sqrt 2
