"""A camera place set up from a few marks: what follows, how surely, and what does not fit.

Least squares with a robust loss over marks and plausible values together; the
spread of every result is read off the curvature at the solution. Several starts
are tried: plausible tilts, and the pose that OpenCV's ``solvePnP`` gives for a
rectangle on the floor.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from ergo.arrays import FloatArray
from ergo.camera.camera import Camera
from ergo.camera.chair import Chair
from ergo.camera.level import camera_for, picture_scale
from ergo.camera.marks import HEIGHT_SD_M, chair_height_miss_m, misses
from ergo.camera.marks_in_picture import marks_in_picture
from ergo.camera.starts import floor_poses, placed
from ergo.camera.unknowns import (
    Unknown,
    Values,
    camera_of,
    camera_unknowns,
    chair_of,
    chair_unknowns,
    floor_unknowns,
    named,
)
from ergo.errors import SetUpError
from ergo.frames.frame import SourceFacts
from ergo.notes.notes import CameraNotes, Notes, SetUpNotes

MARK_SD_PX = 3.0
"""One standard deviation of a point marked by hand, per axis (ours). [px]"""
MOST_MISSED, MOST_IMPLAUSIBLE = 4.0, 3.5
"""Standard deviations beyond which a mark or a measure does not fit (ours)."""
TILTS_DEG, TURNS_DEG = (-35.0, -20.0, -8.0, 4.0), (-120.0, -60.0, 60.0, 120.0, 180.0)
SHORT_RUN, LONG_RUN = 12, 80
"""Steps of the solver from every start, and from the most promising."""
USEFUL_SD: Mapping[str, float] = {
    "log_focal_px": 0.10,
    "pitch_deg": 1.5,
    "roll_deg": 1.5,
    "height_m": 0.10,
    "head_x_m": 0.15,
    "head_y_m": 0.15,
    "head_z_m": 0.10,
    "chair_turn_deg": 8.0,
}
"""Spreads beyond which a result counts as poorly determined (ours)."""


@dataclass(frozen=True, slots=True, eq=False)
class SetUp:
    """A camera place that has been set up.

    Attributes
    ----------
    camera : Camera
    chair : Chair or None
        None where nothing on the chair was marked.
    values, sd : dict of str to float
        Every unknown's value and standard deviation; unit in the name.
    residual_px : float
        Root of the mean square by which marks are missed, per axis. [px]
    missed_px : dict of str to float
        The same for every mark, by its key in the notes. [px]
    spread : array (unknown, unknown)
        Lower triangular; times independent normal numbers it gives errors in
        the order and units of ``values``.
    """

    camera: Camera
    chair: Chair | None
    values: Values
    sd: Values
    residual_px: float
    missed_px: dict[str, float]
    spread: FloatArray

    @property
    def poorly_determined(self) -> tuple[str, ...]:
        """Names of the results that the marks do not tell well enough to use."""
        return tuple(
            name for name, most in USEFUL_SD.items() if name in self.sd and self.sd[name] > most
        )

    def draws(self, count: int, seed: int = 0) -> list[tuple[Camera, Chair | None]]:
        """Return equally likely cameras and chairs, to carry the uncertainty further."""
        numbers = np.random.default_rng(seed).standard_normal((count, len(self.values)))
        middle = np.array(list(self.values.values()))
        drawn = middle + numbers @ self.spread.T
        each = [dict(zip(self.values, row.tolist(), strict=True)) for row in drawn]
        return [(camera_of(one, self.camera), chair_of(one)) for one in each]


@lru_cache(maxsize=64)
def solve_set_up(facts: SourceFacts, notes: Notes) -> SetUp | None:
    """Return what the marks in the notes tell of camera and chair.

    Parameters
    ----------
    facts : SourceFacts
        Of the still or clip; marks stated for another picture size are scaled.
    notes : Notes

    Returns
    -------
    SetUp or None
        None where the notes mark nothing.

    Raises
    ------
    SetUpError
        Where a mark lies outside the picture, or marks and measures contradict
        each other.
    """
    if notes.setup is None:
        return None
    marks = marks_in_picture(
        notes.setup, picture_scale(facts, notes.camera or CameraNotes()), facts
    )
    problem = _Problem(
        facts.name,
        marks,
        camera_for(facts, notes),
        (*camera_unknowns(facts, notes), *chair_unknowns(marks), *floor_unknowns(marks)),
    )
    begun = _by_cost(problem.solved(start, most=SHORT_RUN) for start in problem.starts())
    turned = [problem.solved(start, most=SHORT_RUN) for start in problem.turned(begun[0].x)]
    best = _by_cost(problem.solved(one.x) for one in _by_cost((*begun, *turned))[:2])[0]
    problem.check(best.x)
    return problem.result(best)


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    """Marks, and what they are to tell."""

    name: str
    marks: SetUpNotes
    like: Camera
    unknowns: tuple[Unknown, ...]

    def missed(self, scaled: FloatArray) -> dict[str, FloatArray]:
        values = named(self.unknowns, scaled)
        return misses(self.marks, camera_of(values, self.like), chair_of(values), values)

    def residuals(self, scaled: FloatArray) -> FloatArray:
        """Return misses of marks, measures and plausible values, each in its own sd."""
        missed = [miss / MARK_SD_PX for miss in self.missed(scaled).values()]
        height = chair_height_miss_m(self.marks, chair_of(named(self.unknowns, scaled)))
        return np.concatenate([*missed, height / HEIGHT_SD_M, scaled])

    def solved(self, start: FloatArray, most: int = LONG_RUN) -> Any:
        from scipy.optimize import least_squares

        return least_squares(self.residuals, start, loss="soft_l1", f_scale=2.0, max_nfev=most)

    def starts(self) -> list[FloatArray]:
        likely = {unknown.name: unknown.likely for unknown in self.unknowns}
        pitch = next(each for each in self.unknowns if each.name == "pitch_deg")
        tilts = [pitch.likely] if pitch.sd < 3 else list(TILTS_DEG)
        begun = [{**likely, "pitch_deg": tilt} for tilt in tilts]
        begun += [{**likely, **pose} for pose in floor_poses(self.marks, self.like)]
        return [self._scaled(placed(values, self.marks, self.like)) for values in begun]

    def turned(self, scaled: FloatArray) -> list[FloatArray]:
        """Return the same with the chair turned: seen along its length it has two readings."""
        at = [n for n, unknown in enumerate(self.unknowns) if unknown.name == "chair_turn_deg"]
        if not at:
            return []
        starts = np.tile(scaled, (len(TURNS_DEG), 1))
        starts[:, at[0]] += np.array(TURNS_DEG) / self.unknowns[at[0]].sd
        return list(starts)

    def _scaled(self, values: Values) -> FloatArray:
        return np.array([(values[u.name] - u.likely) / u.sd for u in self.unknowns])

    def check(self, scaled: FloatArray) -> None:
        """Refuse a solution in which something does not fit."""
        missed = {key: _rms(miss) for key, miss in self.missed(scaled).items()}
        worst = max(missed, key=lambda key: missed[key], default=None)
        if worst is not None and missed[worst] > MOST_MISSED * MARK_SD_PX:
            raise SetUpError(
                f"the marks do not fit together: setup.{worst} is "
                f"{missed[worst]:.0f} px from where the others would put it.",
                where=f"{self.name}:",
                remedy="Check this mark, and the lengths that were measured.",
            )
        turns_freely = [unknown.name.endswith("_turn_deg") for unknown in self.unknowns]
        odd = int(np.argmax(np.where(turns_freely, 0.0, np.abs(scaled))))
        if abs(scaled[odd]) > MOST_IMPLAUSIBLE:
            unknown = self.unknowns[odd]
            value = unknown.likely + unknown.sd * scaled[odd]
            raise SetUpError(
                f"the marks would need {unknown.name} = {value:.2f}, which is not plausible.",
                where=f"{self.name}:",
                remedy="Check the marks, the lengths and what [camera] states.",
            )

    def result(self, best: Any) -> SetUp:
        values = named(self.unknowns, best.x)
        size = np.array([unknown.sd for unknown in self.unknowns])
        spread = _spread(best.jac, size)
        covariance = spread @ spread.T
        sd = dict(zip(values, np.sqrt(np.diag(covariance)).tolist(), strict=True))
        missed = self.missed(best.x)
        all_missed = np.concatenate([*missed.values(), np.zeros(0)])
        level_sd = float(np.hypot(sd["pitch_deg"], sd["roll_deg"]) / np.sqrt(2))
        return SetUp(
            camera=camera_of(values, self.like, level_sd),
            chair=chair_of(values),
            values=values,
            sd=sd,
            residual_px=_rms(all_missed),
            missed_px={key: _rms(miss) for key, miss in missed.items()},
            spread=spread,
        )


def _by_cost(found: Iterable[Any]) -> list[Any]:
    """Return solutions, the best first."""
    return sorted(found, key=lambda one: float(one.cost))


def _spread(jacobian: FloatArray, size: FloatArray) -> FloatArray:
    """Return the lower triangle whose square is the covariance; ``size`` is one sd of each.

    It is made without squaring the Jacobian: what marks tell very well, beside what they
    do not tell at all, would leave a matrix that is no covariance any more.
    """
    _, triangle = np.linalg.qr(jacobian)
    whole = np.linalg.solve(triangle, np.eye(len(triangle)))
    _, turned = np.linalg.qr((size[:, None] * whole).T)
    lower: FloatArray = turned.T * np.sign(np.diag(turned))
    return lower


def _rms(miss: FloatArray) -> float:
    return float(np.sqrt(np.mean(miss**2))) if miss.size else 0.0
