"""An interrupted run goes on where it stopped, with the same result."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from ergo.app.analyse import record
from ergo.frames.clips import ClipSource
from ergo.notes.notes import Notes
from ergo.session.session import Settings
from ergo.storage.landmark_file import as_stored
from ergo.storage.shelf import FolderShelf
from ergo.tracking import follow
from ergo.whole import workshop

CLIP = Path(__file__).parents[2] / "sample_frames" / "kf_scaling.mp4"
SETTINGS = Settings(rate_hz=2.0, effort="fast")


class PulledPlug(Exception):
    pass


def watched(tmp_path: Path, stop_at_s: float | None = None):
    def tell(_facts, seconds: float) -> None:
        seen_s.append(seconds)
        if stop_at_s is not None and seconds >= stop_at_s:
            raise PulledPlug

    seen_s: list[float] = []
    shelf = FolderShelf(tmp_path / "out", SETTINGS, "")
    source = ClipSource(CLIP, rate_hz=SETTINGS.rate_hz)
    recording = record([source], [Notes()], SETTINGS, shelf=shelf, on_progress=tell)
    return as_stored(recording.tracks["operator"]), seen_s


def test_a_run_goes_on_after_the_last_whole_part(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(follow, "PART_S", 4.0)
    in_one_go, _ = watched(tmp_path / "one")
    with pytest.raises(PulledPlug):
        watched(tmp_path / "two", stop_at_s=9.5)
    continued, seen_s = watched(tmp_path / "two")
    assert min(seen_s) == pytest.approx(8.0)
    np.testing.assert_array_equal(continued.picture_px, in_one_go.picture_px)
    np.testing.assert_array_equal(continued.presence, in_one_go.presence)


def test_a_half_written_part_is_watched_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(follow, "PART_S", 4.0)
    with pytest.raises(PulledPlug):
        watched(tmp_path, stop_at_s=9.5)
    for torn in (workshop(tmp_path / "out") / "kept").glob("*/0001.parquet"):
        torn.write_bytes(torn.read_bytes()[:100])
    _, seen_s = watched(tmp_path)
    assert min(seen_s) == pytest.approx(4.0)


def test_a_finished_source_is_not_opened_again(tmp_path: Path) -> None:
    watched(tmp_path)
    _, seen_s = watched(tmp_path)
    assert seen_s == []


def test_going_on_needs_the_last_part_only(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(follow, "PART_S", 4.0)
    with pytest.raises(PulledPlug):
        watched(tmp_path, stop_at_s=13.5)
    shelf = FolderShelf(tmp_path / "out", SETTINGS, "")
    facts = ClipSource(CLIP, rate_hz=SETTINGS.rate_hz).facts
    parts = shelf.parts(facts)
    count, last = shelf.newest(facts)
    assert (count, last.next_s) == (len(parts), parts[-1].next_s) == (3, 12.0)
    np.testing.assert_array_equal(last.seen.time_s, parts[-1].seen.time_s)
    assert FolderShelf(tmp_path / "other", SETTINGS, "").newest(facts) == (0, None)


@pytest.mark.parametrize(
    "other",
    [
        {"settings": replace(SETTINGS, effort="full")},
        {"settings": replace(SETTINGS, rate_hz=2.5)},
        {"notes": "somebody else is the operator"},
        {"version": "0.0.9"},
    ],
)
def test_what_was_watched_in_another_way_is_not_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, other: dict[str, object]
) -> None:
    monkeypatch.setattr(follow, "PART_S", 4.0)
    with pytest.raises(PulledPlug):
        watched(tmp_path, stop_at_s=9.5)
    facts = ClipSource(CLIP, rate_hz=SETTINGS.rate_hz).facts
    stopped = FolderShelf(tmp_path / "out", SETTINGS, "")
    assert stopped.newest(facts)[0] == 2
    stopped.close(facts, None)
    if "version" in other:
        monkeypatch.setattr("ergo.storage.shelf.__version__", other["version"])
    repeated = FolderShelf(
        tmp_path / "out", other.get("settings", SETTINGS), other.get("notes", "")
    )
    assert repeated.newest(facts) == (0, None)
    assert not repeated.is_closed(facts)
    assert not stopped.is_closed(replace(facts, sha256="1" * 64))
