"""Read published tables: CSV whose first lines say where the values come from."""

import csv
from functools import cache
from importlib.resources import files


@cache
def rows(room: str, name: str) -> tuple[dict[str, str], ...]:
    """Return the rows of ``ROOM/tables/NAME.csv`` by column name, comments left out."""
    text = files(f"ergo.{room}").joinpath("tables", f"{name}.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    return tuple(csv.DictReader(lines))
