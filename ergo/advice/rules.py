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
    """

    angle: str
    side: WhichSide = "same"
    beyond: str = ""
    outside: str = ""
    within: str = ""
    at_most: float = nan


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
    mouth : tuple of str
        Beginnings of mouth areas; empty = any.
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
    mouth: tuple[str, ...] = ()


@cache
def rules() -> tuple[Rule, ...]:
    """Return the rules in the order of their file."""
    text = files("ergo.advice").joinpath("rules.toml").read_text("utf-8")
    return tuple(rule_from(table) for table in tomllib.loads(text)["rule"])


def rule_from(table: dict[str, Any]) -> Rule:
    """Return one rule from its table; an unknown key is a TypeError."""
    rest = {key: value for key, value in table.items() if key not in ("while", "clock", "mouth")}
    clock = table.get("clock")
    return Rule(
        **rest,
        while_=tuple(While(**each) for each in table.get("while", ())),
        clock=(clock["from"], clock["to"]) if clock else None,
        mouth=tuple(table.get("mouth", ())),
    )
