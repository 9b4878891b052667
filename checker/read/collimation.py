"""What a level run's section states of the level: collimation, a two-peg test, stadia."""

import re
from typing import Final, TypedDict

from checker.model.job import TwoPeg
from checker.read.job_draft import Draft, positive
from checker.read.toml_tables import Table, quoted
from checker.units import LengthUnit, UnitError, parse_length, parse_small_angle

_MOST: Final = 0.01
"""A line of sight off by more than a centimetre in a metre is a level that nobody uses."""
_UNEQUAL_M: Final = 0.5
"""Sights of a two-peg test that differ by less show no collimation (our choice)."""
_PER: Final = re.compile(r"\s*(.+?)\s*(?:/|\bper\b|\bin\b(?=\s*\d|\s*a\s))\s*(?:an?\s+)?(.+?)\s*")
_FORMS: Final = '"0.05 mm/m", "0.005 ft per 100 ft" or "10 arcsec"'


class LevelKeys(TypedDict):
    """Fields of the section that these keys fill."""

    collimation: float | None
    two_peg: TwoPeg | None
    stadia: float


def parse_collimation(value: str | float, unit: LengthUnit) -> float:
    """Return what a line of sight rises per length; positive: readings are too great.

    A length per length, or an angle with its unit. Raises UnitError.
    """
    if isinstance(value, str):
        match = _PER.fullmatch(value)
        if match is not None:
            below = match[2] if re.search(r"\d", match[2]) else f"1 {match[2]}"
            length = parse_length(below, unit)
            if length > 0.0:
                return parse_length(match[1], unit) / length
        else:
            return parse_small_angle(value)
    raise UnitError(f"{quoted(value)} is no collimation", f"write {_FORMS}")


def level_keys(draft: Draft, table: Table) -> LevelKeys:
    """Return collimation, two-peg test and stadia factor of a section."""
    stated = table.parsed(
        "collimation",
        lambda value: parse_collimation(value, draft.unit),
        f"what the line of sight rises, such as {_FORMS}",
        accept=lambda found: abs(found) <= _MOST,
    )
    peg = _two_peg(draft, table)
    if table.has("collimation") and table.has("two_peg"):
        table.fault(
            "conflicting-keys",
            "two_peg",
            f"{table.title} has both collimation and two_peg",
            "the test gives the collimation: keep one of them",
        )
    stadia = table.number("stadia", "a factor such as 100", accept=positive)
    return {
        "collimation": stated if peg is None else peg.collimation,
        "two_peg": peg,
        "stadia": stadia or 100.0,
    }


_EXAMPLE: Final = "{ middle = [1.234, 1.567], end = [1.345, 1.690], sights = [2.0, 42.0] }"


def _two_peg(draft: Draft, table: Table) -> TwoPeg | None:
    """Return the two-peg test that a section states, None where there is none or it has a fault."""
    inner = table.table("two_peg", _EXAMPLE)
    if inner is None:
        return None
    end = _pair(draft, inner, "end", "readings on A and B from the second set-up")
    sights = _pair(draft, inner, "sights", "lengths of its sights to A and B")
    rise = inner.parsed("rise", draft.length, "how much higher B is than A, where it is known")
    if inner.has("middle"):
        middle = _pair(draft, inner, "middle", "readings on A and B from the middle")
        if inner.has("rise"):
            inner.fault(
                "conflicting-keys",
                "rise",
                f"{table.title}: two_peg has both middle and rise",
                "readings from the middle give the rise: keep one of them",
            )
        rise = None if middle is None else middle[0] - middle[1]
    elif not inner.has("rise"):
        inner.missing("middle", "readings from the middle; or rise, how much higher B is than A")
    inner.done()
    if rise is None or end is None or sights is None:
        return None
    if abs(sights[0] - sights[1]) < _UNEQUAL_M:
        inner.fault(
            "bad-value",
            "sights",
            f"{table.title}: the sights of the second set-up are equally long: nothing shows",
            "set the level up near one of the pegs, and give both distances",
        )
        return None
    peg = TwoPeg(rise_m=rise, end_m=end, sights_m=sights)
    if abs(peg.collimation) > _MOST:
        inner.fault(
            "bad-value",
            "end",
            f"{table.title}: the two-peg test gives {peg.collimation * 1e3:.1f} mm in a metre",
            "check the readings, and that A stands before B throughout",
        )
        return None
    return peg


def _pair(draft: Draft, inner: Table, key: str, what: str) -> tuple[float, float] | None:
    """Return two lengths, None where they are missing or at fault."""
    if not inner.has(key):
        inner.missing(key, f"two {what}")
        return None
    values = inner.parsed_list(key, draft.length, f"two lengths: {what}")
    stated = inner.data[key]
    count = len(stated) if isinstance(stated, list) else 1
    if count != 2:
        inner.fault(
            "bad-value",
            key,
            f"{inner.title}: {key} has {count} values; expected 2, {what}",
            f"write them as in {_EXAMPLE}",
        )
    return (values[0], values[1]) if len(values) == 2 else None
