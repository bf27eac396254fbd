"""The bench's own arithmetic on answers that are known: perfect ones and shifted ones."""

import gzip
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from ergo.notes.notes import Notes
from ergo.posture.angle_names import COLUMN, NAMES
from ergo.posture.posture_track import PostureTrack
from ergo.scores.methods import score_all
from ergo.session.session import Recording, Settings
from ergo.storage.session_folder import StoredSession
from ergo.timeline import build_timeline
from tests.accuracy.program import Answers
from tests.accuracy.result import compared
from tests.accuracy.sets import real_person
from tests.accuracy.tables import loss_text
from tests.accuracy.truth import COMPARED_LANDMARKS, TRUE_NAMES, NoPicture, Truth, angles_of
from tests.accuracy.verdicts import verdicts_of

STILLS = json.loads(
    gzip.decompress((Path(__file__).parents[1] / "data/scenes_truth.json.gz").read_bytes())
)["stills"]
NAMES_OF_STILLS = tuple(still["id"] for still in STILLS)
PLACE = np.zeros((len(COMPARED_LANDMARKS), 2))
FALLBACK = NoPicture(np.zeros(len(TRUE_NAMES)), np.full(len(TRUE_NAMES), 15.0))


def _truths() -> list[Truth]:
    people = {"operator": PLACE, "patient": PLACE + 300.0}
    return [
        Truth(still["id"], 0.0, still["view"], angles_of(still["angles"]), people, 1.0, np.nan)
        for still in STILLS
    ]


def _exact(truths: list[Truth]) -> np.ndarray:
    return np.array([each.angles[: len(NAMES)] for each in truths])


def _stored() -> StoredSession:
    timeline = build_timeline(
        NAMES_OF_STILLS, tuple(np.zeros(1) for _ in STILLS), (False,) * len(STILLS)
    )
    recording = Recording(
        settings=Settings(),
        sources=(),
        timeline=timeline,
        number=np.zeros(len(STILLS), dtype=np.int64),
        tracks={},
        damage={},
        doubt={},
        skipped=(),
        versions={},
    )
    return StoredSession(recording, (Notes(),) * len(STILLS))


def _posture(value: np.ndarray, sd_deg: float) -> PostureTrack:
    sd = np.where(np.isfinite(value), sd_deg, np.nan)
    frames = len(value)
    return PostureTrack(value, sd, np.ones(frames, dtype=bool), np.zeros(frames, dtype=bool))


def _answers(posture: PostureTrack, stored: StoredSession) -> Answers:
    steps, promised = {}, {}
    for score in score_all(stored.recording.timeline, posture, stored.notes, {}):
        if score.method == "rula":
            steps |= {f"rula_{score.side}_{part}": each for part, each in score.steps.items()}
            steps[f"rula_{score.side}_score"] = score.score
            promised[score.side] = score.within_one
    return Answers(
        source=NAMES_OF_STILLS,
        time_s=np.zeros(len(STILLS)),
        found=posture.person_found,
        value=posture.value,
        sd=posture.sd,
        operator_px=np.repeat(PLACE[None], len(STILLS), axis=0),
        promised=promised,
        steps=steps,
    )


def _result(shift_deg: float, sd_deg: float = 1.0):
    stored, truths = _stored(), _truths()
    posture = _posture(_exact(truths) + shift_deg, sd_deg)
    answers = _answers(posture, stored)
    return compared("dev_known", "known", answers, truths, stored, posture, FALLBACK)


def test_perfect_answers_meet_every_goal_but_that_intervals_be_no_wider_than_needed():
    result = _result(0.0)
    assert all(error.mean_absolute == 0.0 for row, error in result.whole.items() if "C7" not in row)
    by_tables = result.grand_otherwise["score of the measured angles"]
    assert (by_tables.within_one, by_tables.kappa) == (1.0, 1.0)
    assert result.grand.judged == by_tables.judged == 2 * len(STILLS)
    assert 0.95 < result.promised_within_one <= 1.0
    lost = [each.what for each in verdicts_of(result) if not each.is_met]
    assert all("90 % interval" in what for what in lost)


def test_the_bench_tells_what_the_rule_for_hidden_elbows_changes():
    stored, truths = _stored(), _truths()
    value = _exact(truths)
    value[:, COLUMN["elbow_flexion_deg_left"]] = np.nan
    posture = _posture(value, 0.0)
    answers = _answers(posture, stored)
    result = compared("dev_known", "known", answers, truths, stored, posture, FALLBACK)
    assert (result.grand.share_judged, result.grand.within_one) == (1.0, 1.0)
    assert result.grand_otherwise["elbow, abduction not told: not judged"].share_judged == 0.5


def test_answers_that_are_three_degrees_off_show_as_error_bias_and_broken_intervals():
    result = _result(3.0)
    trunk = result.whole["trunk_flexion_deg"]
    assert (trunk.mean_absolute, trunk.bias) == (pytest.approx(3.0), pytest.approx(3.0))
    assert trunk.coverage == 0.0
    assert result.by_view["rear"]["elbow_flexion_deg"].answered == 20


def test_what_the_quick_look_loses_is_its_error_less_that_of_the_careful_one():
    told = loss_text(_result(shift_deg=1.0), _result(shift_deg=3.5)).splitlines()
    row = next(line for line in told if line.startswith("neck_flexion_deg")).split()
    assert row[-3:] == ["1.0", "3.5", "+2.5"]


def test_somebody_else_found_is_a_wrong_person():
    stored, truths = _stored(), _truths()
    posture = _posture(_exact(truths), 1.0)
    answers = _answers(posture, stored)
    elsewhere = answers.operator_px.copy()
    elsewhere[0] += 290.0
    answers = replace(answers, operator_px=elsewhere)
    result = compared("dev_known", "known", answers, truths, stored, posture, FALLBACK)
    assert result.finding.wrong == (NAMES_OF_STILLS[0],)


def test_the_real_persons_lean_to_the_left_becomes_our_negative_and_waits_for_its_camera(tmp_path):
    fields = ("trunk_incl", "trunk_sag", "trunk_lat", "elbow_L", "elbow_R")
    fields += ("ua_elev_grav_L", "ua_elev_grav_R")
    described = {
        "fps": 60,
        "frames": 4,
        "angles_deg": {field: [0.0, 10.0, 20.0, 30.0] for field in fields},
        "valid": {"trunk": [1, 1, 1, 1], "L": [1, 1, 1, 1], "R": [0, 0, 0, 0]},
        "cameras": {"cam01": {"roll_deg": 13.4, "tilt_down_deg": 22.5, "frame_shift": 0.5}},
    }
    (tmp_path / "person.json").write_text(json.dumps(described))
    pictures = real_person(tmp_path / "person.json", tmp_path)
    assert list(pictures.cameras.values()) == [{"pitch_deg": -22.5, "roll_deg": 13.4}]
    third = pictures.truths[2].angles
    assert third[COLUMN["trunk_side_bend_deg"]] == pytest.approx(-15.0)
    assert third[COLUMN["trunk_flexion_deg"]] == pytest.approx(15.0)
    assert np.isnan(third[COLUMN["elbow_flexion_deg_right"]])
