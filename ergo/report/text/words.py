"""Every word for readers, by key and language; figures are put into words here too.

The catalogues are the files ``catalogues/LANGUAGE.toml`` and
``catalogues/LANGUAGE_SUBJECT.toml``. A new language is new files with the same keys
and the same places for figures (a test compares them).
"""

import math
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from ergo.errors import InputError
from ergo.timeline import TimeUnit

LANGUAGES = ("en", "de")


@dataclass(frozen=True, slots=True, eq=False)
class Words:
    """The words of one language.

    Attributes
    ----------
    language : str
        Code of the language (ISO 639-1).
    catalogue : dict of str to str
        Message by dotted key, with named places for figures in braces.
    """

    language: str
    catalogue: dict[str, str]

    def say(self, key: str, **figures: object) -> str:
        """Return the message of this key with its figures filled in."""
        return self.catalogue[key].format(**figures)

    def rate(self, per_second: float) -> str:
        """Return a rate without superfluous zeros: "5", "2.5"."""
        return self.number(per_second, 0 if float(per_second).is_integer() else 1)

    def name(self, kind: str, key: str, otherwise: str | None = None) -> str:
        """Return the readers' name of a key of some kind.

        For keys that come from tables and notes and may be new: methods, rules,
        readings, levels. Without a name it is ``otherwise``, or the key itself.
        """
        plain = key.replace("_", " ") if otherwise is None else otherwise
        return self.catalogue.get(f"{kind}.{key}", plain)

    def has(self, key: str) -> bool:
        """Return whether there is a message of this key."""
        return key in self.catalogue

    @staticmethod
    def capital(text: str) -> str:
        """Return the text with a capital first letter, the rest as it is."""
        return text[:1].upper() + text[1:]

    def number(self, value: float, digits: int = 0) -> str:
        """Return a number as this language writes it; a dash where it is not known."""
        if not math.isfinite(value):
            return self.say("number.unknown")
        written = f"{value:,.{digits}f}".replace(",", "\u202f")
        if float(f"{value:.{digits}f}") == 0:
            written = written.lstrip("-")
        return written.replace("-", "\u2212").replace(".", self.say("number.decimal_mark"))

    def duration(self, seconds: float) -> str:
        """Return a length of time: ``0.4 s``, ``94 s``, ``7 min 20 s``, ``1 h 5 min``."""
        if not math.isfinite(seconds):
            return self.say("number.unknown")
        if 0 < seconds < 9.95:
            return self.say("number.seconds", s=self.rate(round(seconds, 1)))
        whole = round(seconds)
        if whole < 120:
            return self.say("number.seconds", s=whole)
        if whole < 3600:
            return self._two("minutes", "min", whole // 60, "s", whole % 60)
        return self._two("hours", "h", whole // 3600, "min", round(whole % 3600 / 60))

    def _two(self, key: str, first: str, large: int, second: str, small: int) -> str:
        if small == 60:
            large, small = large + 1, 0
        key = f"number.{key}" if small else f"number.whole_{key}"
        return self.say(key, **{first: large, second: small})

    def between(self, low: float, high: float, unit: TimeUnit) -> str:
        """Return an interval of amounts, whose ends may read alike."""
        first, last = self.amount(low, unit), self.amount(high, unit)
        if first == last:
            return self.say("number.alike")
        return self.say("number.between", low=first, high=last)

    def amount(self, amount: float, unit: TimeUnit) -> str:
        """Return an amount of a session: a length of time, or a number of pictures."""
        if unit == "second":
            return self.duration(amount)
        digits = 0 if not math.isfinite(amount) or abs(amount - round(amount)) < 0.05 else 1
        key = "number.picture" if round(amount, digits) == 1 else "number.pictures"
        return self.say(key, n=self.number(amount, digits))

    def share(self, share: float) -> str:
        """Return a share (0..1) in per cent; never "0" or "100" unless exactly so."""
        if 0 < share < 0.005:
            return self.say("number.below_one_percent")
        if 0.995 <= share < 1:
            return self.say("number.over_99_percent")
        return self.say("number.percent", p=self.number(100 * share))

    def measure(self, value: float, name: str, *, sign: bool = False) -> str:
        """Return the value of an angle (or a height) with the unit in its name."""
        shown = self.number(value)
        if sign and value > 0.5:
            shown = "+" + shown
        return self.say("number.millimetres" if "_mm" in name else "number.degrees", n=shown)

    def size(self, bytes_: int) -> str:
        """Return the size of files: ``12 kB``, ``3.4 MB``, ``1.2 GB`` (powers of ten)."""
        if bytes_ >= 999.5e6:
            return self.say("disk.gigabytes", n=self.number(bytes_ / 1e9, 1))
        if bytes_ >= 999.5e3:
            return self.say("disk.megabytes", n=self.number(bytes_ / 1e6, 1))
        return self.say("disk.kilobytes", n=self.number(-(-bytes_ // 1000)))

    def clock_time(self, seconds: float) -> str:
        """Return a place in a recording as ``minutes:seconds`` or ``hours:minutes:seconds``."""
        minutes, rest = divmod(round(seconds), 60)
        hours, minutes = divmod(minutes, 60)
        return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


@cache
def words(language: str = "en") -> Words:
    """Return the words of a language; an unknown one is an error that lists what there is."""
    if language not in LANGUAGES:
        raise InputError(
            f"is not a language of the reports; choose one of {', '.join(LANGUAGES)}.",
            where=repr(language),
        )
    mine = [
        file
        for file in (files("ergo.report.text") / "catalogues").iterdir()
        if file.name.removesuffix(".toml").split("_")[0] == language
    ]
    read = [tomllib.loads(file.read_text(encoding="utf-8")) for file in mine]
    return Words(language, {key: text for branch in read for key, text in _flat(branch)})


def _flat(branch: dict[str, Any], path: str = "") -> list[tuple[str, str]]:
    leaves: list[tuple[str, str]] = []
    for key, value in branch.items():
        here = f"{path}.{key}" if path else key
        leaves += _flat(value, here) if isinstance(value, dict) else [(here, value)]
    return leaves
