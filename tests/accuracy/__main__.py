"""Accuracy bench: the whole program on pictures of which everything is known.

    python -m tests.accuracy --scenes ../shared/scenes

The scenes lie outside the project; without them there is nothing to compare and
the bench ends with exit code 3. It prints, for a known camera and for nothing
known, who was found, the error of every angle with its 90 % intervals, the same
without the learned correction ("plain hybrid") and without any picture ("no
picture": the median of the training set), and the agreement of RULA scores.
"""

import argparse
import json
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from tests.accuracy.program import ProgramFailed
from tests.accuracy.result import Result, result_of
from tests.accuracy.sets import PictureSet, clip, real_person, stills
from tests.accuracy.tables import loss_text, plain_values, result_text, verdicts_text
from tests.accuracy.truth import no_picture
from tests.accuracy.verdicts import verdicts_of

NOTHING_TO_COMPARE = 3


def _arguments(given: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="python -m tests.accuracy",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add = parser.add_argument
    add("--scenes", type=Path, default=Path("../shared/scenes"), help="folder of the scenes")
    add("--broad", type=Path, help="folder of rendered stills of far-out postures")
    add("--real", type=Path, help="angles of the real person (JSON)")
    add("--videos", type=Path, help="folder with the real person's clips")
    add("--only", nargs="+", default=[], choices=["dev", "clip", "broad", "real"])
    add("--camera", nargs="+", default=["known", "nothing"], choices=["known", "nothing"])
    add("--fast", action="store_true", help="also print what the option --fast loses")
    add("--work", type=Path, help="keep the program's output here and judge it again next time")
    add("--json", type=Path, help="also write all figures here")
    return parser.parse_args(given)


def _sets(arguments: argparse.Namespace) -> list[PictureSet]:
    scenes = arguments.scenes
    found: dict[str, Callable[[], PictureSet]] = {
        "dev": lambda: stills("dev", scenes / "dev"),
        "clip": lambda: clip("clip", scenes / "clip_dev.json"),
    }
    if arguments.broad:
        found["broad"] = lambda: stills("broad", arguments.broad)
    if arguments.real and arguments.videos:
        found["real"] = lambda: real_person(arguments.real, arguments.videos)
    wanted = arguments.only or list(found)
    return [make() for name, make in found.items() if name in wanted]


def _run(arguments: argparse.Namespace, work: Path) -> list[Result]:
    fallback = no_picture(arguments.scenes / "train")
    results = []
    for pictures in _sets(arguments):
        for camera in arguments.camera:
            result = result_of(pictures, camera, work, fallback)
            print(result_text(result), end="\n\n\n", flush=True)
            results.append(result)
            if arguments.fast:
                quick = replace(
                    pictures, name=f"{pictures.name}-fast", options=(*pictures.options, "--fast")
                )
                print(loss_text(result, result_of(quick, camera, work, fallback)), end="\n\n\n")
    return results


def main(given: Sequence[str] | None = None) -> int:
    """Run the bench and return its exit code."""
    arguments = _arguments(given)
    if not (arguments.scenes / "dev").is_dir():
        line = f"{arguments.scenes}: scenes not found; name their folder with --scenes."
        print(line, file=sys.stderr)
        return NOTHING_TO_COMPARE
    try:
        if arguments.work:
            results = _run(arguments, arguments.work)
        else:
            with tempfile.TemporaryDirectory() as folder:
                results = _run(arguments, Path(folder))
    except ProgramFailed as error:
        print(error, file=sys.stderr)
        return 1
    verdicts = {result.title: verdicts_of(result) for result in results}
    for title, found in verdicts.items():
        print(verdicts_text(title, found))
    if arguments.json:
        content = {"results": results, "goals": verdicts}
        arguments.json.write_text(json.dumps(plain_values(content), indent=1, allow_nan=False))
    return 0


if __name__ == "__main__":
    sys.exit(main())
