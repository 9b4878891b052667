"""What is said about a drawing, while it is read."""

from collections.abc import Iterable, Sequence
from typing import Final

from checker.errors import Where
from checker.model.drawing import Notice

_SHOWN: Final = 5


class Notices:
    """Collects the notices of one drawing, in the order in which things are found."""

    def __init__(self, file: str, notices: Iterable[Notice] = ()) -> None:
        """Take the file's name and what was noticed when it was opened."""
        self.file = file
        self.all = list(notices)

    def tell(self, slug: str, message: str, part: str | None = None) -> None:
        """Add a notice; part: the layer or entity that is meant."""
        where = Where(file=self.file, part=part)
        self.all.append(Notice(slug=slug, where=where, message=message))


def some(names: Sequence[str]) -> str:
    """Return the first names, quoted, and how many more there are."""
    shown = ", ".join(f'"{name}"' for name in names[:_SHOWN])
    return shown + (f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else "")


def have(count: int) -> str:
    """Return "1 point has" or "3 points have"."""
    return f"{points_said(count)} {'has' if count == 1 else 'have'}"


def points_said(count: int) -> str:
    """Return "1 point" or "3 points"."""
    return "1 point" if count == 1 else f"{count} points"


def times(count: int) -> str:
    """Return "once" or "3 times"."""
    return "once" if count == 1 else f"{count} times"
