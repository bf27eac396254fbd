"""Where the sources disagree: one named option per point, its default and its choices.

Two points have no option because there is nothing to choose from: a RULA grand
score of 8 (one course page prints "7 or 8"; Table C ends at 7), and the neck
bands of RULA and REBA, which differ by design.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from ergo.errors import InputError


@dataclass(frozen=True, slots=True)
class Reading:
    """One open point of the printed methods.

    Attributes
    ----------
    default : str
        What we take unless told otherwise.
    choices : tuple of str
        Everything that can be taken, the default first.
    changes : str
        What the choice changes.
    source : str
        Who reads it which way.
    methods : tuple of str
        Methods whose scores can change.
    """

    default: str
    choices: tuple[str, ...]
    changes: str
    source: str
    methods: tuple[str, ...]


def _reading(choices: str, changes: str, source: str, methods: str) -> Reading:
    each = tuple(choices.split())
    return Reading(each[0], each, changes, source, tuple(methods.split()))


ALL_METHODS = "rula reba iso11226 dental_sitting"

READINGS: Mapping[str, Reading] = {
    "rula_table_a": _reading(
        "version-1 older-worksheet",
        "31 of the 144 cells of Table A; the older worksheet is lower",
        "version-1: [rula-coursework-es], [rula-exercise-es] and our memory of the 1993 paper; "
        "older-worksheet: [rula-worksheet-old]",
        "rula",
    ),
    "static_after": _reading(
        "1min 10min",
        "how long a posture is held before RULA adds 1 for muscle use",
        "1min: [rula-worksheet-old-2], [rula-coursework-es]; 10min: [rula-worksheet-new]",
        "rula",
    ),
    "rula_muscle_use": _reading(
        "at-most-1 each",
        "whether a posture that is both static and repeated adds 1 or 2",
        "at-most-1: [rula-worksheet-old-2], [rula-worksheet-new]; each: [rula-sheet-pt], "
        "[rula-case]",
        "rula",
    ),
    "rula_lower_arm_sides": _reading(
        "combined separate",
        "whether working across the midline and out to the side add 1 together or 1 each",
        "combined: [rula-worksheet-new], [rula-restated-id]; separate: [rula-worksheet-old], "
        "[rula-sheet-pt] "
        "(the sum is kept at 3, where Table A ends)",
        "rula",
    ),
    "rula_load_over_10_kg": _reading(
        "2 3",
        "score of an intermittent load over 10 kg",
        "2: [rula-paper-copy], [rula-coursework-es]; 3: [rula-worksheet-old], [rula-worksheet-new]",
        "rula",
    ),
    "rula_upper_arm_band_1": _reading(
        "20 15",
        "how far from hanging the upper arm still scores 1 [deg]",
        "20: [rula-restated-id], [rula-sheet-pt], [rula-slides-es]; 15: [rula-worksheet-old]",
        "rula",
    ),
    "rula_lower_arm_band_1": _reading(
        "60-100 0-90 40-90",
        "elbow flexion that scores 1 [deg]",
        "60-100: [rula-restated-id], [rula-sheet-pt]; 0-90: [rula-worksheet-old]; "
        "40-90: [rula-thesis-id]",
        "rula",
    ),
    "rula_trunk_1": _reading(
        "supported upright",
        "whether an upright trunk without support scores 2 or 1",
        "supported: worksheets (1 if well supported while seated, 2 if not); "
        "upright: worksheets' 'standing erect' applied to sitting",
        "rula",
    ),
    "rula_wrist_plus_1": _reading(
        "deviation near-maximum",
        "whether flexion near the end of the wrist's range adds 1 as deviation does",
        "deviation: [rula-restated-id]; near-maximum: one sheet, from memory",
        "rula",
    ),
    "shared_edge": _reading(
        "lower higher",
        "which step takes an angle exactly on an edge that both bands print",
        "lower: a solved RULA exercise scores 'about 45' in the band 20-45 and a REBA example "
        "'about 20' in the lower band; higher: a teaching page, when in doubt",
        ALL_METHODS,
    ),
    "abducted_beyond": _reading(
        "20 45",
        "abduction from which the upper arm counts as abducted [deg]",
        "the papers give no number; 20: ours; 45: [holzgreve-2021]",
        "rula reba",
    ),
    "abduction_by": _reading(
        "out-of-plane projection",
        "by which angle an upper arm is abducted: how far it leaves the trunk's sagittal plane, or "
        "its projection into the frontal plane, where an arm 89 forward and 3 out is 72 abducted",
        "the papers give no definition; out-of-plane: ours; projection: the angle's own definition",
        "rula reba dental_sitting",
    ),
    "backward_beyond": _reading(
        "0 5",
        "how far behind neutral neck, head and trunk count as bent backward [deg]",
        "0: the printed edge of the bands; 5: ours, what a camera can tell",
        ALL_METHODS,
    ),
    "score_shown": _reading(
        "middle of-the-angles",
        "whether the final score is the middle one of all that the angles' uncertainty allows, "
        "or that of the measured angles alone",
        "ours, by measurement (tests/accuracy/left_out_scores.py): on 833 rendered operators that "
        "the correction had not seen, the middle RULA score lay within 1 of that of the true "
        "angles on 89 % of the sides, that of the measured angles on 78 %",
        "rula reba",
    ),
    "arm_not_measurable": _reading(
        "strained not-judged",
        "what counts where a view tells how far an upper arm is forward but not its abduction or "
        "its elbow: abducted and the lower arm's step 2, or no score at all",
        "ours: by the printed tables the elbow moves a RULA score by 1 at most and abduction in "
        "35 of 4,200 cases by 2; a REBA score in 3 of 216 and in 33 of 360 cases by 2 or more",
        "rula reba",
    ),
    "turn_not_measurable": _reading(
        "not-judged strained",
        "what counts where a view tells how far neck or trunk is bent forward but not its twist "
        "or side bend: no score at all, or 1 added for each",
        "ours: two of them can move a RULA score by 3",
        "rula reba",
    ),
    "dental_forearm": _reading(
        "raised level",
        "whether a forearm must be raised 10 to 15 degrees or may be level",
        "raised: [dental-checklist] (10-15, at most 25); level: hygiene teaching (parallel to "
        "the floor, from memory), taken as 0 to 15",
        "dental_sitting",
    ),
    "reba_twist_and_bend": _reading(
        "combined separate",
        "whether twist and side bend of neck or trunk add 1 together or 1 each",
        "combined: [reba-chapter]; separate: [reba-worksheet] (kept within Table A)",
        "reba",
    ),
    "reba_table_b": _reading(
        "majority one-thesis",
        "three cells of Table B",
        "majority: [reba-worksheet], [reba-worksheet-employee], [reba-examples-es]; "
        "one-thesis: [reba-thesis-bc-id], probably a misprint",
        "reba",
    ),
}


def reading_named(option: str) -> Reading:
    """Return one reading; an option that does not exist is an InputError."""
    if option not in READINGS:
        raise InputError(
            "is not a reading.",
            where=f"{option}:",
            remedy=f"Known readings: {', '.join(READINGS)}.",
        )
    return READINGS[option]


def complete_readings(readings: Mapping[str, str]) -> dict[str, str]:
    """Return a choice for every option: the one given, else its default.

    Raises
    ------
    InputError
        If an option or a choice does not exist; names what is allowed.
    """
    for option, choice in readings.items():
        allowed = reading_named(option).choices
        if choice not in allowed:
            raise InputError(
                f"cannot be {choice!r}.",
                where=f"{option}:",
                remedy=f"Allowed: {', '.join(allowed)}.",
            )
    return {option: readings.get(option, known.default) for option, known in READINGS.items()}


def readings_of(method: str, readings: Mapping[str, str]) -> dict[str, str]:
    """Return the choices, out of a complete set, that can change one method's scores."""
    return {
        option: readings[option] for option, known in READINGS.items() if method in known.methods
    }
