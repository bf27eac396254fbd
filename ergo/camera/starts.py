"""Where the solver of a set-up begins: places on the plan that lie on the lines of sight."""

from functools import partial
from typing import Any

import numpy as np

from ergo.arrays import FloatArray
from ergo.camera.camera import Camera
from ergo.camera.unknowns import CHAIR_LENGTH_M, HEAD_HEIGHT_M, LENS_HEIGHT_M, Values, camera_of
from ergo.notes.notes import SetUpNotes

FAR_M = 8.0
HIGHEST_LENS_M = 4.0


def placed(values: Values, marks: SetUpNotes, like: Camera) -> Values:
    """Return starting values whose places on the plan lie on the lines of sight of the marks."""
    on_plan = partial(_on_plan, camera_of(values, like))
    begun = dict(values)
    if "head_x_m" in values:
        head = marks.head or marks.head_end or marks.foot_end
        at = on_plan(head, HEAD_HEIGHT_M)
        feet = on_plan(marks.foot_end or head, HEAD_HEIGHT_M - 0.1)
        if marks.head is None and marks.head_end is None:
            at = feet - np.array([0.0, CHAIR_LENGTH_M])
        begun |= {"head_x_m": at[0], "head_y_m": at[1], "chair_turn_deg": _turn_deg(feet - at)}
    patches = [(f"tile_{n}", each.corners[:2]) for n, each in enumerate(marks.floor)]
    patches += [(f"tape_{n}", each.ends) for n, each in enumerate(marks.tape)]
    for name, points in patches:
        first, second = on_plan(points[0], 0.0), on_plan(points[1], 0.0)
        begun |= {
            f"{name}_x_m": first[0],
            f"{name}_y_m": first[1],
            f"{name}_turn_deg": _turn_deg(second - first),
        }
    return begun


def _on_plan(camera: Camera, point_px: Any, height_m: float) -> FloatArray:
    """Return where a point may be on the plan; far away where its line of sight rises."""
    at = camera.at_height(np.array(point_px), height_m)
    if np.isfinite(at).all() and np.linalg.norm(at) < FAR_M:
        return at
    ray = camera.plan_rays(np.array(point_px))[:2]
    away: FloatArray = ray / np.linalg.norm(ray) * FAR_M / 2
    return away


def _turn_deg(way: FloatArray) -> float:
    return float(np.degrees(np.arctan2(way[0], way[1])))


def floor_poses(marks: SetUpNotes, like: Camera) -> list[Values]:
    """Return tilt, roll and height of the camera as OpenCV sees a rectangle on the floor."""
    import cv2

    lens = np.array(
        [[like.focal_px, 0, like.centre_px[0]], [0, like.focal_px, like.centre_px[1]], [0, 0, 1.0]]
    )
    poses = []
    for tile in marks.floor:
        a, b = tile.first_side_m, tile.second_side_m
        for second in (b, -b):  # corners may run either way round
            floor = np.array([[0, 0, 0], [a, 0, 0], [a, second, 0], [0, second, 0.0]])
            done, turn, shift = cv2.solvePnP(floor, np.array(tile.corners), lens, None)
            if not done:
                continue
            rotation = cv2.Rodrigues(turn)[0]
            lens_at = (-rotation.T @ shift).ravel()
            up = rotation[:, 2] * np.sign(lens_at[2])
            if abs(lens_at[2]) < HIGHEST_LENS_M:
                poses.append(_pose(up, abs(lens_at[2])))
    return poses


def _pose(up: FloatArray, height_m: float) -> Values:
    return {
        "pitch_deg": float(np.degrees(np.arcsin(np.clip(up[2], -1, 1)))),
        "roll_deg": float(np.degrees(np.arctan2(up[0], -up[1]))),
        "height_m": float(max(height_m, LENS_HEIGHT_M / 4)),
    }
