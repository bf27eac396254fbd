"""Places without a set-up, on made people seen by a made camera: the truth is known exactly."""

from dataclasses import replace

import numpy as np
import pytest

from ergo.camera.camera import Camera
from ergo.camera.places import Place
from ergo.landmarks.joints import JOINTS
from ergo.landmarks.names import INDEX, LANDMARKS
from ergo.landmarks.pose_track import PoseTrack
from ergo.notes.notes import Notes
from ergo.timeline import build_timeline
from ergo.workplace.clock import bearing_deg, hours_apart, zone_middle
from ergo.workplace.handedness import handed_by
from ergo.workplace.people_level import LEAN_SD_DEG, USUAL_PITCH_DEG, levelled_by_people
from ergo.workplace.places import clock_of, place_people

SHRUNK = 1 / 1.18  # a network's bodies are that much smaller than true ones
CAMERA = Camera(1280, 960, 1000.0, (640.0, 480.0), -15.0, 0.0, None, 1.0, "room", True)
LENS_M = 1.6
HEAD_M = np.array([0.1, 2.6])
JOINT_SD_M = 0.03  # of every joint, as the network states it

# a seated person: own left, ahead, above the floor [m]; both sides alike but for the sign of left
SEATED = {
    "nose": (0, 0.22, 1.27), "eye_inner": (0.02, 0.20, 1.29), "eye": (0.03, 0.20, 1.29),
    "eye_outer": (0.045, 0.18, 1.29), "ear": (0.075, 0.10, 1.27), "mouth": (0.025, 0.20, 1.23),
    "shoulder": (0.18, 0.03, 1.10), "elbow": (0.25, 0.12, 0.85), "wrist": (0.14, 0.38, 0.87),
    "pinky": (0.08, 0.48, 0.87), "index": (0.05, 0.50, 0.88), "thumb": (0.05, 0.46, 0.89),
    "hip": (0.09, 0, 0.62), "knee": (0.2, 0.42, 0.55), "ankle": (0.2, 0.40, 0.10),
    "heel": (0.2, 0.36, 0.04), "toe": (0.2, 0.56, 0.03),
}  # fmt: skip
# a lying one: own left, towards 12 o'clock from the head's middle, above the floor [m]
SUPINE = {
    "nose": (0, -0.02, 0.97), "eye_inner": (0.02, 0.01, 0.96), "eye": (0.03, 0.01, 0.96),
    "eye_outer": (0.045, 0.01, 0.94), "ear": (0.075, 0, 0.86), "mouth": (0.025, -0.07, 0.94),
    "shoulder": (0.18, -0.22, 0.80), "elbow": (0.24, -0.50, 0.78), "wrist": (0.15, -0.70, 0.80),
    "pinky": (0.12, -0.78, 0.80), "index": (0.10, -0.78, 0.80), "thumb": (0.10, -0.74, 0.80),
    "hip": (0.09, -0.72, 0.72), "knee": (0.1, -1.12, 0.68), "ankle": (0.1, -1.5, 0.62),
    "heel": (0.1, -1.55, 0.60), "toe": (0.1, -1.56, 0.72),
}  # fmt: skip


def body(shape):
    """World points (landmark, xyz): left, ahead, up."""
    points = np.zeros((len(LANDMARKS), 3))
    for name, at in INDEX.items():
        stem, _, side = name.rpartition("_")
        left, ahead, up = shape[stem if side in ("left", "right") else name]
        points[at] = (-left if side == "right" else left, ahead, up)
    return points


def on_floor(points, origin, ahead_deg):
    """Turn a body so that its own ahead points there, clockwise from the camera's ahead."""
    turn = np.radians(ahead_deg)
    ahead = np.array([np.sin(turn), np.cos(turn)])
    left = np.array([-ahead[1], ahead[0]])
    plan = points[:, :1] * left + points[:, 1:2] * ahead + origin
    return np.concatenate([plan, points[:, 2:]], axis=1)


def track(role, points, frames=1):
    """What a faultless network tells of a body on the plan of the camera."""
    camera = replace(CAMERA, height_m=LENS_M)
    level = np.stack([points[:, 0], LENS_M - points[:, 2], points[:, 1]], axis=-1)
    seen = level @ camera.level_from_camera
    pixels = np.concatenate([camera.pixels(points), np.zeros((len(points), 1))], axis=1)
    hips = seen[[INDEX["hip_left"], INDEX["hip_right"]]].mean(axis=0)
    sight = hips / np.linalg.norm(hips)
    shape = (seen - hips) * SHRUNK @ _turn_to_ahead(sight).T
    px_per_m = CAMERA.focal_px / hips[2]
    deep = np.column_stack([pixels[:, :2], (seen[:, 2] - hips[2]) * px_per_m])
    joints = deep[[INDEX.get(name, INDEX["nose"]) for name in JOINTS]]
    joints[JOINTS.index("c7")] = deep[[INDEX["shoulder_left"], INDEX["shoulder_right"]]].mean(0)
    return PoseTrack(
        role, ("heavy",), np.tile(pixels, (frames, 1, 1, 1)), np.tile(shape, (frames, 1, 1, 1)),
        np.ones((frames, 1, len(LANDMARKS))), np.ones(frames), np.ones(frames),
        np.tile(joints, (frames, 1, 1)), np.full((frames, len(JOINTS)), JOINT_SD_M * px_per_m),
    )  # fmt: skip


def _turn_to_ahead(sight):
    """Rotation that turns a line of sight to straight ahead, as a network sees its crop."""
    across = np.cross(sight, [0, 0, 1.0])
    skew = np.array(
        [[0, -across[2], across[1]], [across[2], 0, -across[0]], [-across[1], across[0], 0]]
    )
    return np.eye(3) + skew + skew @ skew / (1 + sight[2])


def seated_at(hours, feet_deg, away_m=0.55):
    """A person who sits there round the patient's head and faces it."""
    bearing = feet_deg + 180 + float(bearing_deg(np.array(hours)))
    turn = np.radians(bearing)
    origin = HEAD_M + away_m * np.array([np.sin(turn), np.cos(turn)])
    return on_floor(body(SEATED), origin, bearing + 180)


def places(feet_deg, frames=1, time_s=None, notes=None, **people):
    made = {"patient": on_floor(body(SUPINE), HEAD_M, feet_deg + 180)}
    made |= {role: seated_at(hours, feet_deg) for role, hours in people.items() if hours}
    tracks = {r: track(r, p, frames) for r, p in made.items() if people.get(r, 1) is not None}
    times = np.zeros(frames) if time_s is None else time_s
    timeline = build_timeline(("one",), (times,), (time_s is not None,))
    return timeline, place_people(
        timeline, tracks, [CAMERA], [Place(CAMERA, None)], [notes or Notes()]
    )


@pytest.mark.parametrize("feet_deg", [80, -100, 150])
@pytest.mark.parametrize("hours", [8.0, 10.5, 12.0])
def test_a_clock_position_is_measured_from_bodies_alone(hours, feet_deg):
    _, place = places(feet_deg, operator=hours)
    assert place.origins == ("automatic",)
    assert abs(hours_apart(place.hours, hours))[0] < 0.6
    assert place.sd_hours[0] < 1.5


def test_a_chair_that_is_turned_turns_the_clock_and_not_the_seat():
    bearings = [bearing_deg(places(feet, operator=10.0)[1].hours)[0] for feet in (60, 90)]
    assert bearings[0] == pytest.approx(bearings[1], abs=20)


def test_an_assistant_tells_where_no_patient_is_seen():
    _, place = places(90, operator=10.0, assistant=3.0, patient=None, notes=Notes(handed="right"))
    assert place.origins == ("assistant",)
    assert abs(hours_apart(place.hours, 10.0))[0] < 1.645 * place.sd_hours[0]


def test_nobody_but_the_operator_tells_nothing():
    _, place = places(90, operator=10.0, patient=None)
    assert place.origins == ("not judged",)
    assert np.isnan(place.hours).all()
    assert np.isnan(place.right_handed).all()


@pytest.mark.parametrize(
    ("beliefs", "handed"),
    [([0.99, 0.2, 0.98], "right"), ([0.02], "left"), ([0.8, 0.9], None), ([np.nan], None)],
)
def test_handedness_is_told_by_the_usual_belief_if_that_is_sure(beliefs, handed):
    made = {"operator": seated_at(10.0, 90), "patient": on_floor(body(SUPINE), HEAD_M, 270)}
    count = len(beliefs)
    tracks = {role: track(role, points, count) for role, points in made.items()}
    tracks["operator"] = replace(tracks["operator"], right_handed=np.array(beliefs))
    timeline = build_timeline(("clip",), (np.arange(count) * 1.0,), (True,))
    place = place_people(timeline, tracks, [CAMERA], [Place(CAMERA, None)], [Notes()])
    assert handed_by(place.right_handed[0]) == handed
    assert clock_of(timeline, [Notes()], place).handed == (handed,)


def test_measured_handedness_gives_the_zone_that_the_notes_leave_open():
    timeline, place = places(90, operator=2.5)
    left = replace(place, hours=np.array([2.5]), right_handed=(0.01,))
    assert clock_of(timeline, [Notes()], left).zones == ("operator",)
    assert clock_of(timeline, [Notes(handed="right")], left).zones == ("assistant",)
    unknown = replace(left, right_handed=(0.6,))
    assert clock_of(timeline, [Notes()], unknown).zones == ("not judged",)


def test_an_assistant_seen_once_in_a_while_is_none():
    times = np.arange(40) * 1.0
    made = {"operator": seated_at(10.0, 90), "patient": on_floor(body(SUPINE), HEAD_M, 270)}
    tracks = {role: track(role, points, 40) for role, points in made.items()}
    passing = track("assistant", seated_at(3.0, 90), 40)
    passing.picture_px[4:] = np.nan
    timeline = build_timeline(("clip",), (times,), (True,))
    args = ([CAMERA], [Place(CAMERA, None)], [Notes()])
    place = place_people(timeline, tracks | {"assistant": passing}, *args)
    assert np.isnan(place.assistant_m).all()
    staying = track("assistant", seated_at(3.0, 90), 40)
    place = place_people(timeline, tracks | {"assistant": staying}, *args)
    assert np.isfinite(place.assistant_m).all()
    assert (place.assistant_sd_m > 0).all()


def test_frames_of_the_same_second_share_a_place_and_others_do_not():
    times = np.arange(10) / 5
    timeline, place = places(90, 10, times, operator=10.0)
    assert len(timeline) == len(place.hours)
    assert np.ptp(place.hours[:5]) == 0


def test_the_middle_of_a_zone_is_that_of_the_printed_hours():
    hands = ("right", "left")
    assert [zone_middle("operator", hand) for hand in hands] == [9.5, 2.5]  # 7-12, 12-5
    assert [zone_middle("assistant", hand) for hand in hands] == [3.0, 9.0]  # 2-4, 8-10


def test_seated_people_tell_the_tilt_only_where_nothing_else_does():
    timeline = build_timeline(("one",), (np.zeros(1),), (False,))
    tracks = {"operator": track("operator", seated_at(10.0, 90))}
    assumed = replace(CAMERA, pitch_deg=0.0, level_origin="assumed", level_sd_deg=6.0)
    levelled = levelled_by_people(timeline, tracks, assumed)
    assert levelled.level_origin == "people"
    assert levelled.level_sd_deg < LEAN_SD_DEG
    # the made camera looks 15 deg down and the made trunk leans by atan(0.03 / 0.48)
    low, high = sorted((USUAL_PITCH_DEG, CAMERA.pitch_deg))
    assert low - 4 < levelled.pitch_deg < high + 4
    assert levelled_by_people(timeline, tracks, CAMERA) is CAMERA
