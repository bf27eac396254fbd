"""The parts of the body that the learned correction treats one by one."""

from collections.abc import Mapping
from dataclasses import dataclass

from ergo.posture.angle_names import COLUMN
from ergo.posture.limbs import other_side


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the body: what its correction looks at and what it corrects.

    Attributes
    ----------
    points : tuple of str
        Body points whose places and spreads are its features.
    limbs : tuple of str
        Limbs that it corrects; their plain directions are features too.
    angles : tuple of str
        Angles whose error follows this part.
    has_mirror : bool
        True for a left limb; the right one is the same part in the mirror.
    """

    points: tuple[str, ...]
    limbs: tuple[str, ...]
    angles: tuple[str, ...]
    has_mirror: bool = False


def _both(*stems: str) -> tuple[str, ...]:
    return tuple(f"{stem}_{side}" for stem in stems for side in ("left", "right"))


PARTS: Mapping[str, Part] = {
    "trunk": Part(
        _both("shoulder", "hip", "ear", "elbow"),
        ("trunk", "trunk_to_shoulders", "hips", "shoulders"),
        (
            "trunk_inclination_deg",
            "trunk_flexion_deg",
            "trunk_side_bend_deg",
            "trunk_twist_deg",
        ),
    ),
    "head": Part(
        (*_both("eye_outer", "ear", "shoulder", "hip"), "nose"),
        ("ears", "gaze"),
        ("head_inclination_deg", "neck_flexion_deg", "neck_side_bend_deg", "neck_rotation_deg"),
    ),
    "upper_arm": Part(
        (*_both("shoulder", "hip"), "elbow_left", "wrist_left"),
        ("upper_arm_left",),
        (
            "upper_arm_elevation_deg_left",
            "shoulder_flexion_deg_left",
            "shoulder_abduction_deg_left",
        ),
        has_mirror=True,
    ),
    "forearm": Part(
        (*_both("shoulder", "hip"), "elbow_left", "wrist_left", "index_left", "pinky_left"),
        ("forearm_left",),
        ("elbow_flexion_deg_left",),
        has_mirror=True,
    ),
}

COLUMNS: tuple[tuple[str, list[int]], ...] = tuple(
    (name, [COLUMN[other_side(angle) if is_mirrored else angle] for angle in part.angles])
    for name, part in PARTS.items()
    for is_mirrored in (False, *[True] * part.has_mirror)
)
"""Each part, those of a limb twice, and where its angles stand among all."""
