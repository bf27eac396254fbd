"""The bench's tables as text and as JSON."""

import dataclasses
import math
from collections.abc import Iterable, Sequence
from typing import Any

from tests.accuracy.goals import Verdict, goal
from tests.accuracy.measures import Agreement, Error
from tests.accuracy.result import Errors, Result

_SHORT = {
    "side_left": "side l",
    "side_right": "side r",
    "rear_oblique": "rear obl",
    "front_oblique": "front obl",
    "overhead_oblique": "overhead",
}

CAMERA = {"known": "camera known", "nothing": "nothing known"}


def result_text(result: Result) -> str:
    """Return all tables of one run."""
    title = f"{result.title.rsplit('_', 1)[0]}, {CAMERA[result.camera]}"
    parts = [
        f"== {title} ==",
        _finding_text(result),
        _errors_text(result),
        _views_text("Mean absolute error by view (90 % interval holds)", result.by_view),
        _agreement_text(result),
    ]
    return "\n\n".join(parts)


def _finding_text(result: Result) -> str:
    found = result.finding
    lines = [
        f"Operator found in {_percent(found.found)} of {found.pictures} pictures that show at "
        f"least half of the body; of these the right person {_percent(found.right)}."
    ]
    if not math.isnan(found.found_less):
        lines.append(f"Less than half in view ({found.pictures_less}): found in "
                     f"{_percent(found.found_less)}.")  # fmt: skip
    if found.missed:
        lines.append(f"Missed: {', '.join(found.missed)}")
    if found.wrong:
        lines.append(f"Somebody else: {', '.join(found.wrong)}")
    return "\n".join(lines)


_HEADINGS = (
    "angle", "n", "seen", "error", "bias", "90 %", "expl.", "unmeas.",
    "right person", "plain hybrid", "no picture", "goal",
)  # fmt: skip


def _errors_text(result: Result) -> str:
    column = "clip" if result.title.startswith("clip") else result.camera
    wants_goal = result.title.split("_")[0] in ("dev", "clip")
    rows = []
    for angle, error in result.whole.items():
        wanted = goal(angle, column) if wants_goal else math.nan
        rows.append(
            [
                angle,
                str(error.wanted),
                _percent(error.answered / error.wanted) if error.wanted else "-",
                _number(error.mean_absolute),
                _number(error.bias, sign=True),
                _percent(error.coverage),
                _number(error.explained, digits=2),
                _percent(error.unmeasurable),
                _number(result.of_operator[angle].mean_absolute),
                f"{_number(result.plain[angle].mean_absolute)} "
                f"({_percent(result.plain[angle].coverage)})",
                _number(result.no_picture[angle].mean_absolute),
                _goal(error.mean_absolute, wanted),
            ]
        )
    return table_text(_HEADINGS, rows)


def loss_text(full: Result, fast: Result) -> str:
    """Return what the quick look costs: errors of the careful look beside those of ``--fast``."""
    rows = [
        [
            angle,
            _percent(error.answered / error.wanted) if error.wanted else "-",
            _percent(fast.whole[angle].answered / error.wanted) if error.wanted else "-",
            _number(error.mean_absolute),
            _number(fast.whole[angle].mean_absolute),
            _number(fast.whole[angle].mean_absolute - error.mean_absolute, sign=True),
        ]
        for angle, error in full.whole.items()
    ]
    headings = ("angle", "seen", "fast", "error", "fast", "loss")
    return f"What --fast loses, {full.title}\n" + table_text(headings, rows)


def _goal(reached: float, wanted: float) -> str:
    if math.isnan(wanted):
        return ""
    return f"{wanted:g} {'met' if reached <= wanted else 'MISSED'}"


def _views_text(caption: str, by_view: dict[str, Errors] | Any) -> str:
    views = list(by_view)
    first = next(iter(by_view.values()))
    rows = [[angle, *(_cell(by_view[view][angle]) for view in views)] for angle in first]
    return f"{caption}\n" + table_text(["angle", *(_SHORT.get(view, view) for view in views)], rows)


def _cell(error: Error) -> str:
    if not error.answered:
        return "-"
    return f"{_number(error.mean_absolute)} ({_percent(error.coverage)})"


def _agreement_text(result: Result) -> str:
    rows = [_agreement_row("RULA grand score", result.grand)]
    rows += [_agreement_row(f"  {name}", each) for name, each in result.grand_otherwise.items()]
    rows += [_agreement_row(f"band {part}", each) for part, each in result.bands.items()]
    rows += [_agreement_row(f"step {part}", each) for part, each in result.steps.items()]
    headings = ["RULA against the true angles", "judged", "share judged", "within 1", "kappa"]
    promise = f"Promised by the program itself: within 1 in {_percent(result.promised_within_one)}."
    return f"{table_text(headings, rows)}\n{promise}"


def _agreement_row(name: str, each: Agreement) -> list[str]:
    return [
        name,
        str(each.judged),
        _percent(each.share_judged),
        _percent(each.within_one),
        _number(each.kappa, digits=2),
    ]


def verdicts_text(title: str, verdicts: Sequence[Verdict]) -> str:
    """Return the missed goals of one run, one a line."""
    lost = [each for each in verdicts if not each.is_met]
    head = f"{title}: {len(verdicts) - len(lost)} of {len(verdicts)} goals met."
    lines = [f"  missed  {each.what}: {each.reached:.3g}, goal {each.wanted:.3g}" for each in lost]
    return "\n".join([head, *lines])


def table_text(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return a table with the first column to the left and the others to the right."""
    lines = [list(headings), *map(list, rows)]
    widths = [max(len(line[column]) for line in lines) for column in range(len(headings))]
    return "\n".join(
        "  ".join(
            cell.ljust(width) if column == 0 else cell.rjust(width)
            for column, (cell, width) in enumerate(zip(line, widths, strict=True))
        ).rstrip()
        for line in lines
    )


def _percent(share: float) -> str:
    return "-" if math.isnan(share) else f"{100 * share:.0f} %"


def _number(value: float, *, digits: int = 1, sign: bool = False) -> str:
    if math.isnan(value):
        return "-"
    return f"{value:+.{digits}f}" if sign else f"{value:.{digits}f}"


def plain_values(content: Any) -> Any:
    """Return results as JSON values; NaN becomes null."""
    if dataclasses.is_dataclass(content) and not isinstance(content, type):
        return {
            part.name: plain_values(getattr(content, part.name))
            for part in dataclasses.fields(content)
        }
    if isinstance(content, dict):
        return {key: plain_values(value) for key, value in content.items()}
    if isinstance(content, list | tuple):
        return [plain_values(value) for value in content]
    return None if isinstance(content, float) and math.isnan(content) else content
