"""Tracks of several sources laid one after the other; who was not seen is NaN."""

from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import Any

import numpy as np

from ergo.arrays import FloatArray
from ergo.landmarks.names import LANDMARKS
from ergo.landmarks.pose_track import PoseTrack, Role

_OPTIONAL = tuple(part.name for part in fields(PoseTrack) if part.default is None)


def unseen_track(role: Role, looks: tuple[str, ...], frames: int) -> PoseTrack:
    """Return a track of a person who was in none of the frames."""
    shape = (frames, len(looks), len(LANDMARKS))
    return PoseTrack(
        role=role,
        looks=looks,
        picture_px=np.full((*shape, 3), np.nan),
        world_m=np.full((*shape, 3), np.nan),
        visibility=np.full(shape, np.nan),
        presence=np.full(frames, np.nan),
        identity=np.full(frames, np.nan),
    )


def join_sources(
    tracks: Sequence[Mapping[Role, PoseTrack]], frames: Sequence[int]
) -> dict[Role, PoseTrack]:
    """Lay the tracks of several sources one after the other.

    Parameters
    ----------
    tracks : sequence of mapping of role to PoseTrack
        One mapping per source; who was never seen in it may be missing.
    frames : sequence of int
        How many frames each source has.

    Returns
    -------
    dict of role to PoseTrack
        Always holds ``"operator"``.
    """
    roles: list[Role] = ["operator", "assistant", "patient"]
    wanted = [role for role in roles if role == "operator" or any(role in each for each in tracks)]
    return {role: _role_of_sources(role, tracks, frames) for role in wanted}


def _role_of_sources(
    role: Role, tracks: Sequence[Mapping[Role, PoseTrack]], frames: Sequence[int]
) -> PoseTrack:
    looks = next((each[role].looks for each in tracks if role in each), ("heavy",))
    return join_tracks(
        [
            each[role] if role in each else unseen_track(role, looks, number)
            for each, number in zip(tracks, frames, strict=True)
        ]
    )


def join_tracks(parts: Sequence[PoseTrack]) -> PoseTrack:
    """Lay the tracks of one role one after the other.

    Parameters
    ----------
    parts : sequence of PoseTrack
        One per source, the same role; where a part has fewer looks or lacks an
        optional field, NaN is filled in.

    Returns
    -------
    PoseTrack
        A single part as it is, not a copy: an hour of landmarks is large.
    """
    if len(parts) == 1:
        return parts[0]
    looks = max((part.looks for part in parts), key=len)
    values: dict[str, Any] = {
        name: np.concatenate([_with_looks(getattr(part, name), len(looks)) for part in parts])
        for name in ("picture_px", "world_m", "visibility")
    }
    for name in ("presence", "identity"):
        values[name] = np.concatenate([getattr(part, name) for part in parts])
    for name in _OPTIONAL:
        values[name] = _joined_optional([getattr(part, name) for part in parts], parts)
    return PoseTrack(role=parts[0].role, looks=looks, **values)


def _with_looks(values: FloatArray, looks: int) -> FloatArray:
    missing = looks - values.shape[1]
    if not missing:
        return values
    filler = np.full((len(values), missing, *values.shape[2:]), np.nan)
    return np.concatenate([values, filler], axis=1)


def _joined_optional(
    given: Sequence[FloatArray | None], parts: Sequence[PoseTrack]
) -> FloatArray | None:
    known = [values for values in given if values is not None]
    if not known:
        return None
    shape = known[0].shape[1:]
    return np.concatenate(
        [
            np.full((len(part), *shape), np.nan) if values is None else values
            for values, part in zip(given, parts, strict=True)
        ]
    )
