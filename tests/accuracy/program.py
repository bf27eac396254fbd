"""The whole program, run as a user runs it, and its answers read back from its files."""

import shutil
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from ergo.arrays import BoolArray, FloatArray, StepArray
from ergo.landmarks.names import INDEX
from ergo.posture.angle_names import NAMES
from ergo.storage.session_folder import StoredSession, read_session
from tests.accuracy.truth import COMPARED_LANDMARKS


class ProgramFailed(RuntimeError):
    """The program under test did not finish."""


@dataclass(frozen=True, slots=True, eq=False)
class Answers:
    """What the program wrote about every analysed frame.

    Attributes
    ----------
    source : tuple of str
        Name of each frame's still or clip, without its ending.
    time_s : array (frame,)
        [s]
    found : array (frame,)
        True where the program says that it saw the operator.
    value, sd : array (frame, angle)
        In the order of ``NAMES``; NaN = not seen.
    operator_px : array (frame, landmark, xy)
        Where it saw the operator, in the order of ``COMPARED_LANDMARKS``. [px]
    promised : mapping of str to array (frame,)
        Side to the probability, by the program, that its RULA score is within 1.
    steps : mapping of str to array (frame,)
        Steps and scores by their column in frames.parquet; 0 = not judged.
    """

    source: tuple[str, ...]
    time_s: FloatArray
    found: BoolArray
    value: FloatArray
    sd: FloatArray
    operator_px: FloatArray
    promised: Mapping[str, FloatArray]
    steps: Mapping[str, StepArray]

    def with_angles(self, value: FloatArray, sd: FloatArray) -> "Answers":
        """Return the same answers with other angles."""
        return replace(self, value=value, sd=sd)


def analyse(inputs: Sequence[Path], out: Path, options: Sequence[str] = ()) -> None:
    """Run ``ergo analyse``; an output folder that is there already is judged again instead.

    Landmarks are the slow part: whoever keeps the folder of an earlier run sees
    the effect of new angles and scores within seconds.
    """
    if (out / "session.json").is_file():
        _run(["rescore", str(out)])
    else:
        _run(["analyse", *map(str, inputs), "--out", str(out), *options])


def reuse_landmarks(work: Path, name: str, out: Path) -> None:
    """Begin ``out`` as a copy of the same pictures' session with another camera, if there is one.

    What the notes state of the camera plays no part in finding people: only the
    angles follow from it, and ``ergo rescore`` reads the notes again.
    """
    others = sorted(work.glob(f"{name}_*/session.json"))
    if others and not out.exists():
        shutil.copytree(others[0].parent, out)


def _run(arguments: Sequence[str]) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "ergo", *arguments],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode not in (0, 4):
        raise ProgramFailed(
            f"ergo {' '.join(arguments)} ended with {done.returncode}: {done.stderr}"
        )


def lay_out(folder: Path, pictures: Mapping[Path, Mapping[str, Any] | None]) -> Path:
    """Copy pictures or clips into a folder of their own, with notes about the camera if known.

    Their people differ, and the program takes one operator a run: here each picture is
    looked at for itself, so they are said to be one.

    Parameters
    ----------
    folder : Path
        Emptied first.
    pictures : mapping of Path to mapping or None
        File to the keys of its ``[camera]``; None = nothing known.
    """
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    (folder / "ergo.toml").write_text('pseudonym = "anybody"\n', encoding="utf-8")
    for path, camera in pictures.items():
        shutil.copy(path, folder / path.name)
        if camera is not None:
            rows = [f"{key} = {value}" for key, value in camera.items()]
            notes = folder / f"{path.stem}.toml"
            notes.write_text("\n".join(["[camera]", *rows, ""]), encoding="utf-8")
    return folder


def read_answers(out: Path) -> tuple[Answers, StoredSession]:
    """Read what the program wrote into its output folder."""
    frames = pd.read_parquet(out / "frames.parquet")
    stored = read_session(out)
    return (
        Answers(
            source=tuple(Path(name).stem for name in frames["source"]),
            time_s=frames["time_s"].to_numpy(float),
            found=frames["person_found"].to_numpy(bool),
            value=frames[list(NAMES)].to_numpy(float),
            sd=frames[[f"{name}_sd" for name in NAMES]].to_numpy(float),
            operator_px=_operator_px(stored),
            promised={
                side: frames[f"rula_{side}_p_within_1"].to_numpy(float)
                for side in ("left", "right")
            },
            steps=_steps(frames),
        ),
        stored,
    )


def _operator_px(stored: StoredSession) -> FloatArray:
    track = stored.recording.tracks["operator"]
    wanted = [INDEX[name] for name in COMPARED_LANDMARKS]
    seen = track.picture_px[:, 0, wanted, :2]
    return np.where(track.found[:, None, None], seen, np.nan)


def _steps(frames: pd.DataFrame) -> dict[str, StepArray]:
    numbers = frames.select_dtypes("number")
    return {
        str(name): numbers[name].fillna(0).to_numpy(np.int64)
        for name in numbers
        if str(name).startswith("rula_") and "_p_" not in str(name)
    }
