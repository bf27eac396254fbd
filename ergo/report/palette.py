"""Our own marks for strain: a colour, a hatch and a filling circle each, never colour alone.

The colours darken evenly from sand to aubergine, so the order survives colour
blindness and grey print (proved in ``tests/report/test_palette.py`` with the
simulation of Machado GM, Oliveira MM, Fernandes LAF (2009), IEEE Trans Vis
Comput Graph 15(6):1291-1298). The circle fills with the strain. "Not judged" has
a mark of its own and is never left out.
"""

from dataclasses import dataclass

from ergo.errors import InputError

INK = "#1c2230"
PAPER = "#ffffff"
QUIET = "#5f6675"
"""Secondary text and grid lines."""
LIMIT = "#8a4b00"
"""Lines of published limits; always labelled and dashed."""
DARK_INK = "#1c2231"
"""Patterns and text on light fills; stays dark where INK turns light (dark screens)."""


@dataclass(frozen=True, slots=True)
class StrainMark:
    """How one step of strain looks.

    Attributes
    ----------
    key : str
        Name of the step, also its CSS class.
    colour : str
        Fill.
    hatch : str
        Pattern in the notation of matplotlib; "" = plain.
    hatch_colour : str
        Colour of the pattern and of text on the fill.
    symbol : str
        One character for tables and running text.
    """

    key: str
    colour: str
    hatch: str
    hatch_colour: str
    symbol: str


STRAIN: tuple[StrainMark, ...] = (
    StrainMark("strain-0", "#f1e8d6", "", DARK_INK, "○"),
    StrainMark("strain-1", "#abc0dc", "..", DARK_INK, "◔"),
    StrainMark("strain-2", "#7a86bf", "///", DARK_INK, "◑"),
    StrainMark("strain-3", "#594a92", "\\\\\\", "#f4f1fb", "◕"),
    StrainMark("strain-4", "#2b1442", "xxx", "#f4f1fb", "●"),
)
"""From least to most strained."""

NOT_JUDGED = StrainMark("not-judged", PAPER, "--", "#8d93a1", "◌")

_SPREAD = {1: (0,), 2: (0, 3), 3: (0, 2, 4), 4: (0, 1, 3, 4), 5: (0, 1, 2, 3, 4)}


def marks_for(steps: int) -> tuple[StrainMark, ...]:
    """Return one mark per step for a scale of 1 to 5 steps, least strained first."""
    if steps not in _SPREAD:
        raise InputError(f"a scale needs 1 to {len(STRAIN)} steps, got {steps}.")
    return tuple(STRAIN[position] for position in _SPREAD[steps])
