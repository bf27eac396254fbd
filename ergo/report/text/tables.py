"""The tables of a report as text, ready to be set: captions, columns, rows."""

import math
from dataclasses import dataclass

from ergo.exposure.bands import Band, LimitSet
from ergo.exposure.exposure import (
    UNKNOWN,
    Exposure,
    Group,
    HoldRecord,
    LevelShares,
    LimitShares,
    Share,
)
from ergo.exposure.holding_lines import line_origin
from ergo.posture.angle_names import AngleName
from ergo.published_sources import MARKS, MEMORY, cited, marks_of, sources
from ergo.report.palette import NOT_JUDGED, StrainMark, marks_for
from ergo.report.plots.bars import is_plotted
from ergo.report.text.key_findings import unjudged_shares
from ergo.report.text.rounding import (
    Parts,
    level_parts,
    limit_parts,
    parts_of_whole,
    rounded_whole,
    strained_places,
)
from ergo.report.text.words import Words
from ergo.scores.method_score import Level
from ergo.timeline import TimeUnit

LONGEST_HOLDS = 10
STRAIN_MARKS = marks_for(3)
STRAIN_NAMES = ("within", "limited", "beyond", "unjudged")


@dataclass(frozen=True, slots=True)
class Table:
    """One table of text; the first column heads each row.

    Attributes
    ----------
    caption : str
    columns : tuple of str
    rows : tuple of tuple of str
        A cell may hold several lines.
    is_narrow : bool
        Whether it fits a phone as it is.
    """

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    is_narrow: bool = False


def column_names(words: Words, *keys: str) -> tuple[str, ...]:
    """Return the heads of columns in words."""
    return tuple(words.say(f"column.{key}") for key in keys)


def share_cells(parts: Parts, place: int, words: Words) -> tuple[str, str, str]:
    """Return amount, share and interval of one part of a whole."""
    part = [place]
    return parts.amount(part, words), parts.share(part, words), parts.interval(place, words)


def _held(words: Words, unit: TimeUnit) -> str:
    return words.say("column.held" if unit == "second" else "column.held_pictures")


def band_text(band: Band, angle: AngleName, words: Words) -> str:
    """Return a band by its edges: "25° to 85°", "over 85°", "up to 25°"."""
    low, high = (words.measure(edge, angle.name) for edge in (band.low, band.high))
    if band.low == float("-inf"):
        return words.say("band.up_to", high=high)
    if band.high == float("inf"):
        return words.say("band.over", low=low)
    return words.say("band.from_to", low=low, high=high)


def judged_table(exposure: Exposure, words: Words) -> Table:
    """Return how much could be judged, angle by angle."""
    rows = []
    for name, unjudged in unjudged_shares(exposure).items():
        both = [Share(exposure.total, each, each, each) for each in (1 - unjudged, unjudged)]
        parts = parts_of_whole(both, exposure.total, exposure.unit)
        told, rest = (parts.share([at], words) for at in range(2))
        rows.append((words.name("angle", name), told, f"{NOT_JUDGED.symbol} {rest}"))
    return Table(
        words.say("caption.judged"),
        column_names(words, "angle", "judged", "not_judged"),
        tuple(rows),
        is_narrow=True,
    )


TIME_LIMITED = "time_limited"
"""Band of a rule that draws a holding-time line; no other rule limits time."""


def limits_table(exposure: Exposure, words: Words, *, headline: bool) -> Table:
    """Return the time in every range of the rules in the figures, or of all the others.

    Every row holds all ranges of one angle by one rule and the unjudged time, so
    that a row adds up to the session.
    """
    rows = tuple(
        _limit_row(limits, exposure, words)
        for limits in exposure.limits
        if is_plotted(limits) == headline
    )
    columns = column_names(words, "angle", "rule")
    columns += tuple(
        f"{mark.symbol} {words.capital(words.say(f'strain.{name}'))}"
        for mark, name in zip((*STRAIN_MARKS, NOT_JUDGED), STRAIN_NAMES, strict=True)
    )
    return Table(words.say("caption.limits" if headline else "caption.more_limits"), columns, rows)


def _limit_row(limits: LimitShares, exposure: Exposure, words: Words) -> tuple[str, ...]:
    angle, parts = limits.limits.angle, limit_parts(limits, exposure)
    by_strain: list[list[str]] = [[], [], []]
    for at, band in enumerate(limits.limits.bands):
        range_text = band_text(band, angle, words)
        if band.name == TIME_LIMITED:
            range_text = words.say("strain.time_limited", range=range_text)
        text = f"{range_text}: {share_text(parts, at, words)}"
        by_strain[band.strain].append(text)
    return (
        words.name("angle", angle.name),
        _rule_text(limits.limits, words),
        *("\n".join(texts) for texts in by_strain),
        share_text(parts, len(limits.held), words),
    )


def _rule_text(limits: LimitSet, words: Words) -> str:
    """Return the rule's name, below it the marks of :func:`marks_legend`."""
    return f"{words.name('rules', limits.rule)}\n{marks_of(limits.status)}"


def marks_legend(words: Words) -> str:
    """Return what the small marks beside rules, methods and figures mean; said once."""
    each = " · ".join(f"{mark} {words.say(f'marks.{name}')}" for name, mark in MARKS.items())
    return words.say("marks.legend", each=each)


def checked(status: str) -> str:
    """Return how far a value is known: the marks, and the keys of the texts that were read."""
    return " ".join([marks_of(status), ", ".join(cited(status))]).strip()


def texts_table(words: Words) -> Table:
    """Return the texts that were read, by the key under which tables cite them."""
    rows = tuple((each.key, each.name, each.address, each.read) for each in sources().values())
    return Table(
        words.say("caption.texts"), column_names(words, "key", "text", "address", "read"), rows
    )


def share_text(parts: Parts, place: int, words: Words) -> str:
    """Return one part of a whole in one cell: "7 min 7 s, 59 % (53 % to 65 %)"."""
    amount, part, interval = share_cells(parts, place, words)
    return f"{amount}, {part} ({interval})" if interval else f"{amount}, {part}"


def longest_holds(exposure: Exposure) -> tuple[HoldRecord, ...]:
    """Return the longest holds of strained postures, the longest first."""
    strained = (hold for hold in exposure.holds if hold.is_strained)
    return tuple(sorted(strained, key=lambda hold: -hold.length_s)[:LONGEST_HOLDS])


def holds_table(exposure: Exposure, words: Words) -> Table | None:
    """Return the longest holds of strained postures; None without any."""
    shown = longest_holds(exposure)
    if not shown:
        return None
    columns = column_names(
        words, "angle", "recording", "start", "length", "mean", "allowed", "beyond", "clock", "rest"
    )
    total = sum(hold.is_strained for hold in exposure.holds)
    caption = words.say("caption.holds", n=len(shown), total=total)
    return Table(caption, columns, tuple(_hold_row(hold, words) for hold in shown))


def _hold_row(hold: HoldRecord, words: Words) -> tuple[str, ...]:
    name = hold.angle.name
    spread = words.measure(1.645 * hold.sd, name)
    mean = words.say("number.plus_minus", value=words.measure(hold.mean, name), spread=spread)
    clock = "" if hold.clock_hour is None else words.say("clock.hour", h=hold.clock_hour)
    return (
        words.name("angle", name),
        hold.source,
        words.clock_time(hold.start_s),
        words.duration(hold.length_s),
        mean,
        _allowed(hold, words),
        _is_beyond(hold, words),
        clock,
        words.duration(hold.rest_after_s),
    )


def _allowed(hold: HoldRecord, words: Words) -> str:
    if hold.limit_s is None:
        return words.say("strain.beyond" if hold.strain == 2 else "holds.no_line")
    if not hold.limit_s > 0:
        return words.say("holds.not_recommended")
    origin = line_origin(hold.angle.name)
    note = MEMORY if origin is not None and origin.is_from_memory else ""
    return f"{words.duration(hold.limit_s)} {note}".strip()


def _is_beyond(hold: HoldRecord, words: Words) -> str:
    if hold.is_beyond_line is None:
        return words.say("number.unknown")
    answer = words.say("holds.yes" if hold.is_beyond_line else "holds.no")
    return f"{answer} ({words.share(hold.beyond_probability)})"


def spread_table(exposure: Exposure, words: Words) -> Table:
    """Return the percentiles of every angle, each with its interval."""
    rows = []
    for percentiles in exposure.percentiles:
        name = percentiles.angle.name
        cells = [words.name("angle", name)]
        for estimate in (percentiles.p10, percentiles.p50, percentiles.p90):
            low, high = (words.measure(edge, name) for edge in (estimate.low, estimate.high))
            interval = words.say("number.range", low=low, high=high)
            cells.append(f"{words.measure(estimate.value, name)} ({interval})")
        rows.append(tuple(cells))
    columns = column_names(words, "angle", "p10", "p50", "p90")
    return Table(words.say("caption.spread"), columns, tuple(rows))


def group_table(
    groups: tuple[Group, ...], shown: LimitShares | None, exposure: Exposure, words: Words
) -> Table | None:
    """Return the time in each group and how much of it was beyond one limit."""
    if not groups or shown is None:
        return None
    kind, unit = groups[0].kind, exposure.unit
    times = parts_of_whole([group.held for group in groups], exposure.total, unit)
    rows = []
    for at, group in enumerate(groups):
        own = next(x for x in group.limits if x.limits == shown.limits)
        rows.append(
            (
                group_name(group, words),
                *share_cells(times, at, words)[:2],
                *_beyond_cells(own, exposure, words),
            )
        )
    head = {"clock": "position", "task": "task", "mouth_area": "area"}[kind]
    columns = (
        words.say(f"column.{head}"),
        _held(words, unit),
        *column_names(words, "share", "beyond_here", "share_here", "interval", "not_judged"),
    )
    return Table(words.say(f"caption.{kind}"), columns, tuple(rows))


def _beyond_cells(limits: LimitShares, exposure: Exposure, words: Words) -> tuple[str, ...]:
    """Return amount, share and interval beyond a limit in a group, and its unjudged share."""
    parts, beyond = limit_parts(limits, exposure), strained_places(limits, 2)
    within = limits.unjudged.of - limits.unjudged.amount - limits.beyond.amount
    rest = within / limits.unjudged.of if limits.unjudged.of > 0 else math.nan
    whole = (limits.beyond, Share(limits.unjudged.of, rest, rest, rest), limits.unjudged)
    interval = parts_of_whole(whole, exposure.total, exposure.unit).interval(0, words)
    return (
        parts.amount(beyond, words),
        parts.share(beyond, words),
        interval,
        f"{NOT_JUDGED.symbol} {parts.share([len(limits.held)], words)}",
    )


def group_name(group: Group, words: Words) -> str:
    """Return the readers' name of a group."""
    if group.name == UNKNOWN:
        return words.say("clock.unknown" if group.kind == "clock" else "groups.unknown")
    return words.say("clock.hour", h=group.name) if group.kind == "clock" else group.name


def scores_table(exposure: Exposure, words: Words) -> Table | None:
    """Return the time at every action level, one row per method and side."""
    rows = tuple(_score_row(levels, exposure, words) for levels in exposure.scores)
    columns = (
        *column_names(words, "method", "side", "levels"),
        f"{NOT_JUDGED.symbol} {words.say('column.not_judged')}",
    )
    return Table(words.say("caption.scores"), columns, rows) if rows else None


def _score_row(levels: LevelShares, exposure: Exposure, words: Words) -> tuple[str, ...]:
    parts = level_parts(levels, exposure)
    return (
        words.name("rules", levels.method),
        words.say(f"scores.sides.{levels.side}"),
        "\n".join(_level_lines(levels, parts, exposure.total, words)),
        share_text(parts, len(levels.held), words),
    )


def _level_lines(levels: LevelShares, parts: Parts, total: float, words: Words) -> list[str]:
    """Return the time at each level, and below it the inputs that decide it."""
    lines = []
    for at, (level, mark) in enumerate(
        zip(levels.levels, marks_for(len(levels.levels)), strict=True)
    ):
        lines.append(f"{level_text(level, mark, words)}: {share_text(parts, at, words)}")
        deciders = levels.decided_by[at] if levels.decided_by else ()
        if deciders:
            each = ", ".join(
                f"{words.name('inputs', decider.name)} "
                f"{rounded_whole(decider.held.amount, total, parts.unit, words)}"
                for decider in deciders
            )
            lines.append(words.say("scores.decided_by", each=each))
    return lines


def level_text(level: Level, mark: StrainMark, words: Words) -> str:
    """Return a level as the method prints it, with its mark."""
    return f"{mark.symbol} {words.name('printed', level.printed)}"


def levels_table(exposure: Exposure, words: Words) -> Table:
    """Return what each method says its levels mean."""
    rows: dict[tuple[str, ...], None] = {}
    for levels in exposure.scores:
        for level, mark in zip(levels.levels, marks_for(len(levels.levels)), strict=True):
            meaning = words.name(f"levels.{levels.method}", level.printed, level.meaning)
            head = words.name("rules", levels.method)
            rows[(head, level_text(level, mark, words), meaning)] = None
    columns = column_names(words, "method", "level", "meaning")
    return Table(words.say("caption.levels"), columns, tuple(rows))


def sources_table(exposure: Exposure, words: Words) -> Table:
    """Return where the limits are printed and how far that was checked."""
    angles: dict[tuple[str, str, str], list[str]] = {}
    for limits in (shares.limits for shares in exposure.limits):
        place = (words.name("rules", limits.rule), limits.source, limits.status)
        angles.setdefault(place, []).append(words.name("angle", limits.angle.name))
    rows = tuple(
        (rule, "\n".join(names), source, checked(status))
        for (rule, source, status), names in angles.items()
    )
    columns = column_names(words, "rule", "angle", "source", "checked")
    return Table(words.say("caption.sources"), columns, rows)
