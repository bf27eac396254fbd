"""The invented sample session, in a library of its own that is thrown away at the end."""

import atexit
import json
import shutil
import tempfile
from dataclasses import replace
from pathlib import Path

from ergo.errors import NothingToAnalyse
from ergo.storage.folder import SESSION_FILE
from ergo.storage.library import open_library
from ergo.storage.session_content import write_places
from ergo.storage.session_folder import read_session
from ergo.together import all_sources
from ergo.workflow import analyse_session

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_frames"
REPORTS = ROOT / "reports"


def demo_library() -> tuple[Path, str]:
    """Return a fresh library that holds the sample session, and the session's id.

    A finished example among the reports is taken as it is; without one the sample
    pictures are analysed first.

    Raises
    ------
    NothingToAnalyse
        If the program was installed without its sample pictures.
    """
    if not SAMPLE.is_dir():
        raise NothingToAnalyse("are not installed here.", where="The sample pictures")
    folder = Path(tempfile.mkdtemp(prefix="ergo-demo-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    recordings, made = folder / "recordings", folder / "analysed"
    shutil.copytree(SAMPLE, recordings, ignore=shutil.ignore_patterns("stills"))
    finished = finished_example(REPORTS, recordings)
    if finished is None:
        analyse_session([recordings], made)
    else:
        shutil.copytree(finished, made)
        point_at(made, recordings)
    with open_library(folder) as library:
        entry = library.add(made, "Sample session", tags=("invented",))
    shutil.rmtree(made)
    return folder, entry.id


def finished_example(reports: Path, recordings: Path) -> Path | None:
    """Return a finished session folder made of exactly these recordings, if there is one."""
    for path in sorted(reports.glob(f"*/{SESSION_FILE}")):
        sources = json.loads(path.read_text(encoding="utf-8"))["sources"]
        names = {source["name"] for source in sources}
        if names and names <= {each.name for each in recordings.iterdir()}:
            return path.parent
    return None


def point_at(folder: Path, recordings: Path) -> None:
    """Let a copied session folder find its recordings in another place."""
    sources = all_sources(read_session(folder).recording)
    write_places(folder, [replace(each, path=recordings / each.name) for each in sources])
