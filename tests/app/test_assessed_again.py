"""A correction gives what judging from the start with the same notes gives, whatever it states."""

from pathlib import Path

import numpy as np
import pytest

from ergo.app.analyse import evaluate_session
from ergo.app.workflow import judge_again
from ergo.frames.frame import SourceFacts
from ergo.notes.notes import Notes
from ergo.session.session import Recording, Settings
from ergo.timeline import build_timeline
from ergo.workplace.place_track import MEASURES
from tests.workplace.test_places import CAMERA, seated_at, track

FRAMES = 12
OF_CAMERA = {"focal_px": CAMERA.focal_px, "pitch_deg": CAMERA.pitch_deg, "roll_deg": 0.0}
BEFORE = {"camera": OF_CAMERA, "handed": "right"}
STATED = {
    "handed": "left",
    "pseudonym": "KF",
    "operator_height_cm": 190,
    "loupes_declination_deg": 38,
    "operator": {"at": [600, 400]},
    "camera": {**OF_CAMERA, "pitch_deg": -9.0, "roll_deg": 4.0},
    "setup": {"vertical": [{"ends": [[300, 100], [331, 500]]}]},
    "clock": [{"hours": 8.5, "to_s": 1}],
    "tasks": [{"task": "scaling", "from_s": 1}],
    "support": [{"trunk": True, "arm_left": True}],
    "force": [{"load_kg": 4, "manner": "static", "to_s": 1}],
    "excluded": [{"from_s": 0.5, "to_s": 1}],
    "neutral": {"time_s": 0.4},
    "begins_s": 1.0,
    "landmarks": [{"name": "elbow_left", "time_s": 0.4, "at": [500, 400]}],
}


@pytest.fixture(scope="module")
def before():
    """Operator and assistant, no patient, no set-up: the convention of hands tells the room."""
    tracks = {
        role: track(role, seated_at(hours, 90), FRAMES)
        for role, hours in (("operator", 10.0), ("assistant", 3.0))
    }
    facts = SourceFacts("a.mp4", Path("a.mp4"), "clip", 1280, 960, 3.0, 30.0, None, "0" * 64)
    recording = Recording(
        Settings(),
        (facts,),
        build_timeline((facts.name,), (np.arange(FRAMES) / 5,), (True,)),
        np.arange(FRAMES),
        tracks,
        damage={},
        doubt={},
        skipped=(),
        versions={},
    )
    return evaluate_session(recording, (Notes.model_validate(BEFORE),))


def test_every_key_of_the_notes_is_tried():
    assert STATED.keys() == Notes.model_fields.keys()


@pytest.mark.parametrize("key", STATED)
def test_stating_one_thing_gives_what_judging_from_the_start_gives(before, key):
    notes = (Notes.model_validate(BEFORE | {key: STATED[key]}),)
    again, afresh = judge_again(before, notes), evaluate_session(before.recording, notes)
    np.testing.assert_array_equal(again.posture.value, afresh.posture.value)
    np.testing.assert_array_equal(again.clock.hours, afresh.clock.hours)
    np.testing.assert_array_equal(again.clock.sd_hours, afresh.clock.sd_hours)
    np.testing.assert_array_equal(again.place.seat_m, afresh.place.seat_m)
    for name in MEASURES:
        np.testing.assert_array_equal(again.place.measured[name], afresh.place.measured[name])
    assert (again.clock.zones, again.clock.handed) == (afresh.clock.zones, afresh.clock.handed)
    for one, other in zip(again.scores, afresh.scores, strict=True):
        np.testing.assert_array_equal(one.level_probability, other.level_probability)


def test_the_hand_changes_the_measured_clock(before):
    left = judge_again(before, (Notes.model_validate(BEFORE | {"handed": "left"}),))
    assert np.isfinite([before.clock.hours, left.clock.hours]).all()
    apart = np.abs((left.clock.hours - before.clock.hours + 6) % 12 - 6)
    assert apart.min() > 1.0  # by the convention they sit on the other side of the patient
