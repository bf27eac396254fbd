"""The angles of the upper arms as the methods read them."""

from dataclasses import replace

import numpy as np

from ergo.posture.angle_names import COLUMN
from ergo.posture.posture_track import PostureTrack
from ergo.posture.projections import arm_outward, raised_forward
from ergo.scores.body_regions import Reading


def arms_as_read(posture: PostureTrack, reading: Reading) -> PostureTrack:
    """Return the posture with the upper arms' angles as published limits are applied to them.

    Parameters
    ----------
    posture : PostureTrack
        As measured.
    reading : mapping of str to str
        A choice for every option of READINGS.

    Returns
    -------
    PostureTrack
        ``shoulder_abduction_deg`` is what the interpretation ``abduction_by`` says: how
        far the arm leaves the trunk's sagittal plane, or the measured projection. Where
        shoulder flexion is not told the projection, which is never less, stands in.
        ``shoulder_flexion_deg`` goes on beyond 180 for arms raised past the trunk line.
    """
    value, sd = posture.value.copy(order="K"), posture.sd.copy(order="K")
    for side in ("left", "right"):
        flexion = COLUMN[f"shoulder_flexion_deg_{side}"]
        if reading["abduction_by"] == "out-of-plane":
            out = COLUMN[f"shoulder_abduction_deg_{side}"]
            outward, spread = arm_outward(posture, side)
            is_estimated = np.isfinite(outward)
            value[:, out] = np.where(is_estimated, outward, value[:, out])
            sd[:, out] = np.where(is_estimated, spread, sd[:, out])
        value[:, flexion] = raised_forward(value[:, flexion])
    return replace(posture, value=value, sd=sd)
