"""One page per library, one run per folder; whoever is second is told, and nothing is lost."""

import subprocess
import sys
from pathlib import Path

from filelock import FileLock

from ergo.storage.session_folder import read_session
from ergo.whole import workshop

ERGO = (sys.executable, "-m", "ergo")
SAMPLES = Path(__file__).parents[2] / "sample_frames"


def page_of(library: Path) -> subprocess.Popen[str]:
    command = [*ERGO, "serve", "--no-browser", "--library", str(library)]
    return subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, encoding="utf-8"
    )


def test_the_second_page_on_a_library_is_refused_until_the_first_has_ended(tmp_path):
    library = tmp_path / "library"
    with page_of(library) as first:
        assert first.stdout.readline().startswith("http://127.0.0.1:")
        with page_of(library) as second:
            _, said = second.communicate()
        assert second.returncode == 3
        assert said == (
            f"{library}: is open in another `ergo serve`. "
            "Use the page that is open, or end that program first.\n"
        )
        first.kill()  # a dead program stands in nobody's way
    with page_of(library) as third:
        assert third.stdout.readline().startswith("http://127.0.0.1:")
        third.kill()


def test_a_second_run_into_a_folder_that_is_being_written_is_refused(invented, tmp_path):
    from .conftest import folder_of

    out = folder_of(invented, tmp_path / "out")
    workshop(out).mkdir()
    with FileLock(workshop(out) / "lock"):
        for command in (["analyse", str(SAMPLES), "--out", str(out), "--force"],
                        ["rescore", str(out)]):  # fmt: skip
            ran = subprocess.run([*ERGO, *command], capture_output=True, text=True, check=False)
            assert (ran.returncode, ran.stdout) == (3, "")
            assert ran.stderr.splitlines()[-1] == (
                f"{out}: is being written by another run. "
                "Wait until that has finished, or name another folder."
            )
    assert len(read_session(out).recording.timeline) == 100
