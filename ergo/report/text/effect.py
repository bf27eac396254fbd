"""The figures that a correction may move, in words, so that before and after can be compared."""

from collections.abc import Iterator
from dataclasses import dataclass

from ergo.exposure.exposure import Exposure, LevelShares, LimitShares, Share
from ergo.report.text.tables import group_name
from ergo.report.text.words import Words


@dataclass(frozen=True, slots=True)
class MovingFigure:
    """One figure of a session as it is told before and after a correction.

    Attributes
    ----------
    key : str
        The same before and after, in every language.
    what : str
        What it is an amount of, for readers.
    text : str
        The amount with its 90 % interval.
    amount : float
        [unit of the exposure]
    """

    key: str
    what: str
    text: str
    amount: float


def moving_figures(exposure: Exposure, words: Words) -> list[MovingFigure]:
    """Return time beyond every limit of note, not assessed, by clock, by task and by level."""
    headline = [each for each in exposure.limits if each.limits.is_headline]
    told = [
        *(_beyond(each, words) for each in headline),
        *(_unjudged(each, words) for each in headline),
        *_groups(exposure, words),
        *(figure for each in exposure.scores for figure in _levels(each, words)),
    ]
    return [_figure(key, what, share, exposure, words) for key, what, share in told]


_Told = tuple[str, str, Share]


def _beyond(shares: LimitShares, words: Words) -> _Told:
    limits, name = shares.limits, shares.limits.angle.name
    state = words.say(f"state.{name}", limit=words.measure(abs(limits.limit), name))
    subject = words.capital(words.say(f"subject.{name}"))
    what = words.say("effect.beyond", subject=subject, state=state)
    return f"beyond/{limits.rule}/{name}", what, shares.beyond


def _unjudged(shares: LimitShares, words: Words) -> _Told:
    name = shares.limits.angle.name
    what = words.say("effect.unjudged", angle=words.name("angle", name))
    return f"unjudged/{name}", what, shares.unjudged


def _groups(exposure: Exposure, words: Words) -> Iterator[_Told]:
    for group in (*exposure.by_clock, *exposure.by_task, *exposure.by_mouth_area):
        what = words.say(f"effect.{group.kind}", name=group_name(group, words))
        yield f"{group.kind}/{group.name}", what, group.held


def _levels(shares: LevelShares, words: Words) -> Iterator[_Told]:
    method = words.name("rules", shares.method)
    for level, held in zip(shares.levels, shares.held, strict=True):
        what = words.say(
            "effect.level",
            method=method,
            side=words.say(f"scores.sides.{shares.side}"),
            level=words.name("printed", level.printed),
        )
        yield f"level/{shares.method}/{shares.side}/{level.printed}", what, held


def _figure(key: str, what: str, share: Share, exposure: Exposure, words: Words) -> MovingFigure:
    amount = words.amount(share.amount, exposure.unit)
    between = words.between(share.amount_low, share.amount_high, exposure.unit)
    is_sure = share.low == share.high
    text = amount if is_sure else words.say("effect.amount", amount=amount, between=between)
    return MovingFigure(key, what, text, share.amount)
