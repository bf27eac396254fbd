"""What is stopped at random moments, repeated, and compared with what nobody stopped.

Each act runs in a process of its own (a fork of this one) that is killed, not asked to end.
Afterwards what lies on the disk must be the state before or after the act and nothing
between; and when the user repeats the act, the result of a run that nobody stopped.
"""

import hashlib
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import time
import traceback
import warnings
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ergo.app.workflow import analyse_session, load_session
from ergo.errors import ErgoError
from ergo.library.library import open_library
from ergo.session.session import Settings
from ergo.web.session.corrections import Correction, correct
from ergo.web.session.session_cache import OpenSessions
from tests.hostile.material import NAME, SAMPLE, Material

FIRST_LIBRARY = Path(__file__).parents[1] / "storage" / "first_library"
STILL = SAMPLE / "stills" / "1_kf_side_left.jpg"
ADDED = "Added"
LONGEST_S = 300
_UNFINISHED = (".unfinished",)
_NOT_COMPARED = ("library.sqlite-wal", "library.sqlite-shm", "library.lock", "library.id")
State = Any


@dataclass(frozen=True)
class Act:
    """One thing that may be stopped.

    Attributes
    ----------
    prepare
        Makes what is there before, in an empty folder.
    do
        The act; repeated after a kill as a user would.
    state
        What is compared: all that a user could see of the result.
    """

    prepare: Callable[[Path], None]
    do: Callable[[Path], None]
    state: Callable[[Path], State]


def acts(material: Material) -> dict[str, Act]:
    """Return every act by name."""

    def library(folder: Path) -> None:
        shutil.copytree(material.library_folder, folder / "library")

    def first(folder: Path) -> None:
        shutil.copytree(FIRST_LIBRARY, folder / "library")

    return {
        "addition": Act(library, lambda at: _add(at, material), _library_state),
        "correction": Act(library, _correct, _library_state),
        "deletion": Act(library, _delete, _library_state),
        "export": Act(library, _export, _exported_state),
        "migration": Act(first, lambda at: open_library(at / "library").__exit__(), _library_state),
        "analysis": Act(lambda _: None, _analyse, _analysed_state),
    }


def _add(folder: Path, material: Material) -> None:
    with open_library(folder / "library") as library:
        if ADDED not in {entry.name for entry in library.entries()}:
            library.add(material.session_folder, ADDED, tags=("new",), operator="RO")


def _correct(folder: Path) -> None:
    with open_library(folder / "library") as library:
        (entry,) = library.entries()
        correction = Correction(source=0, key="handed", set="left")
        correct(OpenSessions(library), entry.id, correction, lambda *_: None)


def _delete(folder: Path) -> None:
    with open_library(folder / "library") as library:
        if library.entries():
            library.delete(NAME)


def _export(folder: Path) -> None:
    with open_library(folder / "library") as library:
        library.export(NAME, folder / "pack.zip")


def _analyse(folder: Path) -> None:
    out = folder / "out"
    if not out.exists():  # else the user sees that it is done
        analyse_session([STILL], out, Settings(effort="fast"))


def _library_state(folder: Path) -> State:
    """Return sessions, what is known of them, and every other file of the library."""
    place = folder / "library"
    with open_library(place) as library:
        entries = library.entries()
        for entry in entries:
            OpenSessions(library).get(entry.id)  # takes back what was only begun, as the page does
        known = [
            (entry.name, entry.tags, entry.operator, str(entry.recorded_on), _files(entry.folder))
            for entry in entries
        ]
        profiles = [profile.pseudonym for profile in library.profiles()]
    own = {entry.id for entry in entries}
    others = sorted(
        str(path.relative_to(place))
        for path in place.rglob("*")
        if path.is_file()
        and not own & set(path.parts)
        and path.name not in _NOT_COMPARED
        and not path.name.endswith(_UNFINISHED)
    )
    for entry in entries:
        load_session(entry.folder)
    return known, profiles, others


def _files(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): _digest(path)
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not any(part.endswith(_UNFINISHED) for part in path.parts)
    }


def _digest(path: Path) -> str:
    """Return a file's hash; times of day in a history are left out, they never are the same."""
    content = path.read_bytes()
    if path.suffix == ".jsonl":
        steps = [json.loads(line) for line in content.decode().splitlines()]
        content = json.dumps([{**step, "at": ""} for step in steps]).encode()
    return hashlib.sha256(content).hexdigest()


def _exported_state(folder: Path) -> State:
    packed = None
    if (folder / "pack.zip").exists():
        with zipfile.ZipFile(folder / "pack.zip") as archive:
            assert archive.testzip() is None
            packed = {name: hashlib.sha256(archive.read(name)).hexdigest()
                      for name in sorted(archive.namelist())}  # fmt: skip
    return packed, _library_state(folder)


def _analysed_state(folder: Path) -> State:
    out = folder / "out"
    if not out.exists():
        return None
    load_session(out)
    told = ("frames.csv", "episodes.csv", "summary.json", "session.json", "landmarks.parquet")
    return {name: _digest(out / name) for name in told}, sorted(
        str(path.relative_to(out)) for path in out.rglob("*")
    )


def stopped(name: str, act: Act, count: int, folder: Path, seed: int = 0) -> list[str]:
    """Stop an act at so many moments; return what was wrong, one line each."""
    rng = random.Random(f"{name} {seed}")
    whole = folder / "whole"
    whole.mkdir()
    act.prepare(whole)
    before = act.state(whole)
    begun = time.monotonic()
    _in_a_fork(act.do, whole)
    longest_s = time.monotonic() - begun
    after = act.state(whole)
    assert before != after or name == "migration", "the act changes nothing"
    wrong = []
    for turn in range(count):
        place = folder / f"turn{turn}"
        place.mkdir()
        act.prepare(place)
        try:
            _in_a_fork(act.do, place, rng.uniform(0, 1.1 * longest_s))
            between = act.state(place)
            if between not in (before, after):
                wrong.append(f"{name} {turn}: neither as before nor as after")
            _in_a_fork(act.do, place)
            if act.state(place) != after:
                wrong.append(f"{name} {turn}: repeated, it is not as if nobody had stopped it")
        except (ErgoError, RuntimeError, AssertionError) as error:
            wrong.append(f"{name} {turn}: {error}")
        shutil.rmtree(place, ignore_errors=True)
    return wrong


def _in_a_fork(do: Callable[[Path], None], folder: Path, kill_after_s: float | None = None) -> None:
    """Run an act in a fork; kill it after so long, else wait until it has ended well."""
    sys.stdout.flush()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # threads of libraries are idle here
        child = os.fork()
    if child == 0:
        code = 1
        try:
            do(folder)
            code = 0
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(code)
    if kill_after_s is not None:
        time.sleep(kill_after_s)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        return
    end = time.monotonic() + LONGEST_S
    while time.monotonic() < end:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            if status:
                raise RuntimeError(f"the act failed ({status})")
            return
        time.sleep(0.005)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    raise RuntimeError(f"the act did not end in {LONGEST_S} s")


def main(count: int, only: str | None = None) -> int:
    """Stop every act so many times, print what came of it, return the exit code."""
    failed = 0
    with tempfile.TemporaryDirectory(prefix="ergo-kills-") as folder:
        (Path(folder) / "material").mkdir()
        material = Material(Path(folder) / "material")
        for name, act in acts(material).items():
            if only not in (None, name):
                continue
            place = Path(folder) / name
            place.mkdir()
            begun = time.monotonic()
            wrong = stopped(name, act, count, place)
            failed += len(wrong)
            took = f"{time.monotonic() - begun:>8.0f} s"
            print(f"{name:<12}{count:>6} stopped{len(wrong):>6} failed{took}", flush=True)
            for line in wrong:
                print(f"  {line}", flush=True)
            shutil.rmtree(place, ignore_errors=True)
    return 1 if failed else 0
