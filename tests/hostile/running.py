"""Runs cases in a process of their own, so that a crash or a hang is one more answer.

``python -m tests.hostile.running FOLDER`` is given cases on its standard input, one
``NAME NUMBER`` a line, and says one JSON object a line.
"""

import json
import os
import random
import select
import shutil
import signal
import subprocess
import sys
import tempfile
import traceback
import warnings
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from types import FrameType

ROOT = Path(__file__).parents[2]
LONGEST_S = 60
_SLACK_S = 20
LONGEST_LINE = 6000

Case = tuple[str, int]


@dataclass(frozen=True)
class Answer:
    """How the program answered a case.

    Attributes
    ----------
    name, number
        The attack, and the seed of the case.
    kind : str
        ``"taken"``, ``"refused"`` (in one line, as documented) or ``"failed"``.
    told : str
        What was said, or went wrong.
    """

    name: str
    number: int
    kind: str
    told: str = ""


class Hang(BaseException):
    """A case took longer than :data:`LONGEST_S`."""


def answer_to(name: str, number: int, folder: Path, material: "object") -> Answer:
    """Run one case in an empty folder, which is removed."""
    from ergo.errors import ErgoError
    from ergo.printable import printable
    from tests.hostile.attacks import ATTACKS, RefusedWell
    from tests.hostile.material import Material

    assert isinstance(material, Material)
    folder.mkdir()
    os.chdir(folder)
    rng = random.Random(f"{name} {number}")
    signal.signal(signal.SIGALRM, _hang)
    signal.alarm(LONGEST_S)
    try:
        ATTACKS[name][0](rng, folder, material)
    except ErgoError as error:
        told = str(error)
        is_line = len(told) < LONGEST_LINE and len(error.what) > 5
        return Answer(name, number, "refused" if is_line else "failed", printable(told)[:300])
    except RefusedWell as refused:
        return Answer(name, number, "refused", str(refused))
    except (Exception, Hang):
        trace = traceback.format_exc().splitlines()
        ours = [line.strip() for line in trace if "/ergo/" in line]
        return Answer(name, number, "failed", f"{trace[-1][:300]} | {ours[-1:]}")
    finally:
        signal.alarm(0)
        os.chdir(folder.parent)
        shutil.rmtree(folder, ignore_errors=True)
    return Answer(name, number, "taken")


def _hang(_: int, __: FrameType | None) -> None:
    raise Hang(f"took longer than {LONGEST_S} s")


def answers(cases: Sequence[Case]) -> Iterator[Answer]:
    """Run cases one after the other; one that ends its process is told, the rest go on."""
    left = list(cases)
    while left:
        with tempfile.TemporaryDirectory(prefix="ergo-hostile-") as folder:
            for answer in _answers_of_one_process(list(left), Path(folder)):
                yield answer
                left.pop(0)
            if left:
                yield Answer(*left.pop(0), "failed", "ended its process, or hung in it")


def _answers_of_one_process(cases: Iterable[Case], folder: Path) -> Iterator[Answer]:
    process = subprocess.Popen(
        [sys.executable, "-m", __name__, str(folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        cwd=ROOT,
        text=True,
    )
    assert process.stdin is not None
    assert process.stdout is not None
    try:
        for name, number in cases:
            process.stdin.write(f"{name} {number}\n")
            process.stdin.flush()
            if not select.select([process.stdout], [], [], LONGEST_S + _SLACK_S)[0]:
                return
            line = process.stdout.readline()
            if not line:
                return
            yield Answer(**json.loads(line))
    except BrokenPipeError:
        return
    finally:
        process.kill()
        process.communicate()


def main() -> None:
    """Answer the cases on standard input."""
    from tests.hostile.material import Material

    warnings.simplefilter("ignore")
    folder = Path(sys.argv[1])
    (folder / "material").mkdir()
    material = Material(folder / "material")
    for count, line in enumerate(sys.stdin):
        name, number = line.split()
        answer = answer_to(name, int(number), folder / f"case{count}", material)
        sys.stdout.write(json.dumps(asdict(answer)) + "\n")
        sys.stdout.flush()
    material.close()


if __name__ == "__main__":
    main()
