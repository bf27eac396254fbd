"""``ergo setup``: what the marks of a camera place tell, before anything is analysed."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ergo.cli.library import ANY_PATH
from ergo.cli.printing import say
from ergo.errors import SetUpError

if TYPE_CHECKING:
    from ergo.camera.set_up import SetUp

SETUP_EXAMPLE = """
\b
Example:
  ergo setup sample_frames/kf_scaling.mp4
"""


@click.command(epilog=SETUP_EXAMPLE)
@click.argument("source", type=ANY_PATH)
def setup(source: Path) -> None:
    """Say what the marks in the notes of a clip or still tell of camera and chair.

    Each result has one standard deviation; what the marks do not tell well enough
    is named, and so is how many px each mark lies from where the others put it.
    """
    from ergo.camera.set_up import solve_set_up
    from ergo.frames.find import find_sources
    from ergo.notes.reading import read_notes

    facts = find_sources([source], 1.0).sources[0].facts
    found = solve_set_up(facts, read_notes(facts.path))
    if found is None:
        raise SetUpError(
            "has no [setup] in its notes.",
            where=f"{facts.name}:",
            remedy="Mark the patient's head and both ends of the chair; see README.md.",
        )
    for line in _lines(found):
        say(line)


def _lines(found: "SetUp") -> list[str]:
    lines = [f"focal length {found.camera.focal_px:.0f} px (+/- {found.sd['log_focal_px']:.0%})"]
    lines += [
        f"{name} {value:.2f} (+/- {found.sd[name]:.2f})"
        for name, value in found.values.items()
        if name != "log_focal_px"
    ]
    lines.append(f"marks are missed by {found.residual_px:.1f} px per axis")
    lines += [f"  {key}: {miss:.1f} px" for key, miss in found.missed_px.items()]
    if found.poorly_determined:
        lines.append("not well determined: " + ", ".join(found.poorly_determined))
    return lines
