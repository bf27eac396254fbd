"""What a notes file may state; every key is optional.

The models refuse unknown keys and impossible values; :mod:`ergo.notes.reading`
turns a refusal into one line that names the file, the key and what is allowed.
"""

from typing import Annotated, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    model_validator,
)

from ergo.notes.times import as_seconds

Point = tuple[float, float]
_AS_SHOWN = BeforeValidator(as_seconds)
_IS_TIME = Field(json_schema_extra={"format": "time"})
Seconds = Annotated[float, Field(ge=0), _AS_SHOWN, _IS_TIME]
"""[s]; also as a place in a clip is shown, "0:05"."""
Handed = Literal["right", "left"]
Hours = Annotated[float, Field(ge=1, lt=13)]


Pseudonym = Annotated[
    str,
    StringConstraints(
        strip_whitespace=True,
        min_length=1,
        max_length=80,
        pattern=r"^[^\s/\\:][^/\\:\x00-\x1f\x7f]*$",
    ),
]
"""As the library takes it: no slash, backslash, colon or line break."""


class _Strict(BaseModel):
    """Unknown keys are errors; values do not change once read."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class _Span(_Strict):
    """Part of a clip; without times (in seconds), all of it."""

    from_s: Seconds = 0.0
    to_s: Seconds | None = None

    @model_validator(mode="after")
    def _rises(self) -> "_Span":
        if self.to_s is not None and self.to_s <= self.from_s:
            raise ValueError("to_s must be later than from_s")
        return self


class OperatorPoint(_Strict):
    """Who the operator is: a point on that person in the upright picture."""

    at: Point
    time_s: Seconds = 0.0


class CameraNotes(_Strict):
    """The camera: size, lens and level (see DEVELOPERS.md, Definitions)."""

    width: Annotated[int, Field(gt=0, le=1_000_000)] | None = None
    height: Annotated[int, Field(gt=0, le=1_000_000)] | None = None
    focal_px: Annotated[float, Field(ge=1, le=1_000_000)] | None = None
    horizontal_fov_deg: Annotated[float, Field(gt=1, lt=179)] | None = None
    pitch_deg: Annotated[float, Field(ge=-89, le=89)] | None = None
    roll_deg: Annotated[float, Field(ge=-180, le=180)] | None = None
    height_m: Annotated[float, Field(ge=0.05, lt=10)] | None = None
    principal_px: Point | None = None

    @model_validator(mode="after")
    def _one_lens(self) -> "CameraNotes":
        if self.focal_px is not None and self.horizontal_fov_deg is not None:
            raise ValueError("state focal_px or horizontal_fov_deg, not both")
        return self


class ClockSpan(_Span):
    """The operator's clock position in a part of the clip."""

    hours: Hours


class TaskSpan(_Span):
    """What was done in a part of the clip, and where in the mouth."""

    task: Annotated[str, Field(min_length=1, max_length=80)] | None = None
    mouth_area: Annotated[str, Field(min_length=1, max_length=80)] | None = None


class SupportSpan(_Span):
    """What carried weight in a part of the clip (the scoring methods ask for it)."""

    trunk: bool | None = None
    arm_left: bool | None = None
    arm_right: bool | None = None
    feet: bool | None = None


class ForceSpan(_Span):
    """Load in the hands, in kilograms, in a part of the clip."""

    load_kg: Annotated[float, Field(ge=0, le=100)] = 0.0
    manner: Literal["intermittent", "static", "repeated", "shock"] = "intermittent"


class ExcludedSpan(_Span):
    """A part of the clip that is not to be judged, and why."""

    reason: Annotated[str, Field(max_length=200)] = ""


class NeutralMoment(_Strict):
    """A moment in which the operator sits upright, looks ahead, arms hanging."""

    time_s: Seconds
    source: str | None = None


Metres = Annotated[float, Field(ge=0.01, le=10)]


class FloorMarks(_Strict):
    """A rectangle of known size on the floor: a tile, a sheet of paper.

    The first side runs from the first corner to the second; all corners in order round it.
    """

    corners: tuple[Point, Point, Point, Point]
    first_side_m: Metres
    second_side_m: Metres


class TapeMarks(_Strict):
    """Two points on the floor at a known distance."""

    ends: tuple[Point, Point]
    length_m: Metres


class VerticalMarks(_Strict):
    """Two points on one vertical edge: of a door, a cabinet, a corner of the room."""

    ends: tuple[Point, Point]


class SetUpNotes(_Strict):
    """What was marked in one picture of a camera place, and what was measured there.

    Points are px of the upright picture. ``head`` is the middle of the patient's
    head; ``head_end`` and ``foot_end`` are the middles of the chair's ends,
    ``sides`` two opposite points on its edges where it is widest.
    """

    time_s: Seconds = 0.0
    head: Point | None = None
    head_end: Point | None = None
    foot_end: Point | None = None
    sides: tuple[Point, Point] | None = None
    chair_length_m: Annotated[float, Field(ge=0.8, le=2.6)] | None = None
    chair_width_m: Annotated[float, Field(ge=0.3, le=1.2)] | None = None
    chair_height_m: Annotated[float, Field(ge=0.3, le=1.4)] | None = None
    floor: tuple[FloorMarks, ...] = ()
    tape: tuple[TapeMarks, ...] = ()
    vertical: tuple[VerticalMarks, ...] = ()

    @model_validator(mode="after")
    def _states_lengths(self) -> "SetUpNotes":
        if self.sides is not None and self.chair_width_m is None:
            raise ValueError("sides need chair_width_m")
        return self


class MovedLandmark(_Strict):
    """Where a landmark of the operator really is in one picture; in px of the upright picture."""

    name: Annotated[str, Field(min_length=1, max_length=40)]
    time_s: Seconds = 0.0
    at: Point


class Notes(_Strict):
    """Everything a notes file may state.

    ``pseudonym``: who the operator is; recordings of one session are of one person.
    ``begins_s``: when this clip began on the clock of the first one, where several
    cameras filmed one session; without it sound or movement tell.
    ``loupes_declination_deg``: from the line ear to eye down to the line of sight
    through the loupes; not stated = without loupes, or nobody said.
    """

    pseudonym: Pseudonym | None = None
    handed: Handed | None = None
    operator_height_cm: Annotated[float, Field(ge=100, le=230)] | None = None
    loupes_declination_deg: Annotated[float, Field(ge=0, le=90)] | None = None
    operator: OperatorPoint | None = None
    camera: CameraNotes | None = None
    setup: SetUpNotes | None = None
    clock: tuple[ClockSpan, ...] = ()
    tasks: tuple[TaskSpan, ...] = ()
    support: tuple[SupportSpan, ...] = ()
    force: tuple[ForceSpan, ...] = ()
    excluded: tuple[ExcludedSpan, ...] = ()
    neutral: NeutralMoment | None = None
    begins_s: Annotated[float, Field(ge=-86400, le=86400), _AS_SHOWN, _IS_TIME] | None = None
    landmarks: tuple[MovedLandmark, ...] = ()


NOT_MEASURED = frozenset(
    {"clock", "tasks", "support", "force", "excluded", "loupes_declination_deg", "pseudonym"}
)
"""Keys that no measured angle and no measured place depends on. Handedness is none of them:
by it a room without a set-up is told, and so where everybody sat."""


def what_measures(notes: Notes) -> Notes:
    """Return only what measured angles and places depend on; a new key counts as such."""
    return notes.model_copy(update={key: Notes().__dict__[key] for key in NOT_MEASURED})
