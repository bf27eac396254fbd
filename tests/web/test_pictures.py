"""A picture that takes the decoding process down is lost alone."""

import asyncio

import pytest

from ergo.web.session import pictures
from ergo.web.session.pictures import PictureLost, Pictures, PictureSlow
from tests.web.conftest import SAMPLES
from tests.web.test_uploads import STILL, done, sent

WORKER = """
import os, signal, sys, time
from pathlib import Path
from ergo.child_process import run_child
from ergo.web.session import picture_process
from ergo.web.session.picture_process import LIMITS, WORK, refusal_of

def looked_at(path):
    content = Path(path).read_bytes()
    with open(Path(__file__).with_name("looked"), "a") as looked:
        looked.write(content[:5].decode("latin-1"))
    if content.startswith(b"crash") or content.startswith(b"crack") and first_time():
        os.kill(os.getpid(), signal.SIGSEGV)
    if content.startswith(b"hangs"):
        time.sleep(600)
    return refusal_of(path)

def first_time():
    looked = Path(__file__).with_name("looked").read_text()
    return looked.count("crack") == 1

picture_process.WORK = {**WORK, "refusal_of": looked_at}
sys.exit(run_child(picture_process.serve, LIMITS))
"""


@pytest.fixture
def crashing(tmp_path, monkeypatch):
    """The decoding process dies over files that begin with ``crash``, once with ``crack``."""
    (tmp_path / "crashing_worker.py").write_text(WORKER)
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.setattr(pictures, "_WORKER", "crashing_worker")
    return tmp_path


def refusals(folder, *contents):
    """What is said of files that are looked at all at once."""
    paths = [folder / f"{at}.jpg" for at in range(len(contents))]
    for path, content in zip(paths, contents, strict=True):
        path.write_bytes(content)

    async def ask():
        served = Pictures()
        try:
            asked = [served.refusal_of(path) for path in paths]
            return await asyncio.gather(*asked, return_exceptions=True)
        finally:
            await served.close()

    return asyncio.run(ask())


def test_a_picture_that_crashes_the_decoder_is_the_only_one_that_is_damaged(crashing):
    good = STILL.read_bytes()
    first, lost, second, third = refusals(crashing, good, b"crash", good, good)
    assert (first, second, third) == (None, None, None)
    assert "made the decoder fail" in lost


def test_a_decoder_that_the_system_ended_once_is_started_again(crashing):
    said, other = refusals(crashing, b"crack" + bytes(50), STILL.read_bytes())
    assert "cannot be decoded" in said
    assert other is None


def test_a_picture_that_never_comes_tells_nothing_about_its_file(crashing, monkeypatch):
    monkeypatch.setattr(pictures, "PATIENCE_S", 15.0)
    slow, other = refusals(crashing, b"hangs", STILL.read_bytes())
    assert isinstance(slow, PictureSlow)
    assert other is None


def test_who_gives_up_waiting_spoils_nobody_else_s_answer(crashing):
    async def ask():
        served = Pictures()
        await served.warm_up()
        first = asyncio.create_task(served.refusal_of(SAMPLES / "README.md"))
        await asyncio.sleep(0)
        first.cancel()
        try:
            return await served.refusal_of(STILL)
        finally:
            await served.close()

    assert asyncio.run(ask()) is None


def test_an_upload_that_could_not_be_looked_at_in_time_is_kept(client, library_folder, monkeypatch):
    upload = sent(client, "a.jpg", STILL.read_bytes())

    async def slow(path):
        raise PictureSlow

    monkeypatch.setattr(client.app.state.app_state.pictures, "refusal_of", slow)
    assert done(client, upload).status_code == 503
    assert (library_folder / "recordings" / upload / "001.jpg").exists()
    monkeypatch.undo()
    answer = done(client, upload)
    client.post(f"/api/jobs/{answer.json()['job']}/cancel")
    assert answer.status_code == 201


def test_a_lost_picture_is_told_as_one(client, session_id, monkeypatch):
    async def lost(*_, **__):
        raise PictureLost

    monkeypatch.setattr(client.app.state.app_state.pictures, "jpeg", lost)
    answer = client.get(f"/api/sessions/{session_id}/pictures/0")
    assert (answer.status_code, answer.json()["error"]) == (422, "This picture cannot be decoded.")
