"""Tolerances of a job file: [tolerance.NAME], and the one that a section names or states."""

from collections.abc import Mapping
from typing import Final, Literal

from checker.formulas import parse_formula
from checker.model.job import Rule, Tolerance
from checker.read.areas import parse_area
from checker.read.job_draft import Draft, positive, sigma_level_of
from checker.read.standards import LIMITS, closure_classes, source_of
from checker.read.toml_tables import Table, listed, meant, quoted
from checker.units import Formula, LengthUnit, parse_ratio, parse_slope

_PLAN_AND_HEIGHT = ("horizontal", "vertical", "above", "below")
_LINE_LIMITS = ("along", "across", "left", "right")
_USABLE: Final[Mapping[str, tuple[str, ...]]] = {
    "stakeout": (*_PLAN_AND_HEIGHT, *_LINE_LIMITS),
    "slope_stake": ("horizontal", "across", "left", "right"),
    "curb_return": (*_PLAN_AND_HEIGHT, "across", "left", "right", "radius"),
    "control": _PLAN_AND_HEIGHT,
    "site_fit": _PLAN_AND_HEIGHT,
    "accuracy": ("horizontal", "vertical"),
    "repeats": _PLAN_AND_HEIGHT,
    "traverse": ("angular", "misclosure", "ratio", "set_angle", "set_distance"),
    "levels": ("misclosure", "section"),
    "vectors": ("misclosure",),
    "figure": ("misclosure", "ratio", "area", "angular", "distance"),
    "network": ("distance",),
    "surface": ("vertical", "above", "below"),
    "relative": ("distance", "longer", "shorter", "elevation", "plumb"),
    "plane": (
        *("vertical", "above", "below", "slope"),
        *("minimum_grade", "maximum_grade", "maximum_crossfall"),
    ),
    "pipe": (
        *("vertical", "above", "below", "elevation", "slope"),
        *("minimum_grade", "maximum_grade", "minimum_drop"),
    ),
}
"""The limits of a tolerance that a section can compare something with."""

_LIMITS: Final[Mapping[str, tuple[Literal["length", "angle", "slope", "area"], bool, bool]]] = {
    "horizontal": ("length", False, False),
    "along": ("length", False, False),
    "across": ("length", False, False),
    "left": ("length", False, False),
    "right": ("length", False, False),
    "vertical": ("length", False, False),
    "above": ("length", False, False),
    "below": ("length", False, False),
    "distance": ("length", False, True),
    "longer": ("length", False, True),
    "shorter": ("length", False, True),
    "elevation": ("length", False, True),
    "plumb": ("length", False, True),
    "radius": ("length", False, True),
    "slope": ("slope", False, False),
    "minimum_grade": ("slope", False, False),
    "maximum_grade": ("slope", False, False),
    "maximum_crossfall": ("slope", False, False),
    "minimum_drop": ("length", False, False),
    "angular": ("angle", True, False),
    "misclosure": ("length", True, True),
    "section": ("length", True, True),
    "set_angle": ("angle", False, False),
    "set_distance": ("length", False, True),
    "area": ("area", False, True),
}
"""Every limit that is a formula: its kind, and whether it may depend on n and on a length."""


def read_tolerance(draft: Draft, table: Table) -> None:
    """Read [tolerance.NAME]."""
    name = str(table.path[-1])
    if not name.strip():
        table.fault("empty-text", None, "a tolerance has an empty name", "write [tolerance.NAME]")
    draft.tolerances[name] = _limits(draft, table, name)


def _limits(draft: Draft, table: Table, name: str) -> Tolerance | None:
    """Return the tolerance that a table states; None where a fault leaves it without a limit."""
    formulas = {key: _formula(draft, table, key) for key in _LIMITS}
    ratio = table.parsed("ratio", parse_ratio, 'a closure ratio such as "1:10000"')
    for whole, parts in (
        ("vertical", ("above", "below")),
        ("across", ("left", "right")),
        ("distance", ("longer", "shorter")),
    ):
        twice = [part for part in parts if table.has(part)]
        if table.has(whole) and twice:
            table.fault(
                "conflicting-keys",
                twice[0],
                f"{table.title} limits the same thing twice: {whole} and {' and '.join(twice)}",
                f"keep {whole}, or {' and '.join(parts)} in its place",
            )
    source = table.text("source")
    standard = _class_of(table)
    if standard is not None:
        taken = _class_limits(table, standard)
        for key, text in taken.items():
            if key == "ratio":
                ratio = parse_ratio(text)
            else:
                formulas[key] = parse_formula(
                    text, "angle" if key == "angular" else "length", draft.unit
                )
        source = source or source_of(standard)
    tolerance = Tolerance(
        name=name,
        **formulas,
        ratio=ratio,
        rule=table.choice("rule", Rule) or Rule.SIMPLE,
        k=table.number("k", "a number greater than 0", accept=positive) or 2.0,
        sigma_level=sigma_level_of(table),
        source=source,
    )
    limits = any(table.has(key) for key in (*_LIMITS, "ratio", "class"))
    # A mistyped limit is named as an unknown key, with the key that was meant.
    if not limits and not table.unknown():
        usable = _USABLE.get(table.name.partition(".")[0], (*_LIMITS, "ratio"))
        table.fault(
            "useless-tolerance",
            None,
            f"{table.title} limits nothing",
            f"state a limit: {listed(usable)}",
        )
    stated = ratio is not None or any(formula is not None for formula in formulas.values())
    return tolerance if stated else None


def _class_of(table: Table) -> str | None:
    """Return the published class that a tolerance names, None where it names none that is known."""
    name = table.text("class")
    if name is None or name in closure_classes():
        return name
    table.fault(
        "unknown-class",
        "class",
        f"{table.title}: there is no class {quoted(name)}",
        meant(name, closure_classes(), "the classes are"),
    )
    return None


def _class_limits(table: Table, name: str) -> dict[str, str]:
    """Return the limits of a class; those that the section cannot use are left out.

    A limit that the tolerance states beside the class is a fault: nobody could tell which holds.
    """
    section = table.name.partition(".")[0]
    limits = {
        key: text
        for key, text in closure_classes()[name].items()
        if key in LIMITS and key in _USABLE.get(section, LIMITS)
    }
    for key in limits:
        if table.has(key):
            table.fault(
                "conflicting-keys",
                key,
                f"{table.title} limits {key}, and so does the class {quoted(name)}",
                f"take {key} out, or state all limits without a class, with their source",
            )
    if not limits:
        usable = [
            each
            for each, found in closure_classes().items()
            if any(key in _USABLE.get(section, LIMITS) for key in found if key in LIMITS)
        ]
        table.fault(
            "useless-tolerance",
            "class",
            f"{table.title}: the class {quoted(name)} limits nothing that is compared here",
            f"classes that do: {listed(usable)}" if usable else "state the limits themselves",
        )
    return limits


def _formula(draft: Draft, table: Table, key: str) -> Formula | None:
    kind, may_n, may_length = _LIMITS[key]
    formula = table.parsed(
        key,
        lambda value: _parsed(value, kind, draft.unit),
        _EXPECTED[kind],
        accept=is_more_than_nothing,
        slug="limit-not-positive",
    )
    if formula is None:
        return None
    if formula.needs_n and not may_n:
        variable, remedy = "n", "n belongs to angular and misclosure, where angles are counted"
    elif formula.needs_length and not may_length:
        variable, remedy = (
            "a length",
            "km, mi, ppm and ratios belong where a length is measured: misclosure, distance, plumb",
        )
    else:
        return formula
    table.fault(
        "bad-value",
        key,
        f"{table.title}: {key} is {quoted(formula.text)}, which depends on {variable}; "
        f"a limit on {key} cannot",
        remedy,
    )
    return None


_EXPECTED: Final = {
    "length": "a length greater than 0",
    "angle": 'an angle such as "20 arcsec"',
    "slope": 'a slope greater than 0 such as "0.5 %" or "1:200"',
    "area": 'an area greater than 0 such as "20 sq ft", "2 m2" or "0.1 %"',
}


def _parsed(
    value: str | float, kind: Literal["length", "angle", "slope", "area"], unit: LengthUnit
) -> Formula:
    if kind == "slope":
        return slope_limit(value)
    if kind == "area":
        text = str(value).strip()
        if text.endswith("%"):  # of the area that is stated
            return Formula(per_length=parse_slope(text), text=text)
        return Formula(constant=parse_area(value, unit)[0], text=str(value))
    return parse_formula(value, kind, unit)


def slope_limit(value: str | float) -> Formula:
    """Return a limit of a slope: rise per length."""
    return Formula(constant=parse_slope(value), text=str(value))


def is_more_than_nothing(formula: Formula) -> bool:
    """Tell whether a limit has a part greater than 0."""
    return (
        formula.constant
        + formula.per_n
        + formula.per_sqrt_n
        + formula.per_km
        + formula.per_sqrt_km
        + formula.per_length
        + formula.least
    ) > 0.0 and formula.most > 0.0


def tolerance_of(draft: Draft, table: Table) -> Tolerance | None:
    """Return the tolerance that a section names or states, if there is one that it can use."""
    if not table.has("tolerance"):
        return None
    value = table.data["tolerance"]
    is_inline = isinstance(value, dict)
    if is_inline:
        inline = table.table("tolerance", "")
        assert inline is not None  # noqa: S101 - it is a dict
        tolerance = _limits(draft, inline, "")
        inline.done()
    else:
        name = table.text("tolerance")
        if name is None:
            return None
        if name not in draft.tolerances and "tolerance" in draft.mistyped:
            return None
        if name not in draft.tolerances:
            table.fault(
                "unknown-tolerance",
                "tolerance",
                f"{table.title}: there is no [tolerance.{name}]"
                if name.isprintable()
                else f"{table.title}: there is no tolerance {quoted(name)}",
                meant(name, draft.tolerances, "the job's tolerances are"),
            )
            return None
        tolerance = draft.tolerances[name]
    if tolerance is None or not _suits(table, tolerance, is_inline=is_inline):
        return None
    return tolerance


def _suits(table: Table, tolerance: Tolerance, *, is_inline: bool) -> bool:
    """Tell whether a section can judge by a tolerance; report where it cannot."""
    stated = [key for key in (*_LIMITS, "ratio") if getattr(tolerance, key) is not None]
    usable = _USABLE[table.name]
    useless = [key for key in stated if key not in usable]
    # a named tolerance may serve several sections; one of the section's own is for it alone
    if useless and (is_inline or len(useless) == len(stated)):
        table.fault(
            "useless-tolerance",
            "tolerance",
            f"{table.title}: its tolerance limits {listed(useless, 'and')}, "
            "with which nothing here can be compared",
            f"here it can limit {listed(usable)}",
        )
        return False
    return True
