import json
import os
import shutil

import numpy as np
import pytest

from ergo.app.analyse import evaluate_session
from ergo.app.workflow import judge_again, rescore_session
from ergo.landmarks.names import INDEX
from ergo.notes.notes import Notes
from ergo.storage.session_folder import read_session
from ergo.storage.session_notes import store_notes
from ergo.storage.transaction import all_or_nothing
from tests.web.test_session_answers import unpacked


@pytest.fixture
def path(session_id):
    return f"/api/sessions/{session_id}"


def state(client, path, **correction):
    answer = client.post(f"{path}/corrections", json=correction)
    assert answer.status_code == 200, answer.text
    return answer.json()


def timeline(client, path):
    return unpacked(client.get(f"{path}/timeline").content)


def test_a_stated_clock_position_is_on_the_timeline_at_once(client, path):
    state(client, path, source=0, key="clock", add={"from_s": 2.1, "to_s": 4.1, "hours": 9.5})
    _, arrays = timeline(client, path)
    inside = (arrays["time_s"] > 2.1) & (arrays["time_s"] < 4.1)
    assert set(arrays["clock"][inside]) == {9.5}
    assert np.all(np.isnan(arrays["clock"][~inside]))
    assert np.all(arrays["clock_sd"][inside] > 0)  # nobody notes an hour exactly
    assert np.all(np.isnan(arrays["clock_sd"][~inside]))


def test_an_excluded_part_is_no_longer_judged(client, path):
    before = client.get(f"{path}/figures").json()
    state(client, path, source=0, key="excluded", add={"from_s": 0, "to_s": 10})
    _, arrays = timeline(client, path)
    assert np.all(arrays["strain"][:, arrays["time_s"] < 10] == 255)
    assert client.get(f"{path}/figures").json()["tables"] != before["tables"]


def test_a_correction_stays_in_the_library_and_measured_data_stay(
    client, path, session_id, clip, library_folder
):
    folder = library_folder / "sessions" / session_id
    landmarks = (folder / "landmarks.parquet").read_bytes()
    others = b'# whatever a session from outside says lies beside its recording\nhanded = "right"\n'
    clip.with_suffix(".toml").write_bytes(others)
    state(client, path, key="handed", set="left")
    state(client, path, source=0, key="operator", set={"at": [10, 10], "time_s": 0.0})
    client.post(f"{path}/undo", json={})
    assert clip.with_suffix(".toml").read_bytes() == others
    assert sorted(each.name for each in clip.parent.iterdir()) == ["clip.mp4", "clip.toml"]
    assert read_session(folder).notes == (Notes(handed="left"),)
    assert (folder / "landmarks.parquet").read_bytes() == landmarks


def test_scoring_again_takes_corrected_notes_not_those_beside_the_recording(
    client, path, session_id, clip, library_folder
):
    folder = library_folder / "sessions" / session_id
    clip.with_suffix(".toml").write_text("operator_height_cm = 171\n")
    rescore_session(folder)
    assert read_session(folder).notes == (Notes(operator_height_cm=171),)
    client.app.state.app_state.sessions.forget(session_id)
    state(client, path, key="handed", set="left")
    clip.with_suffix(".toml").write_text("operator_height_cm = 150\n")
    rescore_session(folder)
    assert read_session(folder).notes == (Notes(operator_height_cm=171, handed="left"),)


def test_corrections_are_listed_with_time_and_undone_one_by_one(client, path):
    state(client, path, key="handed", set="left")
    state(client, path, source=0, key="tasks", add={"task": "scaling", "to_s": 5})
    steps = client.post(f"{path}/undo", json={}).json()
    assert [step["is_undone"] for step in steps] == [False, True]
    assert all(step["at"].endswith("+00:00") for step in steps)
    assert "scaling" in steps[1]["text"]
    steps = client.post(f"{path}/undo", json={}).json()
    assert [step["is_undone"] for step in steps] == [True, True]
    facts, _ = timeline(client, path)
    assert facts["notes"] == [{"handed": "right"}]
    assert client.post(f"{path}/undo", json={}).status_code == 422


def test_undo_after_a_new_correction_takes_the_newest_standing_one(client, path):
    state(client, path, key="handed", set="left")
    client.post(f"{path}/undo", json={})
    state(client, path, key="operator_height_cm", set=170)
    steps = client.post(f"{path}/undo", json={}).json()
    assert [step["is_undone"] for step in steps] == [True, True]
    assert timeline(client, path)[0]["notes"] == [{"handed": "right"}]


def test_corrections_are_there_after_a_restart(client, path, library_folder):
    state(client, path, source=0, key="clock", add={"hours": 11})
    client.app.state.app_state.sessions.forget(path.rsplit("/", 1)[-1])
    _, arrays = timeline(client, path)
    assert set(arrays["clock"]) == {11.0}
    assert len(client.get(f"{path}/corrections").json()) == 1


def test_scoring_a_corrected_session_again_keeps_its_history(
    client, path, session_id, library_folder
):
    state(client, path, key="handed", set="left")
    before = client.get(f"{path}/corrections").json()
    folder = library_folder / "sessions" / session_id
    rescore_session(folder, {"rula_table_a": "older-worksheet"})
    client.app.state.app_state.sessions.forget(session_id)
    assert client.get(f"{path}/corrections").json() == before
    undone = client.post(f"{path}/undo", json={})
    assert [step["is_undone"] for step in undone.json()] == [True]
    assert read_session(folder).notes == (Notes(handed="right"),)


def test_a_recording_that_is_gone_can_still_be_corrected(client, path, clip):
    clip.unlink()
    state(client, path, key="handed", set="left")
    assert not clip.with_suffix(".toml").exists()
    assert timeline(client, path)[0]["notes"] == [{"handed": "left"}]


@pytest.mark.parametrize(
    ("correction", "part"),
    [
        ({"key": "handed", "set": "both"}, "handed"),
        ({"key": "nonsense", "set": 1}, "nonsense"),
        ({"key": "clock", "add": {"hours": 13}}, "hours"),
        ({"key": "clock", "add": {"hours": 9, "from_s": 5, "to_s": 4}}, "later"),
        ({"key": "handed", "add": {"x": 1}}, "handed"),
        ({"key": "handed", "set": "left", "source": 5}, "recording 5"),
        ({"key": "handed", "set": "left", "path": "/etc"}, "path"),
        ({"key": 5}, "key"),
    ],
)
def test_what_notes_cannot_state_is_refused_in_one_line_and_nothing_is_kept(
    client, path, correction, part
):
    answer = client.post(f"{path}/corrections", json=correction)
    assert answer.status_code == 422
    assert part in answer.json()["error"]
    assert "\n" not in answer.json()["error"]
    assert client.get(f"{path}/corrections").json() == []


@pytest.mark.parametrize(
    ("content", "kind", "status"),
    [
        (b"{", "application/json", 400),
        (b"[" * 100_000, "application/json", 400),
        (b"{}", "text/plain", 415),
        (b'{"key": "handed", "set": NaN}', "application/json", 422),
    ],
)
def test_a_body_that_is_no_form_of_ours_is_refused(client, path, content, kind, status):
    answer = client.post(f"{path}/corrections", content=content, headers={"content-type": kind})
    assert answer.status_code == status


def test_notes_that_cannot_be_judged_leave_everything_as_it_was(client, path):
    answer = client.post(
        f"{path}/corrections", json={"key": "camera", "set": {"width": 100, "height": 100}}
    )
    assert answer.status_code == 422
    assert timeline(client, path)[0]["notes"] == [{"handed": "right"}]
    assert client.get(f"{path}/corrections").json() == []


@pytest.mark.parametrize(
    "stated",
    [
        {"handed": "left"},
        {"clock": [{"hours": 10, "to_s": 9}], "support": [{"trunk": True}]},
        {"excluded": [{"from_s": 1, "to_s": 2}], "force": [{"load_kg": 3}]},
    ],
)
def test_judging_again_gives_what_judging_from_the_start_gives(invented, stated):
    notes = (Notes.model_validate(stated),)
    again, afresh = judge_again(invented, notes), evaluate_session(invented.recording, notes)
    np.testing.assert_array_equal(again.posture.value, afresh.posture.value)
    np.testing.assert_array_equal(again.clock.hours, afresh.clock.hours)
    assert again.clock.zones == afresh.clock.zones
    assert again.notes == afresh.notes
    for one, other in zip(again.scores, afresh.scores, strict=True):
        np.testing.assert_array_equal(one.level_probability, other.level_probability)


def test_a_damaged_history_is_told_in_one_line(client, path, session_id, library_folder):
    folder = library_folder / "sessions" / session_id
    (folder / "corrections.jsonl").write_text(json.dumps({"number": 1}) + "\n")
    answer = client.get(f"{path}/corrections")
    assert answer.status_code == 422
    assert "corrections.jsonl" in answer.json()["error"]


def test_a_moved_landmark_changes_the_angle_there_and_comes_back_on_undo(client, path):
    _, before = timeline(client, path)
    state(
        client,
        path,
        source=0,
        key="landmarks",
        add={"name": "wrist_left", "time_s": 4.0, "at": [300, 400]},
    )
    _, moved = timeline(client, path)
    client.post(f"{path}/undo", json={})
    _, after = timeline(client, path)
    assert not np.array_equal(moved["value"], before["value"], equal_nan=True)
    np.testing.assert_array_equal(after["value"], before["value"])
    at = INDEX["wrist_left"]
    np.testing.assert_array_equal(moved["points"][20, at], [300, 400])
    assert not np.array_equal(before["points"][20, at], [300, 400])


@pytest.mark.parametrize(("language", "more"), [("en", "Further changes"), ("de", "Weitere")])
def test_the_page_names_one_change_and_folds_the_others(client, path, language, more):
    state(client, path, source=0, key="clock", add={"hours": 9})
    change = client.get(f"{path}/figures", headers={"accept-language": language}).json()["change"]
    assert change["first"].count(". ") >= 1
    assert change["source"]
    assert change["others"]
    assert change["more"].startswith(more)
    assert change["more"].endswith(f": {len(change['others'])}")
    assert change["first"] not in change["others"]


def files_of(*folders):
    """Content of every file of some folders, and of the folders that hold none."""
    return {
        path: path.read_bytes() if path.is_file() else None
        for folder in folders
        for path in folder.rglob("*")
    }


class FullDisk:
    """Lets files get their names some times; after that the disk is full, until it is emptied."""

    def __init__(self, monkeypatch):
        self.left = 0
        self._replace = os.replace
        monkeypatch.setattr("ergo.whole.os.replace", self)

    def fill(self, after):
        self.left = after

    def __call__(self, old, new):
        if ".unfinished" in str(old):  # what is new needs room, what is put back does not
            self.left -= 1
            if self.left < 0:
                raise OSError(28, "No space left on device")
        self._replace(old, new)


@pytest.mark.parametrize("is_undo", [False, True])
def test_a_correction_that_fails_at_any_step_is_not_kept_at_all(
    client, path, session_id, clip, library_folder, monkeypatch, is_undo
):
    stated = {"key": "excluded", "add": {"from_s": 3, "to_s": 8.5}}
    if is_undo:
        state(client, path, **stated)
    address, body = (f"{path}/undo", {}) if is_undo else (f"{path}/corrections", stated)
    folder = library_folder / "sessions" / session_id
    before, history = files_of(folder, clip.parent), client.get(f"{path}/corrections").json()
    figures = client.get(f"{path}/figures").json()
    disk = FullDisk(monkeypatch)
    for steps in range(20):
        disk.fill(after=steps)
        answer = client.post(address, json=body)
        if answer.status_code == 200:
            break
        assert answer.status_code == 422
        assert "No space left" in answer.json()["error"]
        assert files_of(folder, clip.parent) == before
        assert client.get(f"{path}/corrections").json() == history
    disk.fill(after=1000)
    assert steps >= 3  # what is put by, the notes, the history
    assert client.get(f"{path}/figures").json() != figures
    undone = client.post(f"{path}/undo", json={})
    assert undone.status_code == (422 if is_undo else 200)


def test_a_correction_that_was_cut_off_is_taken_back_when_the_session_is_opened(
    client, path, session_id, library_folder
):
    folder = library_folder / "sessions" / session_id
    before, cut_off = files_of(folder), folder.with_name("cut off")
    with all_or_nothing(folder):
        store_notes(folder, [Notes(handed="left")])
        shutil.copytree(folder, cut_off)  # as a program that is killed here leaves it
    shutil.rmtree(folder)
    cut_off.rename(folder)
    client.app.state.app_state.sessions.forget(session_id)
    assert timeline(client, path)[0]["notes"] == [{"handed": "right"}]
    assert files_of(folder) == before


@pytest.mark.parametrize(
    "body",
    [
        rb'{"key": "tasks", "add": {"task": "scal\ud800ing"}}',
        rb'{"key": "excluded", "add": {"reason": "\udfff"}}',
        rb'{"key": "\ud83d", "set": 1}',
        rb'{"key": "handed", "set": "left", "\udead": 1}',
        rb'{"key": "neutral", "set": {"time_s": 1, "source": "\ud800"}}',
    ],
)
def test_half_a_character_is_refused_in_one_line_and_nothing_is_kept(client, path, body):
    answer = client.post(
        f"{path}/corrections", content=body, headers={"content-type": "application/json"}
    )
    assert answer.status_code == 422
    assert answer.json()["error"] == "A text holds half a character. Write it again."
    assert client.get(f"{path}/corrections").json() == []


def test_a_whole_character_of_two_halves_is_kept(client, path):
    body = rb'{"key": "tasks", "add": {"task": "\ud83e\uddb7"}}'
    headers = {"content-type": "application/json"}
    assert client.post(f"{path}/corrections", content=body, headers=headers).status_code == 200
    assert timeline(client, path)[0]["notes"][0]["tasks"] == [{"task": "\N{TOOTH}"}]


def test_a_neutral_moment_that_is_none_is_refused_with_the_angles_and_nothing_is_kept(client, path):
    answer = client.post(
        f"{path}/corrections",
        json={"key": "neutral", "set": {"time_s": 3.0}, "source": 0},
        headers={"accept-language": "de"},
    )
    assert answer.status_code == 422
    assert "Der Kopf ist um" in answer.json()["error"]
    assert client.get(f"{path}/corrections").json() == []
    assert "neutral" not in timeline(client, path)[0]["notes"][0]
