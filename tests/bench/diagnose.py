"""Print how the diagnoses fare on invented jobs: a table of what was done and what was named.

python -m tests.bench.diagnose [cases per cause] [first seed] [cause ...]
"""

import sys
import time
from collections import Counter

from tests.support.blunders import COMMON, make_case
from tests.support.diagnoses import covered, hit, listed, named


def main() -> None:
    each = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1000
    only = sys.argv[3:] or ["", "few-bad-stakes", *COMMON]
    for hard in (False, True):
        print("hard cases" if hard else "plain cases", flush=True)
        inside: list[bool] = []
        total = right = 0
        for number, blunder in enumerate(only):
            counts: Counter[str] = Counter()
            more = 0
            begin = time.perf_counter()
            for seed in range(first + 1000 * number, first + 1000 * number + each):
                case = make_case(seed, blunder, hard=hard)
                found = named(case)
                names = [item.cause.blunder for item in found]
                truth = case.truth.blunder
                own = hit(case, found)
                what = ", ".join(names) or "nothing"
                if truth:
                    if own is not None:
                        what = truth
                    elif listed(case, found):
                        what = f"also {truth}"
                    total += 1
                    right += what in (truth, f"also {truth}")
                    more += len(found) > 1
                if own is not None:
                    inside += covered(case, own)
                counts[what] += 1
                if (truth and own is None) or len(found) > bool(truth):
                    print(f"    seed {seed}: {blunder or 'clean'} -> {names}", flush=True)
            seconds = (time.perf_counter() - begin) / each
            table = ", ".join(f"{name} {count}" for name, count in counts.most_common())
            print(
                f"  {blunder or 'clean':<18} {seconds:5.2f} s  {table}  (further causes: {more})",
                flush=True,
            )
        if total:
            print(f"  named or listed: {right} of {total}")
        if inside:
            print(f"  inside the 95 % interval: {sum(inside)} of {len(inside)}")


if __name__ == "__main__":
    main()
