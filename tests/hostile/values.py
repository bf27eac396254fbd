"""Seeded material of attacks: damaged bytes, texts and values that programs stumble over."""

import random
from collections.abc import Sequence
from typing import Any

TEXTS: Sequence[str] = (
    "",
    " ",
    "a" * 255,
    "a" * 5000,
    "\x00",
    "a\nb",
    "\x1b[2J\x1b]0;x\x07",
    "\u202egpj.exe",
    "\udcff",
    "\ud800",
    "=cmd|' /C calc'!A0",
    "<script>alert(1)</script>",
    "{{7*7}}",
    "'; DROP TABLE session; --",
    "../../../../etc/passwd",
    "..\\..\\x",
    "/nowhere/here",
    "CON",
    "-rf",
    "--help",
    "%s%n",
    "🦷👩\u200d⚕️",
    "ÄÖÜß",
    "e\u0301" * 40,
    "NaN",
    "true",
    "1e400",
    "9" * 4400,
    "0x10",
    "²",
    "2026-13-45",
    "+99999-01-01",
)
NUMBERS: Sequence[float | int] = (
    0,
    -1,
    1,
    2**31,
    -(2**63),
    2**64,
    10**400,
    1e-320,
    1e308,
    -1e308,
    float("inf"),
    float("-inf"),
    float("nan"),
    0.1,
    13,
    89.999,
    1e9,
)


def damaged(whole: bytes, rng: random.Random) -> bytes:
    """Return bytes with some bits turned, a part emptied, lost, doubled or put in, or cut off."""
    changed = bytearray(whole)
    for _ in range(rng.choice((1, 1, 1, 2, 5))):
        at, some = rng.randrange(len(changed) or 1), rng.randrange(1, 600)
        match rng.randrange(7):
            case 0:
                for _ in range(rng.randrange(1, 20)):
                    changed[rng.randrange(len(changed))] ^= 1 << rng.randrange(8)
            case 1:
                changed[at : at + some] = bytes(len(changed[at : at + some]))
            case 2:
                del changed[at : at + some]
            case 3:
                changed[at:at] = rng.randbytes(some)
            case 4:
                changed[at:at] = changed[at : at + some]
            case 5:
                changed[at : at + 4] = rng.choice(
                    (b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff", bytes(4), b"\x80\0\0\0")
                )
            case _:
                del changed[max(1, at) :]
        if not changed:
            return b"\0"
    return bytes(changed)


def any_value(rng: random.Random, depth: int = 3) -> Any:
    """Return a value as JSON knows them, mostly one that does not belong where it is put."""
    kind = rng.randrange(8 if depth else 5)
    if kind == 0:
        return rng.choice((None, True, False))
    if kind in (1, 2):
        return rng.choice(NUMBERS)
    if kind in (3, 4):
        return rng.choice(TEXTS)
    if kind == 5:
        return [any_value(rng, depth - 1) for _ in range(rng.choice((0, 1, 2, 4, 40)))]
    if kind == 6:
        return {rng.choice(TEXTS): any_value(rng, depth - 1) for _ in range(rng.randrange(4))}
    return nested(rng.choice(([], {})), rng.choice((20, 90)))


def nested(innermost: Any, levels: int) -> Any:
    """Return lists or tables within one another."""
    value = innermost
    for _ in range(levels):
        value = [value] if isinstance(innermost, list) else {"a": value}
    return value


def altered(content: Any, rng: random.Random) -> Any:
    """Return a copy of a document with one to three places replaced, taken out or added to."""
    copy = _copied(content)
    for _ in range(rng.choice((1, 1, 2, 3))):
        places = list(_places(copy))
        if not places:
            return any_value(rng)
        holder, key = rng.choice(places)
        match rng.randrange(4):
            case 0 if isinstance(holder, dict):
                del holder[key]
            case 1 if isinstance(holder, dict):
                holder[rng.choice(TEXTS)] = any_value(rng)
            case 2 if isinstance(holder, list):
                holder.insert(rng.randrange(len(holder) + 1), any_value(rng))
            case _:
                holder[key] = any_value(rng)
    return copy


def _copied(content: Any) -> Any:
    if isinstance(content, dict):
        return {key: _copied(value) for key, value in content.items()}
    if isinstance(content, list | tuple):
        return [_copied(value) for value in content]
    return content


def _places(content: Any, depth: int = 12) -> Any:
    """Yield every container with every key or index in it."""
    if depth == 0:
        return
    keys = content.keys() if isinstance(content, dict) else range(len(content))
    for key in list(keys):
        yield content, key
        if isinstance(content[key], dict | list):
            yield from _places(content[key], depth - 1)
