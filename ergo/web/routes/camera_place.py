"""What the marks of a camera place tell, in the reader's words, as soon as they are made."""

from typing import Any

import numpy as np

from ergo.camera.set_up import SetUp, solve_set_up
from ergo.frames.frame import SourceFacts
from ergo.notes.notes import Notes
from ergo.report.text.words import Words

SHOWN = ("pitch_deg", "roll_deg", "height_m", "head_x_m", "head_y_m", "head_z_m", "chair_turn_deg")
"""Results told one by one; the rest of the chair follows from them."""


def set_up_content(facts: SourceFacts, notes: Notes, words: Words) -> dict[str, Any]:
    """Return the set-up of one recording: values, misses and what to mark next.

    Empty lists where nothing was marked. Each value has its 90 % interval.
    """
    found = solve_set_up(facts, notes)
    if found is None:
        return {"summary": words.say("setup.none"), "values": [], "missed": [], "next": []}
    return {
        "summary": _summary(found, words),
        "values": [_focal(found, words), *_values(found, words)],
        "missed": [
            words.say("setup.missed", mark=_mark(key, words), px=words.number(miss, 1))
            for key, miss in found.missed_px.items()
        ],
        "next": list(dict.fromkeys(_next(name, words) for name in found.poorly_determined)),
    }


def _summary(found: SetUp, words: Words) -> str:
    if found.poorly_determined:
        names = [words.say(f"setup.name.{name}") for name in found.poorly_determined]
        poor = words.say("setup.poor", names=", ".join(names))
    else:
        poor = words.say("setup.well")
    return f"{words.say('setup.residual', px=words.number(found.residual_px, 1))} {poor}"


def _focal(found: SetUp, words: Words) -> str:
    view = 2 * np.degrees(np.arctan(found.camera.width_px / 2 / found.camera.focal_px))
    return words.say(
        "setup.lens",
        view=words.measure(float(view), "view_deg"),
        focal=words.number(found.camera.focal_px),
        share=words.share(1.645 * found.sd["log_focal_px"]),
    )


def _values(found: SetUp, words: Words) -> list[str]:
    return [
        words.say(
            "setup.value",
            name=words.capital(words.say(f"setup.name.{name}")),
            value=_figure(found.values[name], name, words),
            spread=_figure(1.645 * found.sd[name], name, words),
        )
        for name in SHOWN
        if name in found.values
    ]


def _figure(value: float, name: str, words: Words) -> str:
    if name.endswith("_deg"):
        return words.say("number.degrees", n=words.number(value, 1))
    return words.say("setup.metres", n=words.number(value, 2))


def _mark(key: str, words: Words) -> str:
    kind, _, number = key.partition("[")
    name = words.say(f"setup.mark.{kind}")
    return f"{name} {number.rstrip(']')}".strip()


def _next(name: str, words: Words) -> str:
    kind = name.split("_")[0]
    return words.say(f"setup.next.{'level' if kind in ('pitch', 'roll') else kind}")
