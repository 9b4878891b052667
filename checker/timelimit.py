"""A limit of time for one job: what takes longer is given up, and tidies up after itself."""

import _thread
import contextlib
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from types import FrameType
from typing import Final, NoReturn

from checker.errors import CheckerError
from checker.model.progress import Tell
from checker.text import printable

DEFAULT_S: Final = 3600.0
"""Many times what the largest jobs take: it stops only what would never end."""
LONGEST_S: Final = 1e7
_SOON_S: Final = 0.02
"""After so long it is tried again, where the first time was lost."""


class TimeLimitError(CheckerError):
    """A job took longer than it may."""


class _OutOfTimeError(BaseException):
    """Raised in the midst of the work; no handler of errors may take it for one of its own."""


@contextlib.contextmanager
def within_time(limit_s: float, job: str, tell: Tell) -> Iterator[Tell]:
    """Give up what runs inside after so many seconds; raises TimeLimitError.

    Yields what takes the steps of the run and hands them on, so that the message can name the last.
    Only the main thread can be stopped; in another one the work takes what it takes.
    """
    last = "starting"

    def noted(what: str, share: float | None = None) -> None:
        nonlocal last
        last = what
        tell(what, share)

    if threading.current_thread() is not threading.main_thread():
        yield noted
        return
    clock = _by_signal if hasattr(signal, "setitimer") else _by_thread
    try:
        with clock(limit_s):
            yield noted
    except _OutOfTimeError:
        raise TimeLimitError(
            f"{printable(job)}: given up after {span(limit_s)}, while {last}; where a "
            "report stands, it is the old one or the new one, whole\n"
            "    hint: give it more time with --time-limit; or split the job, by day or by area"
        ) from None


def span(seconds: float) -> str:
    """Return a span of time in the largest unit that shows it whole: "90 s", "10 min", "1 h"."""
    for length, unit in ((3600.0, "h"), (60.0, "min")):
        if seconds >= length and seconds % length == 0.0:
            return f"{seconds / length:g} {unit}"
    return f"{seconds:g} s"


@contextlib.contextmanager
def _by_signal(limit_s: float) -> Iterator[None]:
    def end(_: int, __: FrameType | None) -> NoReturn:
        raise _OutOfTimeError

    before = signal.signal(signal.SIGALRM, end)
    try:
        with _again_where_lost(lambda: signal.setitimer(signal.ITIMER_REAL, _SOON_S)):
            try:
                signal.setitimer(signal.ITIMER_REAL, limit_s)
                yield
            finally:
                signal.setitimer(signal.ITIMER_REAL, 0.0)
    finally:
        signal.signal(signal.SIGALRM, before)


@contextlib.contextmanager
def _by_thread(limit_s: float) -> Iterator[None]:
    """Do the same where the system has no alarm, by an interrupt from a thread of its own."""
    rung, over = threading.Event(), threading.Event()

    def ring(after_s: float) -> None:
        if not over.wait(after_s):
            rung.set()
            _thread.interrupt_main()

    def end(number: int, frame: FrameType | None) -> None:
        if rung.is_set() and not over.is_set():
            raise _OutOfTimeError
        if callable(before):
            before(number, frame)

    def start(after_s: float) -> None:
        threading.Thread(target=ring, args=(after_s,), daemon=True).start()

    before = signal.signal(signal.SIGINT, end)
    try:
        with _again_where_lost(lambda: start(_SOON_S)):
            try:
                start(limit_s)
                yield
            finally:
                over.set()
    finally:
        signal.signal(signal.SIGINT, before)


@contextlib.contextmanager
def _again_where_lost(ring: Callable[[], object]) -> Iterator[None]:
    """Ring once more where the end was raised in a place that loses it, such as a destructor."""
    before = sys.unraisablehook

    def told(lost: "sys.UnraisableHookArgs") -> None:
        if issubclass(lost.exc_type, _OutOfTimeError):
            ring()
        else:
            before(lost)

    sys.unraisablehook = told
    try:
        yield
    finally:
        sys.unraisablehook = before
