"""What a long run is doing, told on the terminal: a bar there, plain lines where it is none.

Nothing is told of what takes less than a second.
"""

import contextlib
import threading
import time
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final, TextIO

from checker.model.progress import Tell, silent
from checker.text import printable

if TYPE_CHECKING:
    from rich.progress import Progress, TaskID

AFTER_S: Final = 1.0
"""What ends sooner needs no telling; plain lines stand as far apart at least."""


@contextlib.contextmanager
def told(stream: TextIO | None, *, quiet: bool) -> Iterator[Tell]:
    """Give what takes the steps of a run and shows them on a stream, until the run ends."""
    if quiet or stream is None:
        yield silent
        return
    if not _is_terminal(stream):
        yield _Lines(stream).tell
        return
    bar = _Bar(stream)
    try:
        yield bar.tell
    finally:
        bar.end()


def _is_terminal(stream: TextIO) -> bool:
    try:
        return stream.isatty()
    except ValueError:  # closed
        return False


class _Lines:
    """A line a step, for logs."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._next = time.monotonic() + AFTER_S

    def tell(self, what: str, share: float | None = None) -> None:
        now = time.monotonic()
        if now < self._next:
            return
        self._next = now + AFTER_S
        done = "" if share is None else f" ({share:.0%} done)"
        # What tells of the work must not stop it: the stream may be gone.
        with contextlib.suppress(OSError, ValueError):
            self._stream.write(f"{printable(what)}{done}\n")
            self._stream.flush()


class _Bar:
    """One bar that is shown after a second, from a thread of its own: the work does not wait."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._lock = threading.Lock()
        self._last: tuple[str, float | None] = ("beginning", None)
        self._shown: tuple[Progress, TaskID] | None = None
        self._ended = False
        self._timer = threading.Timer(AFTER_S, self._show)
        self._timer.daemon = True
        self._timer.start()

    def tell(self, what: str, share: float | None = None) -> None:
        with self._lock:
            self._last = (printable(what), share)
            self._update()

    def end(self) -> None:
        self._timer.cancel()
        with self._lock:
            self._ended = True
            if self._shown is not None:
                self._shown[0].stop()

    def _update(self) -> None:
        if self._shown is None or self._ended:
            return
        progress, task = self._shown
        what, share = self._last
        total = None if share is None else 1.0
        progress.update(task, description=what, total=total, completed=share or 0.0)

    def _show(self) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

        progress = Progress(
            SpinnerColumn("line"),
            BarColumn(),
            TimeElapsedColumn(),
            TextColumn("{task.description}", markup=False),
            console=Console(file=self._stream, highlight=False, markup=False, emoji=False),
            transient=True,
            redirect_stdout=False,  # or what the command prints would go to this stream
            redirect_stderr=False,
        )
        with self._lock:
            if self._ended:
                return
            self._shown = (progress, progress.add_task("", total=None))
            self._update()
            progress.start()
