"""The angles we measure: one row each; names, zeros and signs are the contract.

*Left* and *right* are the person's own. ``relative`` angles are read against the
person's own neutral posture (upright, gaze level, arms hanging).
"""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class AngleName:
    """What one measured quantity means.

    Attributes
    ----------
    name : str
        Name in code, files and reports; ends with its unit.
    zero, positive : str
        State zero and the positive direction.
    is_relative : bool
        True where the value is read against the person's neutral posture.
    side : str
        ``"left"``, ``"right"`` or ``"whole"``.
    """

    name: str
    zero: str
    positive: str
    is_relative: bool
    side: Literal["left", "right", "whole"]


def _both_sides(stem: str, unit: str, zero: str, positive: str, relative: bool) -> list[AngleName]:
    return [
        AngleName(f"{stem}_{unit}_left", zero, positive, relative, "left"),
        AngleName(f"{stem}_{unit}_right", zero, positive, relative, "right"),
    ]


ANGLES: tuple[AngleName, ...] = (
    AngleName("trunk_inclination_deg", "vertical", "away from vertical, unsigned", False, "whole"),
    AngleName("trunk_flexion_deg", "neutral", "forward", True, "whole"),
    AngleName("trunk_side_bend_deg", "neutral", "to the right", True, "whole"),
    AngleName("trunk_twist_deg", "neutral", "shoulders turned to the left", True, "whole"),
    AngleName("head_inclination_deg", "neutral gaze", "face down", True, "whole"),
    AngleName("neck_flexion_deg", "neutral", "face down", True, "whole"),
    AngleName("neck_side_bend_deg", "neutral", "ear to the right shoulder", True, "whole"),
    AngleName("neck_rotation_deg", "neutral", "face to the left", True, "whole"),
    *_both_sides("upper_arm_elevation", "deg", "hanging", "raised, unsigned", False),
    *_both_sides("shoulder_flexion", "deg", "along the trunk", "forward", False),
    *_both_sides("shoulder_abduction", "deg", "along the trunk", "away from the body", False),
    *_both_sides("elbow_flexion", "deg", "straight", "bent", False),
    *_both_sides(
        "wrist_flexion", "deg", "hand in line with the forearm", "towards the palm", False
    ),
    *_both_sides(
        "wrist_deviation",
        "deg",
        "hand in line with the forearm",
        "towards the thumb (radial)",
        False,
    ),
    *_both_sides("shoulder_raise", "mm", "neutral", "shrugged", True),
)

NAMES: tuple[str, ...] = tuple(angle.name for angle in ANGLES)
"""Order of the angle axis of every array in the project."""

COLUMN = {name: position for position, name in enumerate(NAMES)}
