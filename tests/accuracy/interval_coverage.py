"""Do the 95 % intervals of a comparison hold the true difference in 95 % of cases?

Run by hand: ``nice python -m tests.accuracy.interval_coverage [PAIRS]``. Simulates pairs of
recordings of the same work, in which a posture is kept for a while and then changed, so that
moments are far from independent, and compares them as the program does. The true difference
is 0. Two kinds of work: postures kept for exponentially long times (correlation exp(-t/T)),
and a posture that wanders (Ornstein-Uhlenbeck process of the same correlation); T is the time
constant. Errors of measurement are left out: what is tested is what chance does.

For each length and time constant: share of all intervals that held 0 (of recordings too
short to tell too, whose intervals nobody is told), and in brackets the share of pairs that
were told to be too short. ``told`` is the share of all pairs that were told a difference
that is not there (95 % interval without 0): goal 5 % or less.
"""

import sys
from dataclasses import dataclass, replace

import numpy as np

from ergo.comparison.compared_measures import (
    beyond_share,
    holds_per_hour,
    level_share,
    percentile,
    whole,
)
from ergo.comparison.intervals import difference
from ergo.comparison.pool import Measured, pooled
from ergo.exposure.limits import limit_set
from ergo.notes.notes import Notes
from ergo.posture.angle_names import COLUMN, NAMES
from ergo.posture.posture_track import PostureTrack
from ergo.scores.method_score import Level, MethodScore
from ergo.timeline import build_timeline
from ergo.workplace.clock_track import ClockTrack

NECK, TRUNK = "neck_flexion_deg", "trunk_inclination_deg"
LIMITS = limit_set("iso11226", NECK)
LEVELS = tuple(Level(str(n), (n, n), "") for n in (1, 2, 3, 4))
MEAN_DEG, SPREAD_DEG, STEP_S = 24.0, 9.0, 1.0
MINUTES, CONSTANTS_S = (5, 10, 30, 60), (5, 20, 60, 120, 180)


def kept(constant_s, frames, chance):
    """Standard values, each kept for an exponentially long time."""
    stays = chance.exponential(constant_s, int(2 * frames * STEP_S / constant_s) + 50)
    which = np.searchsorted(np.cumsum(stays), np.arange(frames) * STEP_S)
    return chance.standard_normal(which.max() + 1)[which]


def wandering(constant_s, frames, chance):
    """Standard values of an Ornstein-Uhlenbeck process."""
    from scipy.signal import lfilter

    left = np.exp(-STEP_S / constant_s)
    steps = chance.standard_normal(frames)
    steps[1:] *= np.sqrt(1 - left**2)
    return lfilter([1.0], [1.0, -left], steps)


WORK = {"kept": kept, "wandering": wandering}


def session(work, minutes, constant_s, chance):
    frames = int(minutes * 60 / STEP_S)
    angle = MEAN_DEG + SPREAD_DEG * WORK[work](constant_s, frames, chance)
    value = np.full((frames, len(NAMES)), np.nan)
    value[:, COLUMN[NECK]] = angle
    value[:, COLUMN[TRUNK]] = np.abs(angle + 12)
    value[:, COLUMN["trunk_flexion_deg"]] = angle + 12
    sd = np.where(np.isfinite(value), 0.01, np.nan)
    level = np.where(angle > MEAN_DEG + SPREAD_DEG, 4, 2)
    score = MethodScore("rula", "left", {}, {}, level, level, np.eye(4)[level - 1], LEVELS, ())
    unknown = np.full(frames, np.nan)
    timeline = build_timeline(("clip",), (np.arange(frames) * STEP_S,), (True,))
    clock = ClockTrack(unknown, unknown, ("not judged",) * frames, "not judged")
    posture = PostureTrack(value, sd, np.ones(frames, bool), np.zeros(frames, bool))
    return Measured("", timeline, posture, clock, (score,), (Notes(),), (), unknown)


FIGURES = {
    "beyond": lambda pool: beyond_share(pool, LIMITS, whole(pool)),
    "p50": lambda pool: percentile(pool, NECK, 0.5),
    "p90": lambda pool: percentile(pool, NECK, 0.9),
    "level": lambda pool: level_share(pool, ("rula", "left"), whole(pool)),
    "holds": lambda pool: holds_per_hour(pool, TRUNK),
}


@dataclass
class Tally:
    """How often of ``pairs`` an interval held 0, and how often it was told."""

    pairs: int = 0
    held: int = 0
    short: int = 0
    wrong: int = 0

    def add(self, first, second):
        spreads = [replace(each.spread, effective=np.inf) for each in (first, second)]
        change, _ = difference(second.value - first.value, *spreads, 0.0)
        is_short = first.spread.is_too_short or second.spread.is_too_short
        holds = not (change.low > 0 or change.high < 0)
        self.pairs += 1
        self.held += holds
        self.short += is_short
        self.wrong += not holds and not is_short

    def text(self):
        held, short, wrong = (
            100 * each / self.pairs for each in (self.held, self.short, self.wrong)
        )
        return f"{held:5.1f} ({short:3.0f}) {wrong:4.1f}"


def tallied(work, minutes, constant_s, pairs, sessions, chance):
    found = {name: Tally() for name in FIGURES}
    for _ in range(pairs):
        before, after = (
            pooled([session(work, minutes, constant_s, chance) for _ in range(sessions)])
            for _ in range(2)
        )
        for name, figure in FIGURES.items():
            found[name].add(figure(before), figure(after))
    return found


def main():
    pairs = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    print(f"{pairs} pairs a row: intervals that held 0 [%] (told too short [%]) told wrongly [%]")
    for sessions in (1, 3):
        for work in WORK:
            print(
                f"\n{sessions} session(s) a side, {work}\nmin  T[s]  "
                + "            ".join(FIGURES)
            )
            for minutes in MINUTES if sessions == 1 else MINUTES[1:2]:
                for constant_s in CONSTANTS_S:
                    chance = np.random.default_rng([2026, minutes, constant_s, sessions])
                    found = tallied(work, minutes, constant_s, pairs, sessions, chance)
                    cells = "  ".join(each.text() for each in found.values())
                    print(f"{minutes:3d} {constant_s:5d}  {cells}", flush=True)


if __name__ == "__main__":
    main()
