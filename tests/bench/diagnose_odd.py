"""Print how the diagnoses fare on odd jobs: what was done against what was named.

python -m tests.bench.diagnose_odd [jobs per situation] [first seed] [situation ...]
"""

import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

from checker.run import check, document
from tests.bench.diagnose_folders import NEAR
from tests.support.odd_jobs import SITUATIONS, Told, write_odd


def tried(seed: int, situation: str) -> tuple[list[Told], list[dict[str, Any]]]:
    """Return what was done to the job of a seed, and what its results.json says."""
    with tempfile.TemporaryDirectory() as folder:
        told = write_odd(seed, situation, Path(folder))
        found: Any = document(check(Path(folder)))["diagnoses"]
    return told, found


def own(told: Told, found: list[dict[str, Any]]) -> dict[str, Any] | None:
    """Return the diagnosis that names what was done, to the rows that it was done to."""
    named = [each for each in found if each["blunder"] in told.slugs]
    for each in named:
        where = each["applies_to"]
        if told.ids:
            if set(told.ids) == set(where["ids"]) or len(told.ids) > 200:
                return each
        elif told.by in ("all", "check") or (where["by"], where["group"]) == (told.by, told.group):
            return each
    return named[0] if named else None


def amiss(told: Told, found: dict[str, Any]) -> list[str]:
    """Return what else is wrong with a diagnosis that names the right cause."""
    wrong, where = [], found["applies_to"]
    for key, true in told.parameter.items():
        said = found["parameter"].get(key)
        near = max(NEAR.get(key, max(0.08, 1e-4 * abs(true))), 0.0)
        near = 1e-5 * true if key == "factor" else near
        near = max(near, 1.5 * found["support"].get(f"{key}_95", 0.0))
        if said is None or abs(said - true) > near:
            wrong.append(f"{key} {said} not {true:.6g}")
    if told.by not in ("all", "check") and (where["by"], where["group"]) != (told.by, told.group):
        wrong.append(f"group {where['by']} {where['group']} not {told.by} {told.group}")
    if told.ids and len(told.ids) < 200 and set(where["ids"]) != set(told.ids):
        wrong.append(f"{len(where['ids'])} ids, not {len(told.ids)}")
    return wrong


def main() -> None:
    each = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    total = right = listed = inside = stated = 0
    for situation in sys.argv[3:] or SITUATIONS:
        counts: Counter[str] = Counter()
        begin = time.perf_counter()
        for seed in range(first, first + each):
            told, found = tried(seed, situation)
            names = [item["blunder"] for item in found]
            notes, used = [], []
            for one in told:
                total += 1
                mine = own(one, found)
                if mine is None:
                    beside = any(x["blunder"] in one.slugs for item in found for x in item["also"])
                    listed += beside
                    notes.append(f"{one.slugs[0]} {'listed' if beside else 'MISSED'}")
                    counts["listed" if beside else "missed"] += 1
                    continue
                used.append(mine["blunder"])
                right += 1
                counts["named"] += 1
                notes += amiss(one, mine)
                for key, true in one.parameter.items():
                    half = mine["support"].get(f"{key}_95")
                    if half is not None:
                        stated += 1
                        inside += abs(mine["parameter"][key] - true) <= half
            more = list((Counter(names) - Counter(used)).elements())
            if more:
                counts["further"] += 1
                notes.append(f"further: {more}")
            if not told and not found:
                counts["silent"] += 1
            if notes:
                done = [(one.slugs[0], one.by, one.group) for one in told]
                print(f"      {situation} {seed}: {'; '.join(notes)} {done}")
        seconds = (time.perf_counter() - begin) / each
        table = ", ".join(f"{name} {count}" for name, count in counts.most_common())
        print(f"  {situation:<22} {seconds:5.2f} s  {table}", flush=True)
    print(f"  named {right}, listed beside {listed}, of {total}")
    print(f"  inside the 95 % interval: {inside} of {stated}")


if __name__ == "__main__":
    main()
