"""Damage files and whole jobs at random: nothing but an answer or a message may come of it.

    python -m tests.bench.fuzz [COUNT] [FIRST]

runs COUNT trials (10,000 if left out) from number FIRST on, each within `BOUND_S` seconds of a
processor. It prints how many there were of each kind, the slowest, and every fault once, with the
kind and number that bring it back: `run_trial(kind, number, folder)` of tests/support/damage.py. It
ends with 1 where there was any.
"""

import random
import signal
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from pathlib import Path
from types import FrameType

from tests.support.damage import WEIGHTS, run_trial

BOUND_S = 10
"""No trial may take more of a processor's time: the files are small."""
_STUCK_S = 300
"""Nor may it wait so long without working; other work on the machine counts here."""


class _TooLongError(BaseException):
    """Not an Exception, so that no reader takes it for a fault of its input."""


def _stop(_: int, __: FrameType | None) -> None:
    raise _TooLongError


def _place(fault: BaseException) -> str:
    """Return where a fault arose, so that the same one counts once."""
    frames = traceback.extract_tb(fault.__traceback__)
    ours = [f for f in frames if "checker" in Path(f.filename).parts] or frames
    last = ours[-1]
    return f"{type(fault).__name__} in {Path(last.filename).name}:{last.lineno} ({last.name})"


def main() -> int:
    """Run the trials and print what came of them."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    for each in (signal.SIGALRM, signal.SIGPROF):
        signal.signal(each, _stop)
    warnings.simplefilter("error")  # they would stand in the user's terminal
    done: Counter[str] = Counter()
    faults: Counter[str] = Counter()
    slowest = (0.0, "")
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as place:
        for number in range(first, first + count):
            kind = random.Random(number).choices(list(WEIGHTS), list(WEIGHTS.values()))[0]
            folder = Path(place) / kind
            folder.mkdir(exist_ok=True)
            start = time.process_time()
            signal.alarm(_STUCK_S)
            signal.setitimer(signal.ITIMER_PROF, BOUND_S)
            try:
                run_trial(kind, number, folder)
            except KeyboardInterrupt:
                break
            except BaseException as fault:  # noqa: BLE001  (whatever it is, it is a finding)
                key = _place(fault)
                if not faults[key]:
                    said = "".join(traceback.format_exception(fault, limit=-4))[-1500:]
                    print(f"-- {kind} {number}: {key}\n{said}", flush=True)
                faults[key] += 1
            finally:
                signal.alarm(0)
                signal.setitimer(signal.ITIMER_PROF, 0)
            done[kind] += 1
            slowest = max(slowest, (time.process_time() - start, f"{kind} {number}"))
            if sum(done.values()) % 5000 == 0:
                print(f"{sum(done.values()):,} of {count:,}", file=sys.stderr, flush=True)
    spent = time.monotonic() - began
    print(f"{sum(done.values()):,} trials in {spent:.0f} s: {dict(sorted(done.items()))}")
    print(f"slowest: {slowest[0]:.2f} s ({slowest[1]}); the bound is {BOUND_S} s")
    print(f"faults: {sum(faults.values())}, of {len(faults)} kinds")
    for key, times in faults.most_common():
        print(f"  {times:6} {key}")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
