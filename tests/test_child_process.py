"""A child is bounded, ends with its parent, and its end is told as what it was."""

import asyncio
import os
import signal
import subprocess
import sys
import time

import pytest

from ergo.child_process import STOPPED, Task, async_child, child
from ergo.errors import EndedBySystem, UnreadablePicture

TASK = Task("Counting", "Count less.")
PATIENCE_S = 60

HEAD = """
import os, signal, sys, time
from ergo.child_process import Limits, run_child
from ergo.errors import UnreadablePicture

def busy(seconds):
    until = time.process_time() + seconds
    while time.process_time() < until:
        pass

def work(talk):
"""
TAIL = """
sys.exit(run_child(work, Limits(cpu_s=1, memory_bytes=600_000_000)))
"""


@pytest.fixture
def written(tmp_path, monkeypatch):
    """Write a child's work; return what it says to one message."""
    monkeypatch.syspath_prepend(tmp_path)

    def heard(*lines, message=None):
        body = "".join(f"    {line}\n" for line in lines)
        (tmp_path / "counting_child.py").write_text(HEAD + body + TAIL)
        with child("counting_child", task=TASK) as process:
            process.tell(message)
            return list(process.heard())

    return heard


def test_a_child_hears_says_and_prints_past_its_listener(written, capfd):
    said = written(
        "heard = talk.hear()",
        "os.write(1, b'noise')",
        "talk.say({'twice': 2 * heard})",
        "talk.say({'last': True})",
        message=21,
    )
    assert said == [{"twice": 42}, {"last": True}]
    assert capfd.readouterr().err == "noise"


def test_what_a_child_refuses_is_refused_in_the_same_words(written):
    with pytest.raises(UnreadablePicture) as told:
        written("raise UnreadablePicture('is cut off.', where='a.jpg:', remedy='Copy it.')")
    assert (told.value.what, told.value.where, told.value.remedy) == (
        "is cut off.",
        "a.jpg:",
        "Copy it.",
    )


@pytest.mark.parametrize(
    ("line", "what"),
    [
        ("os.kill(os.getpid(), signal.SIGKILL)", "most often because memory ran out"),
        ("os.kill(os.getpid(), signal.SIGSEGV)", r"ended by the system \(SIGSEGV\)"),
        ("bytearray(2_000_000_000)", "lacked memory"),
        ("raise RuntimeError('std::bad_alloc')", "lacked memory"),
        ("busy(60)", "too much processor time"),
    ],
)
def test_a_child_that_the_system_ended_is_no_mistake_of_ours(written, line, what):
    with pytest.raises(EndedBySystem, match=f"^Counting .*{what}.* Count less\\.$"):
        written(line)


def test_a_mistake_of_ours_stays_one(written, capfd):
    with pytest.raises(RuntimeError, match="Counting ended with 1"):
        written("raise KeyError('ours')")
    assert "KeyError: 'ours'" in capfd.readouterr().err


def test_processor_time_is_counted_anew_when_a_child_gets_on(written):
    said = written(*["busy(0.8)", "talk.got_on()"] * 4, "talk.say({'done': True})")
    assert said == [{"done": True}]


def test_a_child_gets_no_new_privileges_and_leaves_no_picture_of_its_memory(written):
    (said,) = written(
        "import resource",
        "status = dict(line.split(':') for line in open('/proc/self/status') if 'Priv' in line)",
        "core = resource.getrlimit(resource.RLIMIT_CORE)[0]",
        "talk.say({'core': core, **{key: int(value) for key, value in status.items()}})",
    )
    assert said == {"core": 0, "NoNewPrivs": 1}


PARENT = """
import sys
from ergo.child_process import Task, child
with child("counting_child", task=Task("Counting", "")) as process:
    for said in process.heard():
        print(said["pid"], flush=True)
"""


def test_a_child_ends_with_its_parent_however_that_one_ends(tmp_path):
    waiting = "    talk.say({'pid': os.getpid()})\n    time.sleep(600)\n"
    (tmp_path / "counting_child.py").write_text(HEAD + waiting + TAIL)
    environment = os.environ | {"PYTHONPATH": os.pathsep.join([str(tmp_path), *sys.path])}
    with subprocess.Popen(
        [sys.executable, "-c", PARENT], env=environment, stdout=subprocess.PIPE
    ) as parent:
        pid = int(parent.stdout.readline())
        parent.send_signal(signal.SIGKILL)
    until = time.monotonic() + PATIENCE_S
    while is_there(pid) and time.monotonic() < until:
        time.sleep(0.05)
    assert not is_there(pid)


def is_there(pid):
    try:
        with open(f"/proc/{pid}/stat") as stat:
            return stat.read().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


@pytest.mark.parametrize("module", ["ergo.app.watching_process", "ergo.report.pdf"])
def test_our_children_end_when_nobody_tells_them_anything(module):
    done = subprocess.run(
        [sys.executable, "-m", module], stdin=subprocess.DEVNULL, capture_output=True, check=False
    )
    assert (done.returncode, done.stdout) == (STOPPED, b"")


def test_where_nobody_may_wait_it_is_the_same(tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(tmp_path)
    body = "    talk.say({'twice': 2 * talk.hear()})\n    os.kill(os.getpid(), signal.SIGKILL)\n"
    (tmp_path / "counting_child.py").write_text(HEAD + body + TAIL)
    heard = []

    async def ask():
        async with async_child("counting_child", task=TASK) as process:
            await process.tell(4)
            async for said in process.heard():
                heard.append(said)

    with pytest.raises(EndedBySystem, match="memory ran out"):
        asyncio.run(ask())
    assert heard == [{"twice": 8}]
