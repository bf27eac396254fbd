"""Landmarks as Parquet: one row per person and frame, 32-bit floats, lossless.

The networks compute in 32-bit floats; :func:`as_stored` brings a track to that
precision, so that what is judged now equals what is judged after reading back.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from ergo.arrays import AnyArray, FloatArray, IndexArray
from ergo.errors import SessionError
from ergo.landmarks.depth_errors import evened
from ergo.landmarks.pose_track import PoseTrack, Role

_FIELDS = ("picture_px", "world_m", "visibility", "presence", "identity")
_EVENED = {"depths": "evened"}
"""Says that the network's own depth error is taken off; it is not in files made before."""
_OPTIONAL = tuple(part.name for part in fields(PoseTrack) if part.default is None)


@dataclass(frozen=True, slots=True, eq=False)
class StoredLandmarks:
    """What a landmark file holds.

    Attributes
    ----------
    source_index : array (frame,)
    time_s : array (frame,)
        [s]
    number : array (frame,)
        Number of the picture in its source as decoded.
    tracks : mapping of role to PoseTrack
    """

    source_index: IndexArray
    time_s: FloatArray
    number: IndexArray
    tracks: Mapping[Role, PoseTrack]


def as_stored(track: PoseTrack) -> PoseTrack:
    """Return the track at the precision of the file; what has it already is not copied."""

    def rounded(values: FloatArray | None) -> FloatArray | None:
        if values is None:
            return None
        coarse = values.astype(np.float32)
        is_same = np.array_equal(coarse, values, equal_nan=True)
        return values if is_same else coarse.astype(np.float64)

    values: dict[str, Any] = {name: rounded(getattr(track, name)) for name in _FIELDS + _OPTIONAL}
    return replace(track, **values)


def write_landmarks(path: Path, landmarks: StoredLandmarks) -> None:
    """Write all tracks of a session, role after role."""
    tables = [_table_of(landmarks, track) for track in landmarks.tracks.values()]
    whole = pa.concat_tables(tables, promote_options="permissive")  # roles differ in their looks
    whole = whole.replace_schema_metadata(_EVENED)
    words = [name for name in whole.column_names if pa.types.is_dictionary(whole[name].type)]
    pq.write_table(
        whole, path, compression="zstd", use_dictionary=words, use_byte_stream_split=True
    )


def _table_of(landmarks: StoredLandmarks, track: PoseTrack) -> pa.Table:
    frames = len(track)
    columns = {
        "source": pa.array(landmarks.source_index, pa.int32()),
        "time_s": pa.array(landmarks.time_s, pa.float64()),
        "number": pa.array(landmarks.number, pa.int64()),
        "role": pa.array([track.role] * frames).dictionary_encode(),
        "looks": pa.array([",".join(track.looks)] * frames).dictionary_encode(),
    }
    for name in _FIELDS + _OPTIONAL:
        values = getattr(track, name)
        if values is not None:
            columns[name] = _flat(values)
            columns[f"{name}_shape"] = pa.array(
                [",".join(map(str, values.shape[1:]))] * frames
            ).dictionary_encode()
    return pa.table(columns)


def _flat(values: AnyArray) -> pa.Array:
    flat = np.ascontiguousarray(values, dtype=np.float32).reshape(len(values), -1)
    if flat.shape[1] == 1:
        return pa.array(flat[:, 0], pa.float32())
    return pa.FixedSizeListArray.from_arrays(pa.array(flat.ravel(), pa.float32()), flat.shape[1])


def read_landmarks(path: Path) -> StoredLandmarks:
    """Read what :func:`write_landmarks` wrote.

    Raises
    ------
    SessionError
        If the file is missing or damaged.
    """
    try:
        whole = pq.read_table(path)
        is_evened = b"depths" in (whole.schema.metadata or {})
        by_role = _by_role(whole)
        first = next(iter(by_role.values()))
        return StoredLandmarks(
            source_index=_column(first, "source").astype(np.int64),
            time_s=_column(first, "time_s"),
            number=_column(first, "number").astype(np.int64),
            tracks={
                role: track if is_evened else _evened(track)
                for role, track in (
                    (role, _track_of(table, role)) for role, table in by_role.items()
                )
            },
        )
    except (OSError, pa.ArrowException, KeyError, StopIteration, ValueError) as error:
        raise SessionError(
            "cannot be read.",
            where=f"{path}:",
            remedy="Restore it from a copy, or analyse the recording again.",
        ) from error


def _by_role(table: pa.Table) -> dict[Role, pa.Table]:
    """Return the rows of each role; they lie together, so nothing is copied."""
    roles = np.asarray(pc.cast(table["role"], pa.string()).to_numpy(zero_copy_only=False))
    begins = np.flatnonzero(np.append(True, roles[1:] != roles[:-1])[: len(roles)])
    ends = np.append(begins[1:], len(roles))
    return {
        roles[begin]: table.slice(begin, end - begin)
        for begin, end in zip(begins.tolist(), ends.tolist(), strict=True)
    }


def _column(table: pa.Table, name: str) -> AnyArray:
    return np.asarray(table[name].to_numpy(zero_copy_only=False))


def _track_of(table: pa.Table, role: Role) -> PoseTrack:
    looks = tuple(pc.cast(table["looks"], pa.string())[0].as_py().split(","))
    values: dict[str, Any] = {
        name: _unflat(table, name) for name in _FIELDS + _OPTIONAL if name in table.column_names
    }
    return PoseTrack(role=role, looks=looks, **values)


def _evened(track: PoseTrack) -> PoseTrack:
    """Return a track of a file made before depths were evened; the patient's never needed it."""
    if track.role == "patient":
        return track
    is_mirrored = [look.endswith("_mirrored") for look in track.looks]
    world_m = evened(track.world_m)
    world_m[:, is_mirrored] = 2 * track.world_m[:, is_mirrored] - world_m[:, is_mirrored]
    return as_stored(replace(track, world_m=world_m))


def _unflat(table: pa.Table, name: str) -> FloatArray | None:
    if table[name].null_count:
        return None
    shape: Sequence[int] = [
        int(part)
        for part in pc.cast(table[f"{name}_shape"], pa.string())[0].as_py().split(",")
        if part
    ]
    column = table[name].combine_chunks()
    flat = column.flatten() if pa.types.is_nested(column.type) else column
    values = np.asarray(flat.to_numpy(zero_copy_only=False), dtype=np.float64)
    return values.reshape(len(table), *shape)
