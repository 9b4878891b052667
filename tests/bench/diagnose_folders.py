"""Print how the diagnoses fare on job folders: what was done against what was named.

python -m tests.bench.diagnose_folders [jobs per cause] [first seed] [fault ...]
"""

import math
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

from checker.run import check, document
from tests.support.site_faults import FAULTS, SILENT, Done, write_trial

NEAR = {"angle_deg": 0.02, "scale_ppm": 25.0, "ppm": 1e-3, "factor": 1e-5}
"""How near a parameter without a stated interval must be; others 0.08 of the job's unit."""


def diagnosed(seed: int, fault: str, *, hard: bool) -> tuple[Done, list[dict[str, Any]]]:
    """Return what was done to the job of a seed, and what its results.json says."""
    with tempfile.TemporaryDirectory() as folder:
        done = write_trial(seed, fault, Path(folder), hard=hard)
        found: Any = document(check(Path(folder)))["diagnoses"]
    return done, found


def held(done: Done, found: dict[str, Any]) -> list[bool]:
    """Return for every parameter with a stated interval whether it holds what was done."""
    said = []
    for key, true in done.parameter.items():
        half = found["support"].get(f"{key}_95")
        if half is not None and not isinstance(true, str):
            said.append(abs(found["parameter"][key] - true) <= half)
    return said


def amiss(done: Done, found: dict[str, Any]) -> list[str]:
    """Return what else is wrong with a diagnosis that names the right cause."""
    wrong = []
    for key, true in done.parameter.items():
        said = found["parameter"].get(key)
        if said is None:
            wrong.append(f"{key} missing")
        elif isinstance(true, str):
            if said != true:
                wrong.append(f"{key} {said} not {true}")
        else:
            near = NEAR.get(key, max(0.08, 1e-4 * abs(true)))
            if key == "factor":
                near *= true
            if abs(said - true) > max(near, 1.5 * found["support"].get(f"{key}_95", 0.0)):
                wrong.append(f"{key} {said:.6g} not {true:.6g}")
    where = found["applies_to"]
    if done.by != "all" and (where["by"], where["group"]) != (done.by, done.group):
        wrong.append(f"group {where['by']} {where['group']} not {done.by} {done.group}")
    if done.ids and len(done.ids) < 200 and set(where["ids"]) != set(done.ids):
        wrong.append(f"ids {len(where['ids'])} not {len(done.ids)}")
    return wrong


def main() -> None:
    each = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    faults = sys.argv[3:] or [*SILENT, *FAULTS]
    for hard in (False, True):
        print("hard" if hard else "plain", flush=True)
        inside: list[bool] = []
        total = right = listed = 0
        for fault in faults:
            counts: Counter[str] = Counter()
            begin = time.perf_counter()
            for seed in range(first, first + each):
                done, found = diagnosed(seed, fault, hard=hard)
                names = [item["blunder"] for item in found]
                own = next((item for item in found if item["blunder"] == done.fault), None)
                beside = any(other["blunder"] == done.fault for i in found for other in i["also"])
                more = [name for name in names if name != done.fault]
                what = ", ".join(dict.fromkeys(names)) or "nothing"
                notes = [f"more: {more}"] if more else []
                if done.fault:
                    total += 1
                    right += own is not None
                    listed += own is None and beside
                    what = done.fault if own else f"listed with {what}" if beside else what
                if own is not None:
                    inside += held(done, own)
                    notes += amiss(done, own)
                counts[what] += 1
                if notes or (done.fault and own is None):
                    print(f"      {fault} {seed}: {what}; {'; '.join(notes)} {_facts(done)}")
            seconds = (time.perf_counter() - begin) / each
            table = ", ".join(f"{name} {count}" for name, count in counts.most_common())
            print(f"  {fault:<18} {seconds:5.2f} s  {table}", flush=True)
        if total:
            print(f"  named {right}, listed beside {listed}, of {total}")
        if inside:
            print(f"  inside the 95 % interval: {sum(inside)} of {len(inside)}")


def _facts(done: Done) -> str:
    return ", ".join(
        f"{k} {v:.4g}" if not isinstance(v, str) and math.isfinite(v) else f"{k} {v}"
        for k, v in done.parameter.items()
    ) + (f" ({done.by} {done.group})" if done.group else "")


if __name__ == "__main__":
    main()
