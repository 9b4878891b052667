"""Sections of a level run that were run twice, forward and backward or twice the same way."""

from collections.abc import Sequence

import numpy as np

from checker.checks.closing import column, item, once
from checker.checks.level_runs import Both
from checker.model.arrays import FloatArray
from checker.model.job import Levels
from checker.model.measure import Comparison, Item, Quantity, Supplement


def _allowed(section: Levels, both: Sequence[Both]) -> FloatArray:
    """Return what the tolerance allows of every section, NaN where it has no value for one."""
    limit = None if section.tolerance is None else section.tolerance.section
    found = np.full(len(both), np.nan)
    if limit is None:
        return found
    for index, each in enumerate(both):
        lacks_length = limit.needs_length and np.isnan(each.length_m)
        if not lacks_length and not (limit.needs_n and np.isnan(each.setups)):
            found[index] = float(limit.at(n=each.setups, length_m=each.length_m))
    return found


def _worst(section: Levels, both: Sequence[Both]) -> int:
    """Return the section that uses most of its limit; one whose limit is not known comes first."""
    allowed = _allowed(section, both)
    size = np.array([abs(each.disagreement_m) for each in both])
    stated = section.tolerance is not None and section.tolerance.section is not None
    use = np.where(np.isnan(allowed), np.inf, size / allowed) if stated else size
    return int(np.argmax(use))


def both_tables(section: Levels, both: Sequence[Both]) -> tuple[Supplement, ...]:
    """Return the sections run twice, each with its disagreement and what is allowed."""
    if not both:
        return ()
    length = Quantity.LENGTH
    first, second, distance = (
        np.array([getattr(each, key) for each in both], dtype=np.float64)
        for key in ("first_m", "second_m", "length_m")
    )
    return (
        Supplement(
            key="sections",
            title="Sections run twice",
            head="Section",
            id=np.array([f"{each.start}–{each.end}" for each in both], dtype=object),
            columns=(
                column("first", "First running", length, first),
                column("second", "Second running, turned", length, second),
                column("mean", "Mean", length, (first + second) / 2.0),
                column("disagreement", "Disagreement", length, first - second),
                column("allowed", "Allowed", length, _allowed(section, both)),
                column("distance", "Length of one running", Quantity.DISTANCE, distance),
            ),
            note="Disagreement = first running − second, both counted from start to end.",
        ),
    )


def both_items(both: Sequence[Both]) -> tuple[Item, ...]:
    """Return the largest disagreement; () where no section was run twice."""
    if not both:
        return ()
    worst = max(both, key=lambda each: abs(each.disagreement_m))
    return (
        item("sections_twice", "Sections run twice", Quantity.COUNT, float(len(both))),
        item(
            "section_disagreement",
            "Largest disagreement of a section",
            Quantity.LENGTH,
            worst.disagreement_m,
        ),
    )


def both_comparisons(section: Levels, both: Sequence[Both]) -> tuple[Comparison, ...]:
    """Return the disagreement of the section that uses most of its limit."""
    if not both:
        return (
            once(
                "section",
                "Two runnings of a section",
                float("nan"),
                n=float("nan"),
                length_m=float("nan"),
                absent="no section was run twice",
            ),
        )
    each = both[_worst(section, both)]
    limit = None if section.tolerance is None else section.tolerance.section
    absent = ""
    if limit is not None and limit.needs_length and np.isnan(each.length_m):
        absent = (
            f'section {each.start} to {each.end} has no distance, and the tolerance "{limit.text}" '
            "needs it"
        )
    elif limit is not None and limit.needs_n and np.isnan(each.setups):
        absent = (
            f"section {each.start} to {each.end} has no number of set-ups, and the tolerance "
            f'"{limit.text}" needs it'
        )
    return (
        once(
            "section",
            f"Two runnings of {each.start} to {each.end}",
            float("nan") if absent else each.disagreement_m,
            n=each.setups,
            length_m=each.length_m,
            absent=absent,
        ),
    )
