"""An invented session of 12 minutes: nobody in it exists, no figure was measured."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from ergo.camera.camera import Camera
from ergo.exposure.exposure import (
    Estimate,
    Exposure,
    Group,
    HoldRecord,
    KeyFact,
    LevelShares,
    LimitShares,
    Percentiles,
    Share,
    WorstMoment,
)
from ergo.exposure.limits import limit_set, limit_sets
from ergo.frames.frame import SourceFacts
from ergo.landmarks.names import INDEX, LANDMARKS
from ergo.landmarks.pose_track import PoseTrack
from ergo.notes.notes import Notes
from ergo.posture.angle_names import ANGLES, COLUMN, NAMES
from ergo.posture.posture_track import PostureTrack
from ergo.scores.method_score import Level, MethodScore
from ergo.session.session import Recording, Session, Settings
from ergo.timeline import build_timeline
from ergo.workplace.clock_track import ClockTrack
from ergo.workplace.place_track import MEASURES, PlaceTrack

CLIP = "room two, left shelf.mp4"
RATE_HZ = 5.0
LEVELS = (
    Level("1", (1, 2), "acceptable if not maintained or repeated for long"),
    Level("2", (3, 4), "look into it further"),
    Level("3", (5, 6), "look into it and change soon"),
    Level("4", (7, 7), "look into it and change now"),
)


def angles_over(frames):
    """Slow wandering about a posture per angle; unseen for a while; wrists never seen."""
    chance = np.random.default_rng(7)
    middle = {"neck_flexion_deg": 27, "head_inclination_deg": 36, "trunk_inclination_deg": 12}
    t = np.arange(frames) / RATE_HZ
    value = np.empty((frames, len(NAMES)))
    for column, name in enumerate(NAMES):
        slow = 7 * np.sin(t / 47 + column) + 4 * np.sin(t / 11 + 2 * column)
        value[:, column] = middle.get(name, 14) + slow + chance.normal(0, 0.6, frames)
    elbows = [COLUMN["elbow_flexion_deg_left"], COLUMN["elbow_flexion_deg_right"]]
    value[:, elbows] += 70
    value[:, [i for i, name in enumerate(NAMES) if name.startswith("wrist")]] = np.nan
    value[frames // 3 : frames // 3 + 100] = np.nan
    value[-400:, COLUMN["upper_arm_elevation_deg_right"]] = np.nan
    return value


def standing_person(frames, at=(400.0, 140.0), size=300.0):
    """Landmarks of an upright figure; x, y in px."""
    places = {name: (0.0, 0.0) for name in LANDMARKS}
    for name in LANDMARKS[:11]:
        places[name] = (0.04 * (INDEX[name] % 3 - 1), -0.05 * (INDEX[name] % 2))
    for side, x in (("left", 0.17), ("right", -0.17)):
        places |= {
            f"shoulder_{side}": (x, 0.25),
            f"elbow_{side}": (1.3 * x, 0.55),
            f"wrist_{side}": (0.6 * x, 0.75),
            f"index_{side}": (0.4 * x, 0.80),
            f"hip_{side}": (0.7 * x, 0.90),
            f"knee_{side}": (1.1 * x, 1.20),
        }
    flat = np.array([places[name] for name in LANDMARKS]) * size + np.asarray(at)
    points = np.zeros((frames, 1, len(LANDMARKS), 3))
    points[..., :2] = flat
    return points


def track(role, frames, **place):
    points = standing_person(frames, **place)
    shape = points.shape[:3]
    return PoseTrack(
        role, ("heavy",), points, points / 500, np.ones(shape), np.ones(frames), np.ones(frames)
    )


def score(method, side, frames):
    level = 1 + (np.arange(frames) // 300) % 4
    level[:200] = 0
    probability = np.eye(5)[level][:, 1:] * 0.8 + 0.05
    probability[level == 0] = np.nan
    reading = {"static_after": "1min", "rula_table_a": "version-1", "score_shown": "middle"}
    return MethodScore(
        method, side, reading, {}, level * 2, level, probability, LEVELS, ("wrist_twist",)
    )


def share(of, part, spread=0.06):
    return Share(of, part, max(0.0, part - spread), min(1.0, part + spread))


def limit_shares(limits, value, held, total):
    angle = value[:, COLUMN[limits.angle.name]]
    seen = np.isfinite(angle)
    parts = [held[seen & (angle > b.low) & (angle <= b.high)].sum() / total for b in limits.bands]
    beyond = sum(p for p, b in zip(parts, limits.bands, strict=True) if b.strain == 2)
    return LimitShares(
        limits,
        tuple(share(total, part) for part in parts),
        share(total, beyond),
        share(total, held[~seen].sum() / total, 0),
    )


def hold(name, start, length, mean, **changes):
    angle = ANGLES[COLUMN[name]]
    standard = HoldRecord(
        angle, CLIP, start, length, mean, 4.0, 2, 0.0, True, 0.93, 9, "scaling", 12.0
    )
    return replace(standard, **changes)


def percentiles(value):
    made = []
    for angle, column in zip(ANGLES, value.T, strict=True):
        if np.isfinite(column).any():
            middle = np.nanpercentile(column, [10, 50, 90])
            made.append(Percentiles(angle, *(Estimate(m, m - 4, m + 4) for m in middle)))
    return tuple(made)


def clock_groups(value, held, total):
    hours = clock_hours(len(held))
    groups = []
    for hour in (9, 10, 11, 12):
        own = np.round(hours) == hour
        of = held[own].sum()
        shares = tuple(limit_shares(s, value[own], held[own], of) for s in limit_sets())
        groups.append(Group("clock", str(hour), share(total, of / total), shares, ()))
    return tuple(groups)


def clock_hours(frames):
    return np.repeat([9.0, 10.0, 11.0, 12.0], [frames // 2, frames // 4, frames // 8, frames])[
        :frames
    ]


def _place(hours):
    """Seats half a metre from the patient's head, at the given hours."""
    bearing = np.radians(30 * np.asarray(hours))
    seat = 0.5 * np.stack([np.sin(bearing), np.cos(bearing)], axis=1)
    frames = len(seat)
    return PlaceTrack(
        seat_m=seat,
        seat_sd_m=np.full((frames, 2), 0.1),
        assistant_m=-seat,
        assistant_sd_m=np.full((frames, 2), 0.15),
        hours=np.asarray(hours, dtype=float),
        sd_hours=np.full(frames, 0.5),
        measured={name: np.full(frames, 0.3) for name in MEASURES},
        measured_sd={name: np.full(frames, 0.1) for name in MEASURES},
        knees_under=np.full(frames, 0.8),
        origins=("set-up",),
        is_moved=(False,),
        chair_length_m=(1.8,),
        chair_width_m=(0.5,),
        right_handed=(0.99,),
        level_origins=("set-up",),
    )


@pytest.fixture(scope="session")
def session():
    return invented_session(3600)


def invented_session(frames):
    facts = SourceFacts(
        CLIP, Path("invented") / CLIP, "clip", 800, 600, frames / RATE_HZ, 30.0, None, "0" * 64
    )
    timeline = build_timeline((CLIP,), (np.arange(frames) / RATE_HZ,), (True,))
    value = angles_over(frames)
    found = np.isfinite(value[:, COLUMN["neck_flexion_deg"]])
    operator = track("operator", frames)
    operator.picture_px[~found] = np.nan
    recording = Recording(
        Settings(),
        (facts,),
        timeline,
        np.arange(frames) * 6,
        {"operator": operator, "patient": track("patient", frames, at=(150.0, 420.0), size=120.0)},
        {CLIP: "the file ends in the middle of a picture."},
        {},
        ("leaflet.pdf",),
        {"ergo": "0.1.0", "numpy": "2.3"},
    )
    sd = np.where(np.isfinite(value), 4.0, np.nan)
    clock = ClockTrack(clock_hours(frames), np.full(frames, 0.2), ("operator",) * frames, "notes")
    scores = tuple(score(m, side, frames) for m, side in (("rula", "left"), ("rula", "right")))
    posture = PostureTrack(value, sd, found, np.zeros(frames, bool))
    camera = Camera(800, 600, 700.0, (400.0, 300.0))
    return Session(
        recording, (Notes(),), (camera,), posture, clock, scores, place=_place(clock.hours)
    )


@pytest.fixture(scope="session")
def exposure(session):
    return invented_exposure(session)


def invented_exposure(session):
    value, held = session.posture.value, session.recording.timeline.held
    total = float(held.sum())
    limits = tuple(limit_shares(s, value, held, total) for s in limit_sets())
    neck = next(x for x in limits if x.limits == limit_set("iso11226", "neck_flexion_deg"))
    arm = limit_set("iso11226", "upper_arm_elevation_deg_right").angle
    holds = (
        hold("neck_flexion_deg", 30.0, 94.0, 31.0),
        hold(
            "trunk_inclination_deg",
            200.0,
            41.0,
            24.0,
            strain=1,
            limit_s=222.0,
            is_beyond_line=False,
        ),
        hold("upper_arm_elevation_deg_right", 400.0, 270.0, 33.0, strain=1, limit_s=140.0),
    )
    first = (
        KeyFact(
            "beyond_limit",
            neck.limits.angle,
            "iso11226",
            25.0,
            neck.beyond,
            total - neck.unjudged.amount,
            holds[0],
            9,
            0.7,
            "trunk_upright",
            0.8,
        ),
        KeyFact(
            "long_hold",
            arm,
            "iso11226",
            20.0,
            share(total, 0.4),
            640.0,
            holds[2],
            9,
            0.6,
            None,
            np.nan,
        ),
        KeyFact(
            "too_little_seen",
            None,
            "",
            np.nan,
            share(total, 0.2),
            total,
            None,
            None,
            np.nan,
            None,
            np.nan,
        ),
    )
    level_shares = tuple(
        LevelShares(
            "rula",
            side,
            LEVELS,
            tuple(share(total, p) for p in (0.1, 0.4, 0.3, 0.1)),
            share(total, 0.1, 0),
        )
        for side in ("left", "right")
    )
    worst = tuple(
        WorstMoment(
            CLIP,
            t,
            round(t * RATE_HZ),
            "neck_flexion_deg",
            "iso11226",
            25.0,
            {"neck_flexion_deg": 36.0, "trunk_flexion_deg": 22.0},
            {"neck_flexion_deg": 4.0, "trunk_flexion_deg": 3.0},
        )
        for t in (40.0, 320.0, 610.0)
    )
    return Exposure(
        "second",
        total,
        share(total, float(session.posture.person_found.mean()), 0),
        limits,
        level_shares,
        percentiles(value),
        holds,
        clock_groups(value, held, total),
        (),
        (),
        worst,
        first,
    )


@pytest.fixture(scope="session")
def fetch():
    chance = np.random.default_rng(3)
    picture = chance.integers(0, 255, (600, 800, 3), dtype=np.uint8)
    return lambda source, time_s: picture.copy()
