"""One session is of one operator: recordings of different people are refused.

What one recording says of its operator must be able to be true of the operator of
every other. Sizes of limbs are not compared: in one picture their error is 1.5 to 4
times what people differ by (see DEVELOPERS.md).
"""

from collections.abc import Sequence
from itertools import combinations

from ergo.errors import SeveralOperators
from ergo.notes.notes import Handed, Notes

SAME_HEIGHT_CM = 3.0
"""Stated heights that differ by no more may be of one person: shoes, rounding (ours). [cm]"""

_EACH_ALONE = "Analyse the recordings of each operator in a run of their own."
_IF_ONE = (
    "If it is one person, correct the notes; else analyse the recordings of each operator in a"
    " run of their own."
)
_IF_TOLD = (
    "If it is one person, state the same pseudonym in their notes; else analyse the recordings of"
    " each operator in a run of their own."
)


def check_profile(names: Sequence[str], notes: Sequence[Notes], operator: str | None) -> None:
    """Refuse recordings whose notes name another operator than the profile that was asked for.

    Parameters
    ----------
    names : sequence of str
        Of the recordings.
    notes : sequence of Notes
        One per recording.
    operator : str or None
        Pseudonym of the profile.

    Raises
    ------
    SeveralOperators
    """
    for name, stated in zip(names, notes, strict=True):
        if operator is not None and stated.pseudonym not in (None, operator):
            raise SeveralOperators(
                f'is of "{stated.pseudonym}", and the profile asked for is of "{operator}".',
                where=f"{name}:",
                remedy=_EACH_ALONE,
            )


def check_one_person(names: Sequence[str], notes: Sequence[Notes]) -> None:
    """Refuse recordings whose notes cannot all be about one operator.

    Parameters
    ----------
    names : sequence of str
        Of the recordings.
    notes : sequence of Notes
        One per recording.

    Raises
    ------
    SeveralOperators
    """
    for (first, one), (name, other) in combinations(zip(names, notes, strict=True), 2):
        what = _stated_otherwise(one, other, first)
        if what is not None:
            raise SeveralOperators(what, where=f"{name}:", remedy=_IF_ONE)


def check_one_hand(
    names: Sequence[str], notes: Sequence[Notes], told: Sequence[Handed | None]
) -> None:
    """Refuse recordings of a right- and a left-handed operator, as stated or else as told.

    Not between recordings whose notes state the same pseudonym: then it is one person.

    Parameters
    ----------
    names : sequence of str
        Of the recordings.
    notes : sequence of Notes
        One per recording.
    told : sequence of str or None
        Handedness that each recording tells beyond doubt; None = not told.

    Raises
    ------
    SeveralOperators
    """
    hands = [each.handed or own for each, own in zip(notes, told, strict=True)]
    for (first, one, hand), (name, other, other_hand) in combinations(
        zip(names, notes, hands, strict=True), 2
    ):
        is_said_the_same = one.pseudonym is not None and one.pseudonym == other.pseudonym
        if hand and other_hand and hand != other_hand and not is_said_the_same:
            raise SeveralOperators(
                f"shows a {other_hand}-handed operator, {first} a {hand}-handed one.",
                where=f"{name}:",
                remedy=_IF_TOLD,
            )


def _stated_otherwise(one: Notes, other: Notes, first: str) -> str | None:
    """Return what the other notes state that cannot be true of the same operator."""
    if one.pseudonym and other.pseudonym and one.pseudonym != other.pseudonym:
        return f'is of "{other.pseudonym}", {first} of "{one.pseudonym}".'
    if one.handed and other.handed and one.handed != other.handed:
        return f"is of a {other.handed}-handed operator, {first} of a {one.handed}-handed one."
    heights = one.operator_height_cm, other.operator_height_cm
    if heights[0] and heights[1] and abs(heights[0] - heights[1]) > SAME_HEIGHT_CM:
        return f"is of an operator of {heights[1]:g} cm, {first} of one of {heights[0]:g} cm."
    return None
