"""An invented session on the sample clip: landmarks drawn by hand, nothing measured."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from starlette.testclient import TestClient

from ergo import __version__
from ergo.app.analyse import evaluate_session
from ergo.frames.clips import ClipSource
from ergo.landmarks.names import INDEX, LANDMARKS
from ergo.landmarks.pose_track import PoseTrack
from ergo.library.library import open_library
from ergo.notes.notes import Notes
from ergo.session.session import Recording, Settings
from ergo.storage.session_folder import write_session
from ergo.timeline import build_timeline
from ergo.web.app import create_app
from ergo.web.guard import Keys

SAMPLES = Path(__file__).parents[2] / "sample_frames"
HOME = "http://127.0.0.1:8000"
STEP_S = 0.2

PLACES = {  # share of the picture, a figure bent forward, seen from its left
    "nose": (0.62, 0.22),
    "ear": (0.56, 0.20),
    "shoulder": (0.50, 0.36),
    "elbow": (0.56, 0.55),
    "wrist": (0.66, 0.52),
    "index": (0.69, 0.51),
    "hip": (0.44, 0.70),
    "knee": (0.60, 0.75),
    "ankle": (0.60, 0.95),
}


def bent_person(frames, width, height, near=0.0):
    """Landmarks of one bent figure over all frames; ``near`` moves it to the right."""
    points = np.zeros((frames, 1, len(LANDMARKS), 3))
    for name, at in INDEX.items():
        stem = name.removesuffix("_left").removesuffix("_right")
        x, y = PLACES.get(stem, PLACES["nose"] if at < 11 else PLACES["index"])
        if stem in ("heel", "toe"):
            x, y = PLACES["ankle"]
        depth = 0.1 if name.endswith("_right") else -0.1
        points[:, 0, at] = ((x + near) * width, y * height, depth * width)
    sway = 4 * np.sin(np.arange(frames) / 9)
    points[:, 0, : INDEX["mouth_right"] + 1, 1] += sway[:, None]
    return points


def track_of(role, frames, width, height, near=0.0):
    picture = bent_person(frames, width, height, near)
    world = (picture - picture[:, :, [INDEX["hip_left"]]]) / (0.9 * height)
    return PoseTrack(
        role=role,
        looks=("heavy",),
        picture_px=picture,
        world_m=world,
        visibility=np.full((frames, 1, len(LANDMARKS)), 0.95),
        presence=np.full(frames, 0.95),
        identity=np.full(frames, 0.95),
    )


def invented_session(clip, frames):
    """A session of ``frames`` analysed frames that says it was filmed in ``clip``."""
    facts = replace(ClipSource(clip).facts, path=clip.resolve())
    recording = Recording(
        settings=Settings(),
        sources=(facts,),
        timeline=build_timeline((facts.name,), (np.arange(frames) * STEP_S,), (True,)),
        number=np.arange(frames),
        tracks={"operator": track_of("operator", frames, facts.width_px, facts.height_px)},
        damage={},
        doubt={},
        skipped=(),
        versions={"ergo": __version__},
    )
    return evaluate_session(recording, (Notes(handed="right"),))


def folder_of(session, folder):
    folder.mkdir(parents=True)
    write_session(session, folder)
    return folder


@pytest.fixture(scope="session")
def invented():
    return invented_session(SAMPLES / "kf_scaling.mp4", 100)


@pytest.fixture
def clip(tmp_path):
    """A copy of the sample clip, so that notes may be written beside it."""
    copy = tmp_path / "recordings" / "clip.mp4"
    copy.parent.mkdir()
    copy.write_bytes((SAMPLES / "kf_scaling.mp4").read_bytes())
    return copy


@pytest.fixture
def library_folder(tmp_path, invented, clip):
    """A library with one session, whose clip is ours to write beside."""
    facts = replace(invented.recording.sources[0], path=clip)
    session = replace(invented, recording=replace(invented.recording, sources=(facts,)))
    with open_library(tmp_path / "library") as library:
        library.add(folder_of(session, tmp_path / "made"), "First day", tags=("scaling",))
    return tmp_path / "library"


@pytest.fixture
def keys():
    return Keys()


@pytest.fixture
def stranger(library_folder, keys):
    """A client that has not opened the opening address."""
    with TestClient(create_app(library_folder, keys), base_url=HOME) as client:
        yield client


@pytest.fixture
def client(stranger, keys):
    """A client as the browser is after the opening address; posts say where they come from."""
    stranger.get(f"/open?key={keys.secret}")
    stranger.headers["origin"] = HOME
    return stranger


@pytest.fixture
def session_id(client):
    return client.get("/api/sessions").json()[0]["id"]
