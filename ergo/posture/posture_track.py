"""The operator's angles over one session, each with its uncertainty."""

from dataclasses import dataclass

from ergo.arrays import BoolArray, FloatArray, frames_side_by_side
from ergo.errors import InputError
from ergo.posture.angle_names import COLUMN, NAMES


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)
class PostureTrack:
    """The operator's angles over one session.

    Attributes
    ----------
    value : array (frame, angle)
        In the order of :data:`ergo.posture.angle_names.NAMES`; unit in the name
        (degrees, or mm for ``shoulder_raise``). NaN = not seen.
    sd : array (frame, angle)
        One standard deviation, same unit: what this view, these landmarks and
        this smoothing can tell. NaN exactly where ``value`` is NaN.
    person_found : array (frame,)
        True where the operator was seen in that frame.
    is_bridged : array (frame,)
        True where a gap of at most 0.6 s was bridged.
    """

    value: FloatArray
    sd: FloatArray
    person_found: BoolArray
    is_bridged: BoolArray

    def __post_init__(self) -> None:
        wanted = (len(self.person_found), len(NAMES))
        for name in ("value", "sd"):
            if getattr(self, name).shape != wanted:
                raise InputError(
                    f"{name} must have shape {wanted}, got {getattr(self, name).shape}."
                )
            object.__setattr__(self, name, frames_side_by_side(getattr(self, name)))

    def __len__(self) -> int:
        """Return the number of frames."""
        return len(self.person_found)

    def angle(self, name: str) -> FloatArray:
        """Return one angle, array (frame,); unit in its name."""
        return self.value[:, COLUMN[name]]

    def angle_sd(self, name: str) -> FloatArray:
        """Return one angle's standard deviation, array (frame,); unit of the angle."""
        return self.sd[:, COLUMN[name]]
