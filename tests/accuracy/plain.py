"""The same landmarks without the learned correction: what harm or good does it do?"""

from ergo.camera.level import camera_for
from ergo.posture.estimate import estimate_posture
from ergo.posture.posture_track import PostureTrack
from ergo.storage.session_folder import StoredSession


def plain_hybrid(stored: StoredSession) -> PostureTrack:
    """Return the angles of the plain hybrid estimator for a stored session."""
    recording = stored.recording
    cameras = tuple(
        camera_for(facts, notes)
        for facts, notes in zip(recording.sources, stored.notes, strict=True)
    )
    return estimate_posture(
        recording.timeline, recording.tracks["operator"], cameras, stored.notes, is_corrected=False
    )
