import asyncio
import io
import shutil
import threading
import zipfile
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from PIL import Image

from ergo.app.analyse import evaluate_session
from ergo.frames.stills import StillSource
from ergo.notes.notes import Notes
from ergo.session.session import Recording, Settings
from ergo.timeline import build_timeline
from ergo.web.guard import CHUNK_TYPE
from ergo.web.jobs.uploads import MOST_BYTES
from ergo.web.session.picture_process import picture_jpeg
from tests.web.conftest import SAMPLES, folder_of, track_of

STILL = SAMPLES / "stills" / "1_kf_side_left.jpg"


def begin(client, *files):
    wanted = {"files": [{"name": name, "size": size} for name, size in files]}
    return client.post("/api/uploads", json=wanted)


def put(client, upload, content, offset=0, number=0, kind=CHUNK_TYPE):
    headers = {"content-type": kind, "upload-offset": str(offset)}
    return client.patch(f"/api/uploads/{upload}/{number}", content=content, headers=headers)


def done(client, upload, name="new"):
    return client.post(f"/api/uploads/{upload}/done", json={"name": name})


def sent(client, name, content):
    upload = begin(client, (name, len(content))).json()["id"]
    assert put(client, upload, content).status_code == 200
    return upload


def test_an_upload_that_was_cut_off_goes_on_where_it_stopped(client, library_folder):
    content = STILL.read_bytes()
    upload = begin(client, ("a.jpg", len(content))).json()["id"]
    put(client, upload, content[:1000])
    (row,) = client.get(f"/api/uploads/{upload}").json()["files"]
    assert (row["name"], row["offset"], row["size"]) == ("a.jpg", 1000, len(content))
    assert put(client, upload, content[1000:], offset=1000).json()["offset"] == len(content)
    (file,) = (library_folder / "recordings" / upload).glob("*.jpg")
    assert file.read_bytes() == content


def test_a_part_that_does_not_follow_is_refused_and_says_where_to_go_on(client):
    upload = begin(client, ("a.jpg", 100)).json()["id"]
    put(client, upload, b"12345")
    answer = put(client, upload, b"12345", offset=9)
    assert answer.status_code == 409
    assert "5 bytes" in answer.json()["error"]


@pytest.mark.parametrize(
    "name", ["../../evil.jpg", "/etc/evil.mp4", "..\\evil.jpg", "a\x00.jpg", "CON.jpg", "é 中.jpg"]
)
def test_the_name_of_a_file_is_never_a_path(client, library_folder, name):
    before = set(library_folder.parent.rglob("*evil*"))
    upload = sent(client, name, b"no picture")
    lying = {path.name for path in (library_folder / "recordings" / upload).iterdir()}
    assert lying <= {"upload.json", "001.jpg", "001.mp4"}
    assert set(library_folder.parent.rglob("*evil*")) == before


def test_two_gigabytes_are_refused_before_anything_is_sent(client, library_folder):
    assert begin(client, ("a.mp4", MOST_BYTES + 1)).status_code == 413
    assert begin(client, ("a.mp4", MOST_BYTES), ("b.mp4", 1)).status_code == 413
    assert not (library_folder / "recordings").exists()


def test_more_than_was_said_is_refused(client):
    upload = begin(client, ("a.jpg", 10)).json()["id"]
    assert put(client, upload, b"x" * 11).status_code == 413


def test_a_full_disk_is_told_before_anything_is_sent(client, monkeypatch):
    usage = shutil.disk_usage("/")._replace(free=1000)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage)
    assert begin(client, ("a.jpg", 10)).status_code == 507


@pytest.mark.parametrize("name", ["a.zip", "a.exe", "a", "a.jpg.sh", ".mp4"])
def test_what_is_neither_clip_nor_still_is_refused(client, name):
    assert begin(client, (name, 10)).status_code == 415


@pytest.mark.parametrize(
    "files", [[], [{"name": "a.jpg", "size": 0}], [{"name": "a.jpg"}], [{"name": "", "size": 1}]]
)
def test_senseless_uploads_are_refused(client, files):
    assert client.post("/api/uploads", json={"files": files}).status_code == 422


@pytest.mark.parametrize("upload", ["0" * 32, "x", "..", "%2e%2e"])
def test_an_upload_that_never_began_is_not_found(client, upload):
    assert client.get(f"/api/uploads/{upload}").status_code == 404
    assert put(client, upload, b"x").status_code in (404, 405)


def test_an_unfinished_upload_is_not_analysed(client):
    upload = begin(client, ("a.jpg", 10)).json()["id"]
    assert done(client, upload).status_code == 409


def empty_zip():
    kept = io.BytesIO()
    with zipfile.ZipFile(kept, "w"):
        pass
    return kept.getvalue()


def picture(width, height, kind):
    kept = io.BytesIO()
    Image.fromarray(np.zeros((height, width), np.uint8)).save(kept, kind)
    return kept.getvalue()


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("nothing.jpg", empty_zip()),
        ("nothing.mp4", empty_zip()),
        ("large.png", picture(8000, 5000, "PNG")),
        ("huge.jpg", picture(9000, 7000, "JPEG")),
        ("cut.jpg", b"\xff\xd8\xff\xe0" + bytes(50)),
    ],
)
def test_what_cannot_be_analysed_is_refused_in_one_line_and_removed(
    client, library_folder, name, content
):
    upload = sent(client, name, content)
    answer = done(client, upload)
    assert answer.status_code == 422
    assert answer.json()["error"].startswith(name)
    assert not (library_folder / "recordings" / upload).exists()
    assert client.get("/api/jobs").json() == []


def test_an_upload_is_done_once_however_often_that_is_said(client, library_folder):
    upload = sent(client, "a.jpg", STILL.read_bytes())
    first = done(client, upload)
    second = done(client, upload, "once more")
    client.post(f"/api/jobs/{first.json()['job']}/cancel")
    assert (first.status_code, second.status_code) == (201, 201)
    assert first.json() == second.json()
    assert len(client.get("/api/jobs").json()) == 1
    assert put(client, upload, b"x", offset=STILL.stat().st_size).status_code == 409


def test_done_said_again_never_removes_what_an_analysis_owns(client, library_folder, monkeypatch):
    upload = sent(client, "a.jpg", STILL.read_bytes())
    done(client, upload)
    client.get("/api/jobs")

    async def refused(path):
        return "is damaged."

    monkeypatch.setattr(client.app.state.app_state.pictures, "refusal_of", refused)
    done(client, upload)
    assert (library_folder / "recordings" / upload / "001.jpg").read_bytes() == STILL.read_bytes()


def test_done_said_twice_at_once_is_looked_at_once(client, library_folder, monkeypatch):
    upload = sent(client, "a.jpg", STILL.read_bytes())
    looking, may_go_on = threading.Event(), threading.Event()

    async def slow(path):
        looking.set()
        await asyncio.to_thread(may_go_on.wait, 60)

    monkeypatch.setattr(client.app.state.app_state.pictures, "refusal_of", slow)
    with ThreadPoolExecutor() as threads:
        first = threads.submit(done, client, upload)
        assert looking.wait(60)
        second = done(client, upload)
        may_go_on.set()
    client.post(f"/api/jobs/{first.result().json()['job']}/cancel")
    assert (first.result().status_code, second.status_code) == (201, 409)
    assert len(client.get("/api/jobs").json()) == 1


def test_a_job_without_a_session_takes_its_recording_along(client, library_folder):
    upload = sent(client, "a.jpg", STILL.read_bytes())
    job = done(client, upload).json()["job"]
    client.post(f"/api/jobs/{job}/cancel")
    assert (library_folder / "recordings" / upload).is_dir()
    client.delete(f"/api/jobs/{job}")
    assert not (library_folder / "recordings" / upload).exists()


def test_a_phone_s_picture_of_50_million_pixels_is_taken(client):
    upload = sent(client, "phone.jpg", picture(8192, 6144, "JPEG"))
    answer = done(client, upload)
    client.post(f"/api/jobs/{answer.json()['job']}/cancel")
    assert answer.status_code == 201


def test_a_part_without_its_place_or_kind_is_refused(client):
    upload = begin(client, ("a.jpg", 10)).json()["id"]
    assert put(client, upload, b"x", offset="-1").status_code == 400
    assert put(client, upload, b"x", kind="text/plain").status_code == 415
    assert put(client, upload, b"x", number=1).status_code == 404


def test_a_large_picture_is_shown_as_a_small_one_is_with_everybody_blurred_at_their_place(tmp_path):
    shown = {}
    for times in (1, 4):
        folder = tmp_path / str(times)
        folder.mkdir()
        small = Image.open(STILL)
        large = small.resize((small.width * times, small.height * times), Image.Resampling.BICUBIC)
        large.save(folder / "a.jpg", quality=95)
        facts = StillSource(folder / "a.jpg").facts
        recording = Recording(
            settings=Settings(),
            sources=(facts,),
            timeline=build_timeline(("a.jpg",), (np.zeros(1),), (False,)),
            number=np.zeros(1, dtype=np.int64),
            tracks={"operator": track_of("operator", 1, facts.width_px, facts.height_px)},
            damage={},
            doubt={},
            skipped=(),
            versions={},
        )
        made = folder_of(evaluate_session(recording, (Notes(),)), folder / "made")
        jpeg = picture_jpeg(str(made), times, 0, 640, blur_operator=True)
        shown[times] = np.asarray(Image.open(io.BytesIO(jpeg)).convert("RGB"), np.float64)
    assert shown[1].shape == shown[4].shape == (480, 640, 3)
    assert np.abs(shown[1] - shown[4]).mean() < 3
    assert np.percentile(np.abs(shown[1] - shown[4]), 99) < 25
