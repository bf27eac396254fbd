"""Which holding line of ISO 11226 belongs to which angle."""

from ergo.arrays import BoolArray, FloatArray
from ergo.scores.iso11226 import Joint, holding_line_origin, max_holding_time_s
from ergo.scores.table import Origin

_JOINTS: dict[str, Joint] = {
    "trunk_inclination_deg": "trunk",
    "head_inclination_deg": "head",
    "upper_arm_elevation_deg_left": "upper_arm",
    "upper_arm_elevation_deg_right": "upper_arm",
}


def holding_line(
    angle: str, value: FloatArray, is_supported: BoolArray | bool = False
) -> FloatArray | None:
    """Return how long an angle may be held at most; None where no line is drawn.

    Parameters
    ----------
    angle : str
        Name of the angle.
    value : array (any,)
        Negative = backward. [deg]
    is_supported : array (any,) or bool
        Where the part is fully supported.

    Returns
    -------
    array (any,) or None
        inf where the angle is acceptable, 0 above the end of the line. [s]
    """
    joint = _JOINTS.get(angle)
    return None if joint is None else max_holding_time_s(joint, value, is_supported)


def line_origin(angle: str) -> Origin | None:
    """Return where the holding line of an angle is printed; its status may say "memory"."""
    joint = _JOINTS.get(angle)
    return None if joint is None else holding_line_origin(joint)
