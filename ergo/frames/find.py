"""From what the user pointed at to clips and stills, in natural order."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from natsort import natsorted, ns

from ergo.errors import InputError, NothingToAnalyse, UnreadableClip, UnreadablePicture
from ergo.frames.clips import CLIP_SUFFIXES, ClipSource
from ergo.frames.file_checks import check_name, check_readable
from ergo.frames.frame import FrameSource
from ergo.frames.stills import STILL_SUFFIXES, StillSource
from ergo.printable import printable

_KNOWN_TYPES = "JPEG, PNG, WebP, TIFF, HEIC, MP4, MOV, AVI, MKV and WebM"


@dataclass(frozen=True, slots=True)
class Found:
    """What lies where the user pointed.

    Attributes
    ----------
    sources : tuple of FrameSource
        In the order of the inputs, folders in natural order; names are unique.
    skipped : tuple of str
        Names of what lies in a folder but is neither clip nor still; folders
        within a folder are not opened and end with ``/``. Hidden files and
        notes (``*.toml``) are not counted.
    """

    sources: tuple[FrameSource, ...]
    skipped: tuple[str, ...]


def find_sources(
    inputs: Sequence[Path], rate_hz: float = 5.0, called: Mapping[Path, str] | None = None
) -> Found:
    """Return the clips and stills among files and folders.

    Parameters
    ----------
    inputs : sequence of Path
        Files, or folders whose files are taken; a file named twice counts once.
    rate_hz : float
        Pictures wanted a second of a clip. [1/s]
    called : mapping of Path to str, optional
        What people call a file that lies under another name.

    Returns
    -------
    Found

    Raises
    ------
    NothingToAnalyse
        If an input is missing or unreadable, or holds no clip and no still.
    UnreadablePicture, UnreadableClip
        If a file is empty or may not be read.
    InputError
        If the rate is not above 0.
    """
    if not 0 < rate_hz < float("inf"):
        raise InputError("The sampling rate must be above 0 pictures a second.")
    files: list[Path] = []
    skipped: list[str] = []
    for given in inputs:
        check_name(given, NothingToAnalyse)
        taken, left = _listed(given) if _is_folder(given) else ([_checked_file(given)], [])
        files += taken
        skipped += left
    first_named: dict[Path, Path] = {}
    for path in files:
        first_named.setdefault(path.resolve(), path)
    unique = list(first_named.values())
    if not unique:
        raise NothingToAnalyse("No file or folder was named.")
    sources = tuple(
        _source(path, name, rate_hz)
        for path, name in zip(unique, _names(unique, called or {}), strict=True)
    )
    return Found(sources, tuple(skipped))


def _is_folder(path: Path) -> bool:
    try:
        return path.is_dir()
    except OSError as cause:  # it lies in a folder that may not be entered
        raise NothingToAnalyse(
            f"cannot be reached ({cause.strerror}).",
            where=f"{path}:",
            remedy="Check who may read it.",
        ) from cause


def _listed(folder: Path) -> tuple[list[Path], list[str]]:
    """Return the clips and stills of a folder, and the names of the rest."""
    try:
        entries = natsorted(folder.iterdir(), key=lambda path: path.name, alg=ns.IGNORECASE)
    except OSError as cause:
        raise NothingToAnalyse(
            f"cannot be listed ({cause.strerror}).",
            where=f"{folder}:",
            remedy="Check who may read it.",
        ) from cause
    shown = [e for e in entries if not e.name.startswith(".") and e.suffix.lower() != ".toml"]
    taken = [entry for entry in shown if _is_known(entry) and entry.is_file()]
    if not taken:
        raise NothingToAnalyse(
            "holds no clip and no still.", where=f"{folder}:", remedy=f"Known are {_KNOWN_TYPES}."
        )
    for entry in taken:
        check_name(entry, NothingToAnalyse)
    others = [entry for entry in shown if entry not in set(taken)]
    left = [printable(entry.name) + "/" * entry.is_dir() for entry in others]
    return taken, left


def _checked_file(path: Path) -> Path:
    if not path.exists():
        raise NothingToAnalyse("does not exist.", where=f"{path}:", remedy="Check the spelling.")
    if not path.is_file():
        raise NothingToAnalyse("is neither a file nor a folder.", where=f"{path}:")
    if not _is_known(path):
        raise NothingToAnalyse(
            "is of a type that cannot be read.",
            where=f"{path}:",
            remedy=f"Known are {_KNOWN_TYPES}.",
        )
    return path


def _is_known(path: Path) -> bool:
    return path.suffix.lower() in STILL_SUFFIXES | CLIP_SUFFIXES


def _source(path: Path, name: str, rate_hz: float) -> FrameSource:
    is_clip = path.suffix.lower() in CLIP_SUFFIXES
    check_readable(path, name, UnreadableClip if is_clip else UnreadablePicture)
    return ClipSource(path, name, rate_hz) if is_clip else StillSource(path, name)


def _names(paths: Sequence[Path], called: Mapping[Path, str]) -> list[str]:
    """Return each file's name, with as much of its folder as makes it unique."""
    parts = [(*path.resolve().parts[:-1], called.get(path, path.resolve().name)) for path in paths]
    depth = [1] * len(paths)
    while True:
        names = ["/".join(part[-d:]) for part, d in zip(parts, depth, strict=True)]
        count = Counter(names)
        clashing = [index for index, name in enumerate(names) if count[name] > 1]
        if not clashing:
            return names
        for index in clashing:
            depth[index] += 1
