"""Sentences made of figures: the things that matter most, and what to film next."""

from math import isclose

import numpy as np

from ergo.exposure.exposure import Exposure, HoldRecord, KeyFact, LimitShares, Share
from ergo.posture.angle_names import ANGLES
from ergo.report.text.rounding import (
    Parts,
    limit_parts,
    parts_of_whole,
    rounded_whole,
    strained_places,
)
from ergo.report.text.words import Words
from ergo.session.session import Session

MOSTLY = 0.5
"""Share of the time from which "mostly" is said, else "most often" (ours)."""
OFTEN_UNJUDGED = 0.3
"""Unjudged share from which we say what to film next (ours)."""


def first_sentences(exposure: Exposure, words: Words) -> list[str]:
    """Return the sentences of the things that matter most, in their order."""
    sentences = [fact_sentence(fact, exposure, words) for fact in exposure.first_three]
    return sentences or [words.say("first.nothing")]


def fact_sentence(fact: KeyFact, exposure: Exposure, words: Words) -> str:
    """Return one of the things that matter most as a sentence with figures."""
    judged, beyond = _told(fact, exposure, words)
    if fact.key == "nothing_beyond":
        return words.say("first.nothing_beyond", judged=judged)
    if fact.key == "too_little_seen" or fact.angle is None or fact.beyond is None:
        unseen = fact.beyond.amount if fact.beyond is not None else float("nan")
        return words.say(
            "first.too_little_seen",
            amount=rounded_whole(unseen, exposure.total, exposure.unit, words),
            total=rounded_whole(exposure.total, exposure.total, exposure.unit, words),
        )
    sentence = _hold_fact(fact, judged, beyond, words) or words.say(
        "first.beyond_limit",
        judged=judged,
        hold=_longest(fact.longest, words),
        clock=_mostly_at(fact, words),
        **{"while": "" if fact.while_key is None else words.say(f"first.{fact.while_key}")},
        **beyond,
    )
    rule = words.name("rules", fact.rule)
    return sentence if rule in sentence else f"{sentence} {words.say('first.rule_note', rule=rule)}"


def _hold_fact(fact: KeyFact, judged: str, beyond: dict[str, str], words: Words) -> str | None:
    hold = fact.longest
    if fact.key != "long_hold" or hold is None or fact.angle is None:
        return None
    is_allowed_for_a_while = hold.limit_s is not None and 0 < hold.limit_s < float("inf")
    key = "first.long_hold" if is_allowed_for_a_while else "first.long_hold_not_recommended"
    return words.say(
        key,
        Subject=words.capital(words.say(f"subject.{fact.angle.name}")),
        mean=words.measure(hold.mean, fact.angle.name),
        length=words.duration(hold.length_s),
        limit=words.duration(hold.limit_s or 0.0),
        rule=words.name("rules", "iso11226"),
        where=_where(hold, words),
        judged=judged,
        **beyond,
    )


def _told(fact: KeyFact, exposure: Exposure, words: Words) -> tuple[str, dict[str, str]]:
    """Return the time judged, and the places of every sentence about time beyond a limit."""
    parts, beyond, unjudged = _parts(fact, exposure)
    judged = parts.amount([at for at in range(len(parts.shares)) if at != unjudged], words)
    if fact.angle is None or fact.beyond is None:
        return judged, {}
    name, amount = fact.angle.name, parts.amount(beyond, words)
    return judged, {
        "subject": words.say(f"subject.{name}"),
        "state": words.say(f"state.{name}", limit=words.measure(abs(fact.limit), name)),
        "for_amount": words.say(f"first.for_{exposure.unit}", amount=amount),
        "between": parts.between(fact.beyond, beyond, words),
    }


def _parts(fact: KeyFact, exposure: Exposure) -> tuple[Parts, list[int], int]:
    """Return the parts that a fact speaks of, which of them are beyond, and which not judged.

    They are the row of the tables that the fact was made of, so that both tell the same.
    """
    for limits in exposure.limits:
        is_same = limits.limits.angle == fact.angle and limits.limits.rule == fact.rule
        judged = limits.unjudged.of - limits.unjudged.amount
        if (
            is_same
            and fact.beyond in (limits.beyond, limits.unjudged, None)
            and isclose(fact.judged, judged)
        ):
            return limit_parts(limits, exposure), strained_places(limits, 2), len(limits.held)
    total = exposure.total
    amounts = [0.0 if fact.beyond is None else fact.beyond.amount, fact.judged, total]
    steps = np.diff([0.0, *amounts]) / total if total > 0 else np.full(3, np.nan)
    shares = [Share(total, float(each), float(each), float(each)) for each in steps]
    return parts_of_whole(shares, total, exposure.unit), [0], 2


def _longest(hold: HoldRecord | None, words: Words) -> str:
    return "" if hold is None else words.say("first.hold", length=words.duration(hold.length_s))


def _mostly_at(fact: KeyFact, words: Words) -> str:
    if fact.clock_hour is None:
        return ""
    key = "first.clock_mostly" if fact.clock_share > MOSTLY else "first.clock_often"
    return words.say(key, hour=words.say("clock.hour", h=fact.clock_hour))


def _where(hold: HoldRecord, words: Words) -> str:
    clock = ""
    if hold.clock_hour is not None:
        hour = words.say("clock.hour", h=hold.clock_hour)
        clock = words.say("first.where_clock", hour=hour)
    return words.say(
        "first.where", time=words.clock_time(hold.start_s), source=hold.source, clock=clock
    )


def film_next(session: Session, exposure: Exposure, words: Words) -> list[str]:
    """Return what to film next time, and why.

    A part that the notes exclude is no reason to film otherwise.
    """
    left_out = session.excluded_share()
    if left_out >= 1.0:
        return []
    shares = {
        name: (share - left_out) / (1.0 - left_out)
        for name, share in unjudged_shares(exposure).items()
    }
    if shares and min(shares.values()) >= 1.0:
        return [words.say("next.nothing")]
    places: dict[str, list[str]] = {}
    for name, share in shares.items():
        if share >= OFTEN_UNJUDGED:
            places.setdefault(_camera_place(name), []).append(name)
    advice = [
        words.say(
            "next.angle",
            angle="; ".join(words.name("angle", name) for name in names),
            share=_share_from_to([shares[name] for name in names], words),
            advice=words.say(f"advice.{place}"),
        )
        for place, names in places.items()
    ]
    closing = [words.say("next.same" if advice else "next.enough")]
    if any(camera.level_origin == "assumed" for camera in session.cameras):
        closing.append(words.say("next.level"))
    if session.moments_left_out or all(notes.neutral is None for notes in session.notes):
        closing.append(words.say("next.neutral"))
    if not np.isfinite(session.clock.hours).any():
        closing.append(words.say("next.clock"))
    return advice + closing


def _share_from_to(shares: list[float], words: Words) -> str:
    least, most = words.share(min(shares)), words.share(max(shares))
    return least if least == most else words.say("next.from_to", least=least, most=most)


def unjudged_shares(exposure: Exposure) -> dict[str, float]:
    """Return the unjudged share of every angle that a rule limits, by name, in fixed order."""
    by_name: dict[str, LimitShares] = {x.limits.angle.name: x for x in exposure.limits}
    return {
        angle.name: by_name[angle.name].unjudged.share for angle in ANGLES if angle.name in by_name
    }


def _camera_place(name: str) -> str:
    if name.startswith(("wrist", "elbow")):
        return "hand" if name.startswith("wrist") else f"arm_{name.rsplit('_', 1)[-1]}"
    if name.endswith(("_left", "_right")):
        return f"arm_{name.rsplit('_', 1)[-1]}"
    if "side_bend" in name:
        return "rear"
    return "front" if name in ("trunk_twist_deg", "neck_rotation_deg") else "side"
