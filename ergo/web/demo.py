"""The invented sample session, in a library of its own that is thrown away at the end."""

import atexit
import shutil
import tempfile
from pathlib import Path

from ergo.errors import NothingToAnalyse
from ergo.storage.library import open_library
from ergo.workflow import analyse_session

SAMPLE = Path(__file__).parents[2] / "sample_frames"


def demo_library() -> Path:
    """Return a fresh library that holds the sample session; analyses it on the spot.

    Raises
    ------
    NothingToAnalyse
        If the program was installed without its sample pictures.
    """
    if not SAMPLE.is_dir():
        raise NothingToAnalyse("are not installed here.", where="The sample pictures")
    folder = Path(tempfile.mkdtemp(prefix="ergo-demo-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    recordings = folder / "recordings"
    shutil.copytree(SAMPLE, recordings)
    analyse_session([recordings], folder / "analysed")
    with open_library(folder) as library:
        library.add(folder / "analysed", "Sample session", tags=("invented",))
    shutil.rmtree(folder / "analysed")
    return folder
