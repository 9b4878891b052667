"""Whether check shots stand before and after the work of each session."""

from collections.abc import Iterator

import numpy as np

from checker.model.arrays import BoolArray, IntArray
from checker.model.points import Points

_NAMED = 8


def about_sessions(measured: Points, checks: IntArray, aside: BoolArray) -> Iterator[str]:
    """Say which sessions begin and end with a check shot, and which lack one.

    checks: indices of the check shots that count. aside: shape (points,), what is no work: check
    shots and what the job sets aside. In the order of time where every shot of a session shows it,
    else in that of the files. A proof of control stands before the work and after it (common
    practice, no source). Where no file shows sessions the base stands for them; where none shows
    bases either nothing is said.
    """
    setups = measured.quality.setups
    if setups is None or not len(checks):
        return
    word, sessions = setups
    prefix = "" if word == "session" else f"{word} "
    whole, lacking, none = [], [], []
    for name in dict.fromkeys(sessions.tolist()):
        if not name:
            continue
        here = np.flatnonzero(sessions == name)
        work = here[~aside[here]]
        proofs = np.intersect1d(here, checks)
        if not work.size:
            continue
        if not proofs.size:
            none.append(f"{prefix}{name}")
            continue
        when = _order(measured, here)
        before = when[proofs].min() < when[work].min()
        after = when[proofs].max() > when[work].max()
        if before and after:
            whole.append(f"{prefix}{name}")
        else:
            parts = [word for word, there in (("before", before), ("after", after)) if not there]
            lacking.append(f"{prefix}{name} none {' and none '.join(parts)} its other shots")
    if whole:
        yield f"Check shots stand before and after the work of: {_listed(whole)}."
    if lacking:
        yield (
            f"Check shots are missing: {_listed(lacking)}. What happened to base, pole or receiver"
            " there shows in none of them."
        )
    if none:
        yield (
            f"Without a check shot of their own: {_listed(none)}. They rest on the check shots of"
            " the other sessions, which cannot see what was set up anew."
        )


def _order(measured: Points, here: IntArray) -> IntArray:
    """Return when points were shot, shape (points,); only those at `here` mean anything."""
    time = measured.quality.time
    if time is None or np.isnat(time[here]).any():
        return np.arange(len(measured))
    return time.astype("datetime64[ms]").astype(np.int64)


def _listed(names: list[str]) -> str:
    more = len(names) - _NAMED
    return ", ".join(names[:_NAMED]) + (f" and {more} more" if more > 0 else "")
