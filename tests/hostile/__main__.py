"""Attack the program: every answer must be a result or one clear line.

    python -m tests.hostile                       # 10,000 seeded cases
    python -m tests.hostile --cases 1000 --only clips
    python -m tests.hostile --case "clips 17"     # one case again, with its trace
    python -m tests.hostile --kills 50            # what is stopped at random moments

Exit code 1 if anything failed. Cases are the same every time; ``--seed`` gives others.
"""

import argparse
import os
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from tests.hostile.attacks import ATTACKS
from tests.hostile.running import Answer, Case, answers


def cases_of(count: int, only: str | None = None, seed: int = 0) -> list[Case]:
    """Return so many cases in all, each attack by its share."""
    shares = {name: share for name, (_, share) in ATTACKS.items() if only in (None, name)}
    whole = sum(shares.values())
    return [
        (name, seed * 1_000_000 + number)
        for name, share in shares.items()
        for number in range(max(1, round(count * share / whole)))
    ]


def main() -> int:
    """Run what is asked for and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=10_000)
    parser.add_argument("--only", choices=tuple(ATTACKS))
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--case", metavar="'NAME NUMBER'")
    parser.add_argument("--kills", type=int)
    parser.add_argument("--act", help="With --kills: this act alone.")
    wanted = parser.parse_args()
    if wanted.case:
        return _again(wanted.case)
    if wanted.kills:
        from tests.hostile.kills import main as kill

        return kill(wanted.kills, wanted.act)
    return _attack(cases_of(wanted.cases, wanted.only, wanted.seed))


def _attack(cases: list[Case]) -> int:
    begun, count = time.monotonic(), Counter[tuple[str, str]]()
    failed: list[Answer] = []
    for answer in answers(cases):
        count[answer.name, answer.kind] += 1
        if answer.kind == "failed":
            failed.append(answer)
            print(f"FAILED {answer.name} {answer.number}: {answer.told}", flush=True)
    print(f"{'attack':<12}{'tried':>8}{'taken':>8}{'refused':>9}{'failed':>8}")
    for name in [*dict.fromkeys(name for name, _ in cases), "all"]:
        row = [
            sum(
                n
                for (each, kind), n in count.items()
                if name in (each, "all") and wanted in (kind, "")
            )
            for wanted in ("", "taken", "refused", "failed")
        ]
        print(f"{name:<12}{row[0]:>8}{row[1]:>8}{row[2]:>9}{row[3]:>8}")
    print(f"{time.monotonic() - begun:.0f} s")
    return 1 if failed else 0


def _again(case: str) -> int:
    import random

    from tests.hostile.material import Material

    name, number = case.split()
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "material").mkdir()
        (Path(folder) / "case").mkdir()
        material = Material(Path(folder) / "material")
        os.chdir(Path(folder) / "case")
        try:
            ATTACKS[name][0](random.Random(f"{name} {number}"), Path(folder) / "case", material)
        finally:
            material.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
