"""Do the 95 % intervals of a comparison hold the true difference in 95 % of cases?

Run by hand: ``python tests/accuracy/bootstrap_coverage.py [PAIRS]``. Simulates
pairs of sessions in which a posture is kept for a while and then changed, so that
frames are far from independent, measures them with a common error and an error
that is new in every frame, and compares them as the program does. The true
difference is that of the process in the long run. Our own model of errors is taken
for true here; what is tested is the sampling of blocks, the interval and its use.

Run once with 500 pairs a row (standard error of a coverage: 1 %). Share of intervals
that held the true difference, for time beyond the limit, median, 90th percentile:

======= ====== ============== ======== ====== ====== ======
minutes kept_s before, after  error sd beyond    p50    p90
======= ====== ============== ======== ====== ====== ======
     12     10     24, 24 deg        0 95.2 % 96.6 % 93.4 %
     12     10     24, 30 deg        0 95.4 % 95.6 % 95.4 %
     12     25     24, 30 deg        0 95.2 % 97.6 % 93.4 %
     12     10     24, 30 deg        5 94.2 % 94.8 % 97.2 %
     30     25     24, 30 deg        0 94.8 % 95.6 % 94.2 %
     30     25     18, 24 deg        5 94.8 % 96.4 % 96.8 %
======= ====== ============== ======== ====== ====== ======
"""

import sys
from dataclasses import dataclass

import numpy as np

from ergo.notes.notes import Notes
from ergo.posture.angle_names import COLUMN, NAMES
from ergo.posture.clock_track import ClockTrack
from ergo.posture.posture_track import PostureTrack
from ergo.stats.bootstrap import difference, draws_of
from ergo.stats.compare import SAME_PLACE_CORRELATION, measuring_variance
from ergo.stats.figures import beyond_share, percentile
from ergo.stats.limits import limit_set
from ergo.stats.pool import Measured, pooled
from ergo.stats.uncertain import COMMON_SHARE
from ergo.timeline import build_timeline

ANGLE = "neck_flexion_deg"
LIMITS = limit_set("iso11226", ANGLE)
SPREAD_DEG, WANDER_DEG, FRAME_STEP_S, LONG = 9.0, 1.5, 1.0, 4_000_000


@dataclass(frozen=True)
class Case:
    """Two processes: mean before and after, how long a posture lasts, and how long is filmed."""

    minutes: int
    kept_s: float
    before_deg: float
    after_deg: float
    error_sd_deg: float


CASES = (
    Case(12, 10, 24, 24, 0.01),
    Case(12, 10, 24, 30, 0.01),
    Case(12, 25, 24, 30, 0.01),
    Case(12, 10, 24, 30, 5),
    Case(30, 25, 24, 30, 0.01),
    Case(30, 25, 18, 24, 5),
)


def postures(mean_deg, kept_s, frames, chance):
    """Postures kept for exponentially long times, with a slow wander on top."""
    stays = chance.exponential(kept_s, int(2 * frames * FRAME_STEP_S / kept_s) + 50)
    times = np.arange(frames) * FRAME_STEP_S
    which = np.searchsorted(np.cumsum(stays), times)
    levels = chance.normal(0, SPREAD_DEG, which.max() + 1)
    return mean_deg + levels[which] + WANDER_DEG * np.sin(times / 40 + chance.uniform(0, 2 * np.pi))


def truth(mean_deg, chance):
    """Return share beyond the limit, 50th and 90th percentile in the long run.

    At a moment far from the start the posture kept is any posture, and the slow
    wander is anywhere in its cycle, however long postures are kept.
    """
    anywhere = WANDER_DEG * np.sin(chance.uniform(0, 2 * np.pi, LONG))
    angle = mean_deg + chance.normal(0, SPREAD_DEG, LONG) + anywhere
    return np.array([np.mean(angle > LIMITS.limit), *np.quantile(angle, [0.5, 0.9])])


def session(mean_deg, case, common, chance):
    frames = int(case.minutes * 60 / FRAME_STEP_S)
    own = chance.normal(0, np.sqrt(1 - COMMON_SHARE), frames)
    error = case.error_sd_deg * (np.sqrt(COMMON_SHARE) * common + own)
    value = np.full((frames, len(NAMES)), np.nan)
    value[:, COLUMN[ANGLE]] = postures(mean_deg, case.kept_s, frames, chance) + error
    sd = np.where(np.isfinite(value), case.error_sd_deg, np.nan)
    posture = PostureTrack(value, sd, np.ones(frames, bool), np.zeros(frames, bool))
    unknown = np.full(frames, np.nan)
    timeline = build_timeline(("clip",), (np.arange(frames) * FRAME_STEP_S,), (True,))
    clock = ClockTrack(unknown, unknown, ("not judged",) * frames, "not judged")
    return Measured("", timeline, posture, clock, (), (Notes(),), (), unknown)


def figures(measured):
    pool = pooled([measured])
    draws, everything = draws_of(pool.session_of_block), np.ones(len(pool.held), bool)
    return (
        beyond_share(pool, draws, LIMITS, everything),
        percentile(pool, draws, ANGLE, 0.5),
        percentile(pool, draws, ANGLE, 0.9),
    )


def held(case, pairs, chance):
    """Return in which share of pairs each interval holds the truth, and its mean width."""
    true = truth(case.after_deg, chance) - truth(case.before_deg, chance)
    inside, width = np.zeros(3), np.zeros(3)
    for _ in range(pairs):
        shared, rest = chance.normal(size=2)
        other = SAME_PLACE_CORRELATION * shared + np.sqrt(1 - SAME_PLACE_CORRELATION**2) * rest
        first = figures(session(case.before_deg, case, shared, chance))
        second = figures(session(case.after_deg, case, other, chance))
        for place, (a, b) in enumerate(zip(first, second, strict=True)):
            moved = measuring_variance(a.moved, b.moved, SAME_PLACE_CORRELATION)
            change, _ = difference(b.value - a.value, a.spread, b.spread, moved)
            inside[place] += change.low <= true[place] <= change.high
            width[place] += change.high - change.low
    return inside / pairs, width / pairs, true


def main():
    pairs = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    print(f"{pairs} pairs a row; share of 95 % intervals that hold the true difference")
    print(
        "minutes kept_s before after error_sd | true difference, mean width, held: beyond p50 p90"
    )
    for row, case in enumerate(CASES):
        inside, width, true = held(case, pairs, np.random.default_rng([2026, row]))
        cells = [
            f"{t:6.2f} {w:5.2f} {100 * i:5.1f} %"
            for t, w, i in zip(true, width, inside, strict=True)
        ]
        print(
            f"{case.minutes:7d} {case.kept_s:6.0f} {case.before_deg:6.0f} {case.after_deg:5.0f}"
            f" {case.error_sd_deg:8.2f} | " + " | ".join(cells),
            flush=True,
        )


if __name__ == "__main__":
    main()
