"""Score it yourself: the printed steps to choose from, then yours beside the measured ones."""

from collections.abc import Mapping
from typing import Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from ergo.report.text.words import Words
from ergo.scores.arms import arms_as_read
from ergo.scores.method_score import NOT_SEEN, MethodScore
from ergo.scores.rula import LOWER_ARM, NECK, TRUNK, UPPER_ARM, WRIST
from ergo.scores.rula_by_hand import REGIONS, highest_steps, score_by_hand
from ergo.scores.table import BandTable, band_table
from ergo.session.session import Session

SD_OF_90_PERCENT = 1.645
ANGLES: dict[str, tuple[str, ...]] = {
    "upper_arm": ("shoulder_flexion_deg", "shoulder_abduction_deg"),
    "lower_arm": ("elbow_flexion_deg",),
    "wrist": ("wrist_flexion_deg", "wrist_deviation_deg"),
    "wrist_twist": (),
    "neck": ("neck_flexion_deg", "neck_rotation_deg", "neck_side_bend_deg"),
    "trunk": ("trunk_flexion_deg", "trunk_twist_deg", "trunk_side_bend_deg"),
    "legs": (),
}
_ARM = ("shoulder_", "elbow_", "wrist_")


class ClassSteps(BaseModel):
    """What a class gave for one moment and side."""

    model_config = ConfigDict(extra="forbid")

    frame: int = Field(ge=0)
    side: Literal["left", "right"]
    steps: dict[str, int] = Field(max_length=20)


def sheet(session: Session, words: Words) -> list[dict[str, Any]]:
    """Return every region with its steps and the printed bands; no measured value."""
    highest = highest_steps()
    reading = _rula(session, "left").reading
    return [
        {
            "key": region,
            "label": words.say(f"page.region.{region}"),
            "highest": highest[region],
            "bands": _bands(region, reading, words),
            "more": words.say(f"page.teach_add.{region}"),
        }
        for region in REGIONS
    ]


def _bands(region: str, reading: Mapping[str, str], words: Words) -> list[str]:
    tables = {
        "upper_arm": UPPER_ARM[reading["rula_upper_arm_band_1"]],
        "lower_arm": LOWER_ARM[reading["rula_lower_arm_band_1"]],
        "wrist": WRIST[reading["rula_wrist_plus_1"]],
        "neck": NECK[reading["backward_beyond"]],
        "trunk": TRUNK[reading["rula_trunk_1"]],
    }
    if region not in tables:
        return []
    table: BandTable = band_table(tables[region])
    edges = (-np.inf, *table.up_to)
    return [
        f"{_band(low, high, words)}: {step}"
        for low, high, step in zip(edges, edges[1:], table.steps, strict=False)
    ]


def _band(low: float, high: float, words: Words) -> str:
    ends = [words.say("number.degrees", n=words.number(edge)) for edge in (low, high)]
    if not np.isfinite(low):
        return words.say("band.up_to", high=ends[1])
    if not np.isfinite(high):
        return words.say("band.over", low=ends[0])
    return words.say("band.from_to", low=ends[0], high=ends[1])


def compared(session: Session, given: ClassSteps, words: Words) -> dict[str, Any]:
    """Return the class's steps beside the measured ones, and both final scores.

    Raises
    ------
    InputError
        If a region is missing or a step is not printed.
    """
    measured = _rula(session, given.side)
    own = score_by_hand(given.steps, measured, given.frame)
    rows = [
        _row(session, region, given, int(measured.steps[region][given.frame]), words)
        for region in REGIONS
    ]
    return {"rows": rows, "grand": _grand(own.grand, measured, given.frame, words)}


def _grand(own: int, measured: MethodScore, frame: int, words: Words) -> dict[str, Any]:
    """Return both final scores by the same printed tables, and what the report shows instead."""
    by_tables = int(measured.steps["score_of_measured_angles"][frame])
    shown = int(measured.score[frame])
    verdict = "" if shown == by_tables else words.say("page.teach_middle", n=shown)
    seen = None if by_tables == NOT_SEEN else by_tables
    return {"own": own, "measured": seen, "verdict": verdict}


def _row(
    session: Session, region: str, given: ClassSteps, step: int, words: Words
) -> dict[str, Any]:
    own = given.steps[region]
    if step == NOT_SEEN:
        verdict = words.say("page.teach_unseen")
    elif _is_strained(session, region, given):
        verdict = words.say("page.teach_strained")
    elif _is_assumed(session, region, given):
        verdict = words.say("page.teach_assumed")
    elif step == own:
        verdict = words.say("page.teach_same")
    else:
        verdict = words.say("page.teach_differs", n=abs(step - own))
    return {
        "label": words.say(f"page.region.{region}"),
        "own": own,
        "measured": None if step == NOT_SEEN else step,
        "verdict": verdict,
        "angles": [_angle(session, name, given, words) for name in ANGLES[region]],
    }


def _is_assumed(session: Session, region: str, given: ClassSteps) -> bool:
    """Return whether no camera told this region's step, so that it was taken as neutral."""
    if region == "wrist_twist":
        return True  # a camera never tells it
    names = [_name(stem, given) for stem in ANGLES[region]]
    return bool(names) and all(np.isnan(session.posture.angle(name)[given.frame]) for name in names)


def _is_strained(session: Session, region: str, given: ClassSteps) -> bool:
    """Return whether something of this region was counted as strained, not measured."""
    counted = _rula(session, given.side).strained
    return any(name.startswith(region) and bool(counted[name][given.frame]) for name in counted)


def _name(stem: str, given: ClassSteps) -> str:
    return f"{stem}_{given.side}" if stem.startswith(_ARM) else stem


def _angle(session: Session, stem: str, given: ClassSteps, words: Words) -> str:
    """Return a measured angle as the method reads it, so that it explains the step."""
    name = _name(stem, given)
    posture = arms_as_read(session.posture, _rula(session, given.side).reading)
    value = float(posture.angle(name)[given.frame])
    spread = SD_OF_90_PERCENT * float(posture.angle_sd(name)[given.frame])
    text = words.say("page.teach_unseen")
    if np.isfinite(value):
        text = words.say(
            "number.plus_minus",
            value=words.measure(value, name),
            spread=words.measure(spread, name),
        )
    return f"{words.name('angle', name)}: {text}"


def _rula(session: Session, side: str) -> MethodScore:
    return next(s for s in session.scores if (s.method, s.side) == ("rula", side))
