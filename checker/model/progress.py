"""How a run tells what it is doing, without knowing to whom."""

from typing import Protocol


class Tell(Protocol):
    """Takes what begins now, in a few words, and the share of the whole that is done, if known."""

    def __call__(self, what: str, share: float | None = None) -> None:
        """Take one step."""
        ...


def silent(what: str, share: float | None = None) -> None:
    """Tell nobody."""
