from dataclasses import replace

import numpy as np
import pytest

from ergo.posture.angle_names import COLUMN
from ergo.report.text.words import words
from ergo.scores.rula_by_hand import REGIONS
from ergo.web.session.classroom import ClassSteps, compared


@pytest.fixture
def path(session_id):
    return f"/api/sessions/{session_id}/class"


def measured_steps(invented, frame, side):
    score = next(s for s in invented.scores if (s.method, s.side) == ("rula", side))
    steps = {region: int(score.steps[region][frame]) for region in REGIONS}
    return steps, int(score.steps["score_of_measured_angles"][frame])


def test_the_sheet_shows_the_printed_bands_and_nothing_measured(client, path):
    regions = {row["key"]: row for row in client.get(path).json()}
    assert tuple(regions) == REGIONS
    assert regions["neck"]["bands"][1:] == ["0° to 10°: 1", "10° to 20°: 2", "over 20°: 3"]
    assert all(set(row) == {"key", "label", "highest", "bands", "more"} for row in regions.values())


def test_a_class_that_gives_the_measured_steps_agrees_in_every_region(client, path, invented):
    scores = [s for s in invented.scores if s.method == "rula"]
    side, frame = next((s.side, int(np.argmax(s.score > 0))) for s in scores if np.any(s.score > 0))
    steps, grand = measured_steps(invented, frame, side)
    answer = client.post(path, json={"frame": frame, "side": side, "steps": steps}).json()
    verdicts = {row["label"]: row["verdict"] for row in answer["rows"]}
    assert verdicts.pop("Wrist twist") == "taken as neutral, not seen"
    assert verdicts["Neck"] == verdicts["Trunk"] == "same"
    assert set(verdicts.values()) <= {"same", "taken as neutral, not seen"}
    assert (answer["grand"]["own"], answer["grand"]["measured"]) == (grand, grand)


def test_a_report_that_shows_another_score_than_the_tables_is_explained(invented):
    left = next(s for s in invented.scores if (s.method, s.side) == ("rula", "left"))
    by_tables = {**left.steps, "score_of_measured_angles": np.full_like(left.score, 3)}
    shown = replace(left, steps=by_tables, score=np.full_like(left.score, 5))
    session = replace(invented, scores=(shown,))
    given = ClassSteps(frame=0, side="left", steps=dict.fromkeys(REGIONS, 1))
    grand = compared(session, given, words("en"))["grand"]
    assert grand["measured"] == 3
    assert grand["verdict"].startswith("The report shows 5: ")


def test_a_different_step_is_told_with_the_angles_behind_it(client, path, invented):
    steps, _ = measured_steps(invented, 10, "left")
    steps = {region: max(1, step) for region, step in steps.items()}
    other = steps["trunk"] + (1 if steps["trunk"] < 6 else -1)
    given = {"frame": 10, "side": "left", "steps": {**steps, "trunk": other}}
    rows = {row["label"]: row for row in client.post(path, json=given).json()["rows"]}
    assert rows["Trunk"]["verdict"] == "differs by 1"
    assert any(text.startswith("Trunk, forward bend: ") for text in rows["Trunk"]["angles"])


@pytest.mark.parametrize(
    ("frame", "side", "steps", "status"),
    [
        (0, "left", {}, 422),
        (0, "both", dict.fromkeys(REGIONS, 1), 422),
        (-1, "left", dict.fromkeys(REGIONS, 1), 422),
        (10_000, "left", dict.fromkeys(REGIONS, 1), 404),
        (0, "left", dict.fromkeys(REGIONS, 9), 422),
    ],
)
def test_senseless_steps_are_refused(client, path, frame, side, steps, status):
    answer = client.post(path, json={"frame": frame, "side": side, "steps": steps})
    assert answer.status_code == status


def test_the_angle_beside_an_upper_arm_is_the_one_that_made_its_step(invented):
    value, sd = invented.posture.value.copy(), invented.posture.sd.copy()
    for name, degrees in (
        ("shoulder_flexion_deg_left", 89.0),
        ("shoulder_abduction_deg_left", 71.6),
    ):
        value[:, COLUMN[name]], sd[:, COLUMN[name]] = degrees, 4.0
    session = replace(invented, posture=replace(invented.posture, value=value, sd=sd))
    given = ClassSteps(frame=0, side="left", steps=dict.fromkeys(REGIONS, 1))
    rows = {row["label"]: row for row in compared(session, given, words("en"))["rows"]}
    (abduction,) = [text for text in rows["Upper arm"]["angles"] if "sideways" in text]
    assert "3°" in abduction  # its projection of 72 did not count
    assert "72" not in abduction
