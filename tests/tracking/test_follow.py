"""What follows from the looks, with saved looks in place of networks."""

from dataclasses import replace

import numpy as np
import pytest

from ergo.errors import InputError
from ergo.landmarks.joints import JOINTS, Joints
from ergo.landmarks.names import INDEX
from ergo.notes.notes import Notes, OperatorPoint
from ergo.tracking.body import body_size_px
from ergo.tracking.follow import PART_S, join_parts, watch_parts, watch_source
from ergo.tracking.roles import Identified, role_posterior
from ergo.tracking.tracked_person import LONGEST_AHEAD_S, UNSURE_SPREAD, TrackedPerson, way_between
from ergo.tracking.tracker import (
    LAG,
    LOOKS,
    OPINION_LAG,
    OTHERS_EVERY_S,
    SEARCH_EVERY_S,
)
from ergo.tracking.tracker_state import TrackerState
from tests.tracking.people import RATE_HZ, RecordedSource, person
from tests.tracking.recorded_finder import RecordedDetector

OPERATOR = (200.0, 300.0)
PATIENT = (330.0, 300.0)


def watched(people, notes=None, effort="fast", **more):
    detector = RecordedDetector(people)
    source = RecordedSource(len(people), **more)
    parts = list(watch_parts(source, notes or Notes(), effort, detector=detector))
    return join_parts([part.seen for part in parts], effort)


def hips_x(track):
    hips = [INDEX["hip_left"], INDEX["hip_right"]]
    return track.picture_px[:, 0, hips, 0].mean(1)


def test_somebody_alone_is_followed_in_every_frame():
    seen = watched([[person((200.0 + 2 * frame, 300.0))] for frame in range(40)])
    assert seen.tracks["operator"].found.all()
    assert hips_x(seen.tracks["operator"]) == pytest.approx(200.0 + 2 * np.arange(40))
    assert list(seen.number[:3]) == [0, 6, 12]
    assert seen.doubt is None


def test_the_hand_is_believed_from_how_they_sit_and_kept_through_a_clip():
    frames = int((SEARCH_EVERY_S + 5) * RATE_HZ)
    track = watched([[person(OPERATOR)]] * frames).tracks["operator"]
    alone = role_posterior([person(OPERATOR)], RecordedSource(1).facts.width_px).right_handed
    assert track.right_handed == pytest.approx(np.full(frames, alone))  # every search agrees
    gone = watched([[person(OPERATOR)]] * 10 + [[]] * 2 + [[person(OPERATOR)]] * 10)
    assert np.isnan(gone.tracks["operator"].right_handed[10:12]).all()


def test_somebody_who_walks_faster_and_faster_is_followed_by_where_they_will_be():
    steps = np.concatenate([np.arange(0, 130, 10), np.full(20, 130.0)])  # px between two frames
    x_px = 200.0 + np.cumsum(steps)
    alone = [[person((x, 300.0))] for x in x_px]
    assert steps.max() * LAG > alone[0][0].next_box.side_px / 2  # the last crop holds nobody
    track = watched(alone).tracks["operator"]
    assert track.found.all()
    assert hips_x(track) == pytest.approx(x_px)


def test_who_walked_away_is_not_seen_where_they_would_be():
    x_px = 200.0 + np.cumsum(np.r_[np.arange(0, 60, 10), np.full(6, 60.0)])
    seen = watched([[person((x, 300.0))] for x in x_px] + [[]] * 8)
    found = seen.tracks["operator"].found
    assert found[: len(x_px)].all()
    assert not found[len(x_px) :].any()


def test_a_seated_persons_small_movements_leave_the_crop_where_it_is():
    box = person(OPERATOR).next_box
    slow = TrackedPerson(box, 1.0, seen_s=2.0, velocity_px_s=(0.1 * box.side_px, 0.0))
    fast = TrackedPerson(
        box, 1.0, seen_s=2.0, velocity_px_s=(0.5 * box.side_px, -0.3 * box.side_px)
    )
    assert slow.box_at(2.4) == box
    there = fast.box_at(2.4)
    assert there.x_px - box.x_px == pytest.approx(0.2 * box.side_px)
    assert there.y_px - box.y_px == pytest.approx(-0.12 * box.side_px)
    assert fast.box_at(60.0) == fast.box_at(2.0 + LONGEST_AHEAD_S)  # nobody walks on for ever


def unsure(look, share):
    """Return a look whose joints are placed with a spread of a share of the body's size."""
    spread = np.full(len(JOINTS), share * body_size_px(look.picture_px))
    place = np.zeros((len(JOINTS), 3))
    return replace(look, joints=Joints(place, spread, spread))


@pytest.mark.parametrize(("share", "is_body"), [(0.03, True), (0.24, True), (0.26, False)])
def test_a_skeleton_whose_joints_lie_anywhere_is_nobody(share, is_body):
    sure, other = unsure(person(OPERATOR), 0.03), unsure(person(OPERATOR), share)
    seen = watched([[sure]] * 5 + [[other]] * 3 + [[sure]] * 5)
    assert seen.tracks["operator"].found[:5].all()
    assert (seen.tracks["operator"].found[5:8] == is_body).all()


class _SurerInTheMiddle(RecordedDetector):
    """Who sees a person the less surely, the further off the middle of the crop."""

    def look(self, picture, box, refinement="once"):
        seen = super().look(picture, box, refinement)
        off = way_between(box, seen.next_box)
        return unsure(seen, 0.02 + off) if refinement != "lying" else seen


def test_where_a_look_was_off_its_person_the_surer_second_look_is_kept():
    x_px = 200.0 + np.cumsum(np.r_[[0.0] * 5, [90.0] * 5])
    detector = _SurerInTheMiddle([[person((x, 300.0))] for x in x_px])
    parts = list(watch_parts(RecordedSource(len(x_px)), Notes(), "fast", detector=detector))
    track = join_parts([part.seen for part in parts], "fast").tracks["operator"]
    assert track.found.all()
    shares = track.joint_sd_px[:, 0] / body_size_px(person(OPERATOR).picture_px)
    assert shares[:8] == pytest.approx(np.full(8, 0.02))  # the first step was foreseen by nobody
    assert (shares <= UNSURE_SPREAD).all()


def test_a_short_absence_is_not_seen_and_the_person_is_seen_again_after_it():
    gone = {10, 11}
    seen = watched([[] if frame in gone else [person(OPERATOR)] for frame in range(30)])
    assert set(np.flatnonzero(~seen.tracks["operator"].found)) == gone
    assert np.isnan(seen.tracks["operator"].world_m[10]).all()


def test_who_comes_back_elsewhere_after_a_long_absence_is_found_again():
    people = [[person(OPERATOR)]] * 10 + [[]] * 20 + [[person((450.0, 310.0))]] * 30
    track = watched(people).tracks["operator"]
    assert not track.found[10:30].any()
    assert track.found[-20:].all()
    assert hips_x(track)[-1] == pytest.approx(450.0)


def test_a_look_that_jumps_onto_somebody_else_is_not_taken_for_the_operator():
    one, other = person(OPERATOR), person((200.0 + 320.0, 300.0), px_per_m=150.0)
    seen = watched([[one]] * 10 + [[other]] * 2 + [[one]] * 10)
    assert not seen.tracks["operator"].found[10:12].any()


def test_the_operator_sits_and_the_patient_lies():
    seen = watched([[person(PATIENT, lying=True), person(OPERATOR)]] * 40)
    assert hips_x(seen.tracks["operator"]) == pytest.approx(np.full(40, OPERATOR[0]))
    patient = seen.tracks["patient"]
    assert hips_x(patient)[patient.found] == pytest.approx(PATIENT[0])


def test_the_patient_is_looked_at_now_and_then_and_not_seen_between():
    seen = watched([[person(PATIENT, lying=True), person(OPERATOR)]] * 40)
    looked = np.flatnonzero(np.isfinite(seen.tracks["patient"].presence)) / RATE_HZ
    assert np.diff(looked) == pytest.approx(np.full(len(looked) - 1, OTHERS_EVERY_S))
    assert not seen.tracks["patient"].found[1]


def test_who_comes_later_is_found_by_the_next_search_and_followed_soon_after_it():
    came = int(3 * RATE_HZ)
    people = [[person(OPERATOR)]] * came + [[person(PATIENT, lying=True), person(OPERATOR)]] * 100
    patient = watched(people).tracks["patient"]
    first = int(np.flatnonzero(patient.found)[0])
    searched = int(SEARCH_EVERY_S * RATE_HZ)
    assert searched < first <= searched + OPINION_LAG + LAG + int(OTHERS_EVERY_S * RATE_HZ)


@pytest.mark.parametrize("x_px", [120.0, 480.0])
def test_a_point_in_the_notes_settles_who_is_the_operator(x_px):
    people = [[person((120.0, 300.0)), person((480.0, 300.0))]] * 10
    notes = Notes(operator=OperatorPoint(at=(x_px, 200.0)))
    track = watched(people, notes).tracks["operator"]
    assert hips_x(track) == pytest.approx(np.full(10, x_px))
    assert (track.identity == 1).all()


def test_a_point_on_somebody_who_lies_gives_a_reason_to_doubt():
    people = [[person(OPERATOR), person(PATIENT, lying=True)]] * 5
    on_patient = Notes(operator=OperatorPoint(at=PATIENT))
    assert "lies, as a patient does" in watched(people, on_patient).doubt
    assert watched(people, Notes(operator=OperatorPoint(at=OPERATOR))).doubt is None


def test_a_point_at_which_nobody_is_gives_a_reason_to_doubt():
    notes = Notes(operator=OperatorPoint(at=(600.0, 20.0)))
    assert "point given in the notes" in watched([[person(OPERATOR)]] * 5, notes).doubt


def test_where_everybody_lies_nobody_is_called_the_operator():
    seen = watched([[person(OPERATOR, lying=True), person((450.0, 100.0), lying=True)]] * 10)
    assert not seen.tracks["operator"].found.any()
    assert seen.doubt is not None


def test_an_assistant_whose_look_slips_onto_the_operator_is_not_seen():
    operator, assistant = person(OPERATOR), person((OPERATOR[0] + 60.0, OPERATOR[1]))
    followed = {
        "operator": TrackedPerson(operator.next_box, 1.0),
        "assistant": TrackedPerson(assistant.next_box, 1.0),
    }
    together = [[operator, assistant]] * 5
    for people, is_seen in ((together, True), ([[operator]] * 5, False)):
        state = TrackerState(followed=followed, searched_s=0.0)
        parts = watch_parts(
            RecordedSource(5), Notes(), "fast", start=state, detector=RecordedDetector(people)
        )
        tracks = join_parts([part.seen for part in parts], "fast").tracks
        assert tracks["operator"].found.all()
        assert ("assistant" in tracks and tracks["assistant"].found.any()) == is_seen


def test_nobody_assists_where_no_operator_is_believed(monkeypatch):
    def as_assistant(people, *_):
        return {"assistant": Identified(people[0], 0.9)} if people else {}

    monkeypatch.setattr("ergo.tracking.tracker.identify", as_assistant)
    seen = watched([[person(OPERATOR)]], kind="still")
    assert "assistant" not in seen.tracks
    assert "may or may not be the operator" in seen.doubt


def test_a_still_goes_the_same_way():
    seen = watched([[person(OPERATOR)]], kind="still")
    assert seen.tracks["operator"].found.all()


@pytest.mark.parametrize("effort", sorted(LOOKS))
def test_every_effort_takes_the_looks_it_states(effort):
    seen = watched([[person(OPERATOR)]] * 5, effort=effort)
    assert seen.tracks["operator"].looks == LOOKS[effort]
    assert np.isfinite(seen.tracks["operator"].picture_px).all()


def test_an_unknown_effort_is_an_error():
    with pytest.raises(InputError, match="full"):
        watch_source(RecordedSource(3), Notes(), "utmost")


def test_going_on_after_a_break_gives_the_same_as_without_one():
    length = int(2.5 * PART_S * RATE_HZ)
    rng = np.random.default_rng(7)
    places = np.array(OPERATOR) + np.cumsum(rng.normal(0, 1, (length, 2)), axis=0)
    people = [[person(place), person(PATIENT, lying=True)] for place in places]
    whole = watched(people)
    first = next(
        watch_parts(RecordedSource(length), Notes(), "fast", detector=RecordedDetector(people))
    )
    done = len(first.seen.time_s)
    rest = watch_parts(
        RecordedSource(length, first=done),
        Notes(),
        "fast",
        start=first.state,
        detector=RecordedDetector(people),
    )
    again = join_parts([first.seen, *(part.seen for part in rest)], "fast")
    for role, track in whole.tracks.items():
        assert np.array_equal(track.picture_px, again.tracks[role].picture_px, equal_nan=True)
        assert np.array_equal(track.identity, again.tracks[role].identity, equal_nan=True)
