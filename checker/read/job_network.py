"""The section of a job file about networks."""

import math

from checker.model.job import CheckSection, Levels, Network, ResidualTest, Traverse, Vectors, Weight
from checker.read.job_draft import Draft, columns_of, needs_section, positive, unit_of
from checker.read.job_parts import section_name
from checker.read.job_sigmas import sigmas_of
from checker.read.job_tolerances import tolerance_of
from checker.read.sights import SIGHTS
from checker.read.toml_tables import Table, meant, quoted
from checker.units import AngleFormat, UnitError

_WEIGHT = 'a standard deviation greater than 0, such as "5 mm"'
_CONTROL = 'add [control] file = "..."'


def read_network(draft: Draft, table: Table) -> None:
    """Read [[network]]: observations adjusted together by least squares."""
    name = section_name(draft, table, "Network")
    file = table.file("file")
    use = table.texts("use", what="section")
    if not (table.has("use") or table.has("file")):
        table.missing(
            "use",
            "the names of traverses, levels or vectors that it is made of, or file, a table of its "
            "observations",
        )
    _check_use(draft, table, use)
    unit = unit_of(draft, table)
    columns = columns_of(table, SIGHTS.names)
    angle_format = table.choice("angle_format", AngleFormat) or AngleFormat.SEXAGESIMAL
    if not table.has("file"):
        for key in ("unit", "columns", "angle_format"):
            if table.has(key):
                table.fault(
                    "conflicting-keys",
                    key,
                    f"{table.title} has {key}, which belongs to file, and has no file",
                    "take it out, or name the table of observations",
                )
    fixed: tuple[str, ...] | None = None
    if table.has("fixed"):
        empty = table.data["fixed"] == []
        fixed = () if empty else table.texts("fixed", what="point", number_too=True)
    weighted = _weighted(draft, table, fixed or ())
    stated = any(_states_places(each) for each in draft.checks if each.name in use)
    if weighted or (fixed and not stated) or (file is not None and fixed is None):
        needs_section(draft, table, "control", "control points", _CONTROL)
    variance = table.one_of("variance", {"a posteriori": False, "a priori": True})
    test = table.choice("test", ResidualTest)
    keys = ("angle", "direction", "distance", "azimuth", "rise", "vector")
    sigmas = sigmas_of(draft, table, keys)
    confidence = table.parsed(
        "confidence",
        _confidence,
        'a probability from 0.5 to 0.9999, or "95 %"',
        accept=lambda found: 0.5 <= found <= 0.9999,
    )
    draft.checks.append(
        Network(
            where=table.where,
            name=name,
            tolerance=tolerance_of(draft, table),
            use=use,
            unit=draft.unit,
            file=file,
            file_unit=unit,
            columns=columns,
            angle_format=angle_format,
            approximate=table.file("approximate"),
            fixed=fixed,
            weighted=weighted,
            confidence=0.95 if confidence is None else confidence,
            a_priori=bool(variance),
            test=test,
            vector_heights=table.flag("vector_heights", default=True),
            sigmas=sigmas,
        )
    )


def _check_use(draft: Draft, table: Table, use: tuple[str, ...]) -> None:
    """Report names that are no section that can be used, or stand twice."""
    usable = [each.name for each in draft.checks if isinstance(each, Traverse | Levels | Vectors)]
    for index, each in enumerate(use):
        if each in use[:index]:
            table.fault(
                "conflicting-keys",
                "use",
                f"{table.title}: use names {quoted(each)} twice, and would count it twice",
                "name every section once",
            )
        if each not in usable:
            table.fault(
                "unknown-section-name",
                "use",
                f"{table.title}: use names {quoted(each)}, and no [[traverse]], [[levels]] or "
                "[[vectors]] has that name",
                meant(each, usable, "their names are"),
            )


def _states_places(section: CheckSection) -> bool:
    """Tell whether a section gives the place or height of an end itself."""
    ends: tuple[object, ...] = ()
    if isinstance(section, Traverse | Levels):
        ends = (section.start, section.close)
    return any(end is not None and not isinstance(end, str) for end in ends)


def _weighted(draft: Draft, table: Table, fixed: tuple[str, ...]) -> dict[str, Weight]:
    """Return the known points that may give way: a list of ids, or a table of ids and sigmas."""
    example = '{ CP1 = "5 mm", CP2 = { n = "5 mm", e = "5 mm", z = "1 cm" } }'
    found: dict[str, Weight] = {}
    if table.has("weighted") and isinstance(table.data["weighted"], str | list):
        names = table.texts("weighted", what="point", number_too=True)
        found = {name: Weight() for name in names}
    else:
        inner = table.table("weighted", example)
        for name in () if inner is None else inner.data:
            assert inner is not None  # noqa: S101  (no names without it)
            found[name.strip()] = _weight(draft, inner, name)
        if inner is not None:
            inner.done()
    for name in found:
        if name in fixed:
            table.fault(
                "conflicting-keys",
                "weighted",
                f"{table.title}: {quoted(name)} is both fixed and weighted",
                "name it under one of them",
            )
    return found


def _weight(draft: Draft, table: Table, name: str) -> Weight:
    if not isinstance(table.data[name], dict):
        size = table.parsed(name, draft.length, _WEIGHT, accept=positive)
        return Weight() if size is None else Weight(n_m=size, e_m=size, z_m=size)
    inner = table.table(name, '{ n = "5 mm", e = "5 mm", z = "1 cm" }')
    assert inner is not None  # noqa: S101  (it is a table)
    sizes = [inner.parsed(axis, draft.length, _WEIGHT, accept=positive) for axis in "nez"]
    inner.done()
    n, e, z = (math.nan if size is None else size for size in sizes)
    return Weight(n_m=n, e_m=e, z_m=z)


def _confidence(value: str | float) -> float:
    text = value.strip() if isinstance(value, str) else repr(value)
    percent = text.endswith("%")
    try:
        number = float(text.removesuffix("%"))
    except ValueError:
        raise UnitError(f"{quoted(value)} is no confidence", 'write 0.95 or "95 %"') from None
    return number / 100.0 if percent else number
