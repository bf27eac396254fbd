"""The rules of advice as they stand in ``rules.toml``."""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from math import nan
from typing import Any, Literal

WhichSide = Literal["same", "other", "either"]
Evidence = Literal["requirement", "teaching", "practice"]


@dataclass(frozen=True, slots=True)
class While:
    """What an angle must be in the same frames; exactly one of the four is stated.

    Attributes
    ----------
    angle : str
        Name of the angle, without its side.
    side : str
        Which side, where it has two: ``"same"`` or ``"other"`` than the strained
        angle's, or ``"either"``.
    beyond, outside, within : str
        Rule whose range it is beyond (strain 2), outside (strain 1 or 2) or within
        (strain 0); "" = not stated.
    at_most : float
        NaN = not stated. [unit of the angle]
    is_guess : bool
        It only guesses what the rule claims of the place: a measurement that is sure
        stands in for it.
    """

    angle: str
    side: WhichSide = "same"
    beyond: str = ""
    outside: str = ""
    within: str = ""
    at_most: float = nan
    is_guess: bool = False


@dataclass(frozen=True, slots=True)
class Claim:
    """What a change takes for granted of the place; where the contrary is measured it is silent.

    Attributes
    ----------
    measure : str
        ``"mouth_above_elbow_m"``, ``"eye_to_mouth_m"`` or ``"clock_hours"``.
    below, above : float
        NaN = not stated; exactly one of the three is. [m]
    outside : tuple of float or None
        From, to, of a right-handed operator. [h]
    """

    measure: str
    below: float = nan
    above: float = nan
    outside: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule: under which conditions which change is worth trying.

    Attributes
    ----------
    key : str
        Also the key of its wording.
    angle : str
        The strained angle, without its side; "" where ``holds``.
    limit : str
        Rule whose limit it passes.
    holds : bool
        Whether it counts the time of holds past their holding line instead.
    while_ : tuple of While
        All of them must hold.
    clock : tuple of float or None
        From, to, of a right-handed operator; both ends included. [h]
    claims : tuple of Claim
        None of them may be contradicted by what was measured.
    mouth : tuple of str
        Parts of the mouth, as in :data:`ergo.notes.vocabulary.AREAS`; empty = any.
    not_tasks : tuple of str
        Keys of tasks, as in :data:`ergo.notes.vocabulary.TASKS`, at which it is silent.
    loupes : str
        ``"stated"`` or ``"not stated"``: only where the declination of the operator's
        loupes is; "" = either.
    evidence : str
        ``"requirement"`` (a published one), ``"teaching"`` or ``"practice"``
        (common practice, no source).
    source, status : str
        Where it is printed and how far that was checked.
    """

    key: str
    evidence: Evidence
    source: str
    status: str
    angle: str = ""
    limit: str = ""
    holds: bool = False
    while_: tuple[While, ...] = ()
    clock: tuple[float, float] | None = None
    claims: tuple[Claim, ...] = ()
    mouth: tuple[str, ...] = ()
    not_tasks: tuple[str, ...] = ()
    loupes: Literal["", "stated", "not stated"] = ""


@cache
def rules() -> tuple[Rule, ...]:
    """Return the rules in the order of their file."""
    text = files("ergo.advice").joinpath("rules.toml").read_text("utf-8")
    return tuple(rule_from(table) for table in tomllib.loads(text)["rule"])


def rule_from(table: dict[str, Any]) -> Rule:
    """Return one rule from its table; an unknown key is a TypeError."""
    parts = ("while", "clock", "claims", "mouth", "not_tasks")
    rest = {key: value for key, value in table.items() if key not in parts}
    return Rule(
        **rest,
        while_=tuple(While(**each) for each in table.get("while", ())),
        clock=_span(table.get("clock")),
        claims=tuple(_claim(each) for each in table.get("claims", ())),
        mouth=tuple(table.get("mouth", ())),
        not_tasks=tuple(table.get("not_tasks", ())),
    )


def _claim(table: dict[str, Any]) -> Claim:
    return Claim(**{**table, "outside": _span(table.get("outside"))})


def _span(table: dict[str, float] | None) -> tuple[float, float] | None:
    return (table["from"], table["to"]) if table else None
