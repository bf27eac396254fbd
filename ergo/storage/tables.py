"""The tables for other programs: frames, episodes and summary of a session.

Columns are documented in DEVELOPERS.md ("Files"). What was not seen or not
judged is empty (null), never 0.
"""

import csv
import dataclasses
import json
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.csv as pacsv
import pyarrow.parquet as pq

from ergo.arrays import FloatArray, StepArray
from ergo.posture.angle_names import NAMES
from ergo.scores.method_score import NOT_SEEN, MethodScore
from ergo.session.session import Session
from ergo.workplace.place_track import MEASURES, PlaceTrack

_BEGINS_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def frames_table(session: Session) -> pa.Table:
    """Return one row per analysed frame, the same for Parquet and CSV."""
    timeline, posture, clock = session.recording.timeline, session.posture, session.clock
    names = np.asarray(timeline.sources, dtype=object)
    columns: dict[str, Any] = {
        "source": pa.array(names[timeline.source_index], pa.string()),
        "time_s": pa.array(timeline.time_s),
        "held": pa.array(timeline.held),
        "person_found": pa.array(posture.person_found),
        "is_bridged": pa.array(posture.is_bridged),
    }
    for column, name in enumerate(NAMES):
        columns[name] = _number(posture.value[:, column])
        columns[f"{name}_sd"] = _number(posture.sd[:, column])
    columns["clock_hours"] = _number(clock.hours)
    columns["clock_hours_sd"] = _number(clock.sd_hours)
    columns["clock_zone"] = pa.array(clock.zones, pa.string())
    if session.place is not None:
        columns |= _place_columns(session.place)
    for score in session.scores:
        columns |= _score_columns(score)
    return pa.table(columns)


def _place_columns(place: PlaceTrack) -> dict[str, Any]:
    columns = {}
    for at, axis in enumerate("xy"):
        columns[f"seat_{axis}_m"] = _number(place.seat_m[:, at])
        columns[f"seat_{axis}_m_sd"] = _number(place.seat_sd_m[:, at])
        columns[f"assistant_{axis}_m"] = _number(place.assistant_m[:, at])
        columns[f"assistant_{axis}_m_sd"] = _number(place.assistant_sd_m[:, at])
    for name in MEASURES:
        columns[name] = _number(place.measured[name])
        columns[f"{name}_sd"] = _number(place.measured_sd[name])
    columns["knees_under_p"] = _number(place.knees_under)
    return columns


def _score_columns(score: MethodScore) -> dict[str, Any]:
    stem = score.method if score.side == "whole" else f"{score.method}_{score.side}"
    columns = {f"{stem}_{part}": _step(steps) for part, steps in score.steps.items()}
    columns[f"{stem}_score"] = _step(score.score)
    columns[f"{stem}_level"] = _printed_level(score)
    if score.within_one is not None:
        columns[f"{stem}_p_within_1"] = _number(score.within_one)
    for position, level in enumerate(score.levels):
        key = f"{stem}_p_level_{level.printed.replace(' ', '_')}"
        columns[key] = _number(score.level_probability[:, position])
    return columns


def _printed_level(score: MethodScore) -> pa.Array:
    printed = np.asarray(["", *(level.printed for level in score.levels)], dtype=object)
    return pa.array(printed[score.level], pa.string(), mask=score.level == NOT_SEEN)


def _number(values: FloatArray) -> pa.Array:
    return pa.array(values.round(4), pa.float64(), mask=~np.isfinite(values))


def _step(values: StepArray) -> pa.Array:
    return pa.array(values, pa.int16(), mask=values == NOT_SEEN)


def write_frames(session: Session, folder: Path) -> None:
    """Write frames.parquet and frames.csv."""
    table = frames_table(session)
    pq.write_table(table, folder / "frames.parquet", compression="zstd")
    names = pa.array([no_formula(name) for name in table["source"].to_pylist()], pa.string())
    pacsv.write_csv(table.set_column(0, "source", names), folder / "frames.csv")


def write_rows(path: Path, header: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    """Write a small CSV table; NaN and None become empty cells."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(header)
        writer.writerows([["" if _is_unknown(cell) else no_formula(cell) for cell in row]
                          for row in rows])  # fmt: skip


def no_formula(cell: Any) -> Any:
    """Return a cell of a CSV file; text that a spreadsheet would compute gets a ' before it."""
    is_formula = isinstance(cell, str) and cell.startswith(_BEGINS_FORMULA)
    return f"'{cell}" if is_formula else cell


def _is_unknown(cell: Any) -> bool:
    return cell is None or (isinstance(cell, float) and math.isnan(cell))


def write_json(path: Path, content: Any) -> None:
    """Write JSON that any reader accepts: NaN becomes null, keys keep their order."""
    text = json.dumps(plain(content), ensure_ascii=False, indent=1, allow_nan=False)
    path.write_text(text + "\n", encoding="utf-8")


def plain(content: Any) -> Any:
    """Return dataclasses, arrays and NaN as plain JSON values."""
    if dataclasses.is_dataclass(content) and not isinstance(content, type):
        names = [part.name for part in dataclasses.fields(content)]
        return {name: plain(getattr(content, name)) for name in names}
    if hasattr(content, "items"):
        return {str(key): plain(value) for key, value in content.items()}
    if isinstance(content, list | tuple | set | frozenset):
        return [plain(value) for value in content]
    return _plain_value(content)


def _plain_value(content: Any) -> Any:
    if isinstance(content, np.ndarray):
        return plain(content.tolist())
    if isinstance(content, np.generic):
        return _plain_value(content.item())
    if isinstance(content, float):
        return round(content, 6) if math.isfinite(content) else None
    if isinstance(content, Path):
        return content.as_posix()
    return content
