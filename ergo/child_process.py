"""A process of our own: started, bounded and ended in one way, and asked how it ended.

A child is one of our modules, ``python -P -m MODULE ARGUMENT...``, that calls
:func:`run_child`. It hears pickled objects on its standard input, from a process that
it trusts. It says one JSON object a line on its standard output: whoever listens need
not trust a process that decodes foreign pictures. It ends when its standard input does,
that is with its parent, however that one ends.
"""

import asyncio
import ctypes
import json
import math
import os
import pickle
import queue
import signal
import struct
import subprocess
import sys
import threading
from collections.abc import AsyncIterator, Callable, Coroutine, Iterator, Mapping, Sequence
from contextlib import asynccontextmanager, contextmanager, suppress
from dataclasses import dataclass
from types import ModuleType
from typing import IO, Any, TypeVar

from ergo import errors
from ergo.errors import EndedBySystem, ErgoError

STOPPED = 130
"""Exit code of a child whose parent has gone."""
MEMORY_BYTES = 2_500_000_000 + 32_000_000 * (os.cpu_count() or 1)
"""What a child may ask of the system; twice what it holds in the end, threads apart (ours)."""
LONGEST_LINE_BYTES = 64 * 1024 * 1024
_HEAD = struct.Struct(">Q")  # length of a message to the child
_NO_NEW_PRIVILEGES = 38  # prctl.h of Linux
_WINDOWS_CRASH = 0xC0000000  # exit codes from here on are the system's (NTSTATUS, from memory)
_OPENCV_NO_MEMORY = -4  # cv::Error::StsNoMem
_APART: int = getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)  # on Windows, for Ctrl-C

Line = Mapping[str, Any]
Answer = TypeVar("Answer")

resource: ModuleType | None
try:
    import resource
except ImportError:  # Windows
    resource = None


@dataclass(frozen=True, slots=True)
class Limits:
    """What a child may take, where the system offers such limits (Linux; elsewhere in part).

    Attributes
    ----------
    cpu_s : float or None
        Processor time until it says that it has got on (:meth:`Talk.got_on`). [s]
    memory_bytes : int
        Memory that it may ask for. [byte]
    """

    cpu_s: float | None = None
    memory_bytes: int = MEMORY_BYTES


@dataclass(frozen=True, slots=True)
class Task:
    """What a child is for, in the words of how it ended.

    Attributes
    ----------
    name : str
        The beginning of the sentence.
    remedy : str
        What to do if the system ended it.
    """

    name: str
    remedy: str


class Talk:
    """The child's end: what it hears and what it says."""

    def __init__(self, listener: IO[str], limits: Limits) -> None:
        self._listener = listener
        self._limits = limits
        self._heard: queue.SimpleQueue[Any] = queue.SimpleQueue()
        threading.Thread(target=self._listen, daemon=True).start()

    def hear(self) -> Any:
        """Return what the parent tells next; waits for it."""
        return self._heard.get()

    def say(self, line: Line) -> None:
        """Say one object to the parent."""
        self._listener.write(json.dumps(line) + "\n")
        self._listener.flush()

    def got_on(self) -> None:
        """Begin to count processor time anew."""
        _bound_cpu(self._limits.cpu_s)

    def _listen(self) -> None:
        # not through a buffer: its lock would outlive the work
        while head := _read_exactly(_HEAD.size):
            self._heard.put(pickle.loads(_read_exactly(*_HEAD.unpack(head))))
        os._exit(STOPPED)


def run_child(work: Callable[[Talk], None], limits: Limits) -> int:
    """Do a child's work within limits and return its exit code.

    What it raises of our errors is raised again in the parent. Whatever else is
    printed meanwhile goes to standard error.
    """
    with os.fdopen(os.dup(1), "w", encoding="utf-8") as listener:
        os.dup2(2, 1)
        bound(limits)
        talk = Talk(listener, limits)
        try:
            work(talk)
        except ErgoError as error:
            return _tell_error(talk, error)
        except Exception as error:
            if _is_lack_of_memory(error):
                return _tell_error(talk, EndedBySystem(_LACK_OF_MEMORY))
            raise
    return 0


def bound(limits: Limits) -> None:
    """Bound this process: memory, processor time, no new privileges, no picture of its memory."""
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(_NO_NEW_PRIVILEGES, 1, 0, 0, 0)
    if resource is not None:
        _lower(resource.RLIMIT_CORE, 0)  # it would hold pictures of patients
        _lower(resource.RLIMIT_DATA, limits.memory_bytes)
    _bound_cpu(limits.cpu_s)


class Child:
    """The parent's end of a child."""

    def __init__(self, process: "subprocess.Popen[bytes]", task: Task) -> None:
        self._process = process
        self._task = task

    def tell(self, message: object) -> None:
        """Tell the child something; one that has ended is found out by :meth:`heard`."""
        assert self._process.stdin is not None
        with suppress(BrokenPipeError):
            self._process.stdin.write(_packed(message))
            self._process.stdin.flush()

    def heard(self) -> Iterator[Line]:
        """Yield what the child says until it ends.

        Raises
        ------
        EndedBySystem
            If the system ended it, or it lacked memory.
        ErgoError
            Whatever of our errors the child raised.
        RuntimeError
            If it ended by a mistake of ours.
        """
        assert self._process.stdout is not None
        for line in self._process.stdout:
            yield _said(line, self._task)
        _check_ended(self._process.wait(), self._task)

    def kill(self) -> None:
        """End the child at once."""
        self._process.kill()


class AsyncChild:
    """The parent's end of a child where nobody may wait; as :class:`Child`."""

    def __init__(self, process: asyncio.subprocess.Process, task: Task) -> None:
        self._process = process
        self._task = task

    async def tell(self, message: object) -> None:
        """Tell the child something; one that has ended is found out by :meth:`heard`."""
        assert self._process.stdin is not None
        with suppress(BrokenPipeError, ConnectionResetError):
            self._process.stdin.write(_packed(message))
            await self._process.stdin.drain()

    async def heard(self) -> AsyncIterator[Line]:
        """Yield what the child says until it ends; raises as :meth:`Child.heard` does."""
        assert self._process.stdout is not None
        async for line in self._process.stdout:
            yield _said(line, self._task)
        _check_ended(await self._process.wait(), self._task)

    def kill(self) -> None:
        """End the child at once."""
        with suppress(ProcessLookupError):
            self._process.kill()

    async def ended(self) -> None:
        """End the child and wait until nothing is left of it."""
        self.kill()
        await to_its_end(self._process.communicate(b""))  # closes its pipes too


@contextmanager
def child(module: str, *arguments: str, task: Task) -> Iterator[Child]:
    """Start a child that ends with the block at the latest; ``python -m MODULE ARGUMENT...``."""
    process = subprocess.Popen(
        _command(module, arguments),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env=_environment(),
        start_new_session=True,  # Ctrl-C is for us
        creationflags=_APART,
    )
    try:
        yield Child(process, task)
    finally:
        process.kill()
        with suppress(BrokenPipeError), process:  # closes the pipes and waits
            pass


async def started_child(module: str, *arguments: str, task: Task) -> AsyncChild:
    """Start a child that ends with this process at the latest; what it complains is not shown."""
    process = await asyncio.create_subprocess_exec(
        *_command(module, arguments),
        stdin=asyncio.subprocess.PIPE,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.DEVNULL,
        limit=LONGEST_LINE_BYTES,
        env=_environment(),
        start_new_session=True,
        creationflags=_APART,
    )
    return AsyncChild(process, task)


@asynccontextmanager
async def async_child(module: str, *arguments: str, task: Task) -> AsyncIterator[AsyncChild]:
    """Start a child as :func:`child` does, where nobody may wait."""
    started = await started_child(module, *arguments, task=task)
    try:
        yield started
    finally:
        await started.ended()


async def to_its_end(work: Coroutine[Any, Any, Answer]) -> Answer:
    """Do what must not be left half-done; who is cancelled meanwhile is so when it is done."""
    doing, cancelled = asyncio.ensure_future(work), None
    while not doing.done():
        try:
            await asyncio.wait({doing})
        except asyncio.CancelledError as error:
            cancelled = error
    if cancelled is not None:
        raise cancelled
    return doing.result()


def _command(module: str, arguments: Sequence[str]) -> list[str]:
    return [sys.executable, "-P", "-m", module, *arguments]


def _environment() -> dict[str, str]:
    """Return an environment in which Python finds what it finds here."""
    return {
        "OPENBLAS_NUM_THREADS": "1",  # our threads are busy with pictures
        **os.environ,
        "PYTHONPATH": os.pathsep.join(sys.path),
    }


def _packed(message: object) -> bytes:
    packed = pickle.dumps(message)
    return _HEAD.pack(len(packed)) + packed


def _said(line: bytes, task: Task) -> Line:
    """Return what a child said; raises the error that it told."""
    said: Line = json.loads(line)
    if "error" not in said:
        return said
    told = said["error"]
    kind: type[ErgoError] = getattr(errors, told["kind"])
    if kind is EndedBySystem and not told["where"]:
        raise _ended(told["what"], task)
    raise kind(told["what"], where=told["where"], remedy=told["remedy"])


def _check_ended(exit_code: int, task: Task) -> None:
    """Raise if a child did not end by itself and well."""
    if exit_code < 0:
        raise _ended(_ENDINGS.get(-exit_code, _crash(-exit_code)), task)
    if exit_code >= _WINDOWS_CRASH:
        raise _ended(f"was ended by the system (0x{exit_code:X}).", task)
    if exit_code:
        raise RuntimeError(f"{task.name} ended with {exit_code}")


_ENDINGS = {
    int(signal.SIGTERM): "was ended from outside.",
    9: "was ended by the system, most often because memory ran out.",
    24: "was ended by the system: it took too much processor time without getting on.",
}
"""By the number of the signal; what Windows lacks by its number on Linux."""
_LACK_OF_MEMORY = "lacked memory."


def _crash(number: int) -> str:
    try:
        name = signal.Signals(number).name
    except ValueError:
        name = str(number)
    return f"was ended by the system ({name})."


def _ended(what: str, task: Task) -> EndedBySystem:
    return EndedBySystem(what, where=task.name, remedy=task.remedy)


def _tell_error(talk: Talk, error: ErgoError) -> int:
    told = {"what": error.what, "where": error.where, "remedy": error.remedy}
    talk.say({"error": {"kind": type(error).__name__, **told}})
    return error.exit_code


def _is_lack_of_memory(error: BaseException) -> bool:
    """Return whether an error, or what it follows from, is that of a system out of memory."""
    # OpenVINO and OpenCV tell it in the words of the C++ library and by a code of their own
    is_one = isinstance(error, MemoryError) or "bad_alloc" in str(error)
    is_one = is_one or getattr(error, "code", None) == _OPENCV_NO_MEMORY
    return is_one or (error.__cause__ is not None and _is_lack_of_memory(error.__cause__))


def _bound_cpu(cpu_s: float | None) -> None:
    """Let this process take this much more processor time. [s]."""
    if resource is not None and cpu_s is not None:
        used = resource.getrusage(resource.RUSAGE_SELF)
        _lower(resource.RLIMIT_CPU, math.ceil(used.ru_utime + used.ru_stime + cpu_s))


def _lower(kind: int, wanted: int) -> None:
    """Set a limit of this process, as far as it may."""
    assert resource is not None
    _, most = resource.getrlimit(kind)
    with suppress(OSError, ValueError):  # systems differ in what they offer
        resource.setrlimit(kind, (wanted if most < 0 else min(wanted, most), most))


def _read_exactly(wanted: int) -> bytes:
    """Return as many bytes of standard input, fewer where it ends."""
    read = b""
    while len(read) < wanted and (part := os.read(0, wanted - len(read))):
        read += part
    return read
