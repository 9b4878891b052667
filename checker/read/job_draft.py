"""A job file while it is read, and what its sections have in common."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from checker.errors import Where
from checker.model.job import (
    AlignmentInput,
    CheckSection,
    ControlInput,
    DesignInput,
    Gate,
    Instrument,
    MeasuredInput,
    Reference,
    SiteFit,
    Tolerance,
)
from checker.read.toml_tables import (
    Report,
    Table,
    is_short_number,
    listed,
    meant_word,
    quoted,
)
from checker.units import JOB_UNITS, LengthUnit, SigmaLevel, parse_length, parse_sigma_level


def positive(value: float) -> bool:
    """Tell whether a value is greater than 0."""
    return value > 0.0


@dataclass(slots=True, kw_only=True)
class Draft:
    """A job file while it is read.

    tolerances: by name, with those at fault as None. mistyped: the sections that unknown ones of
    the file were probably meant as.
    """

    report: Report
    top: Mapping[str, object]
    mistyped: frozenset[str] = frozenset()
    unit: LengthUnit = LengthUnit.METRE
    job: dict[str, object] = field(default_factory=dict)
    reference: Reference = field(default_factory=Reference)
    design: DesignInput | None = None
    measured: MeasuredInput | None = None
    control: ControlInput | None = None
    gate: Gate | None = None
    site_fit: SiteFit | None = None
    instruments: list[Instrument] = field(default_factory=list)
    tolerances: dict[str, Tolerance | None] = field(default_factory=dict)
    alignments: dict[str, AlignmentInput] = field(default_factory=dict)
    checks: list[CheckSection] = field(default_factory=list)
    names: dict[str, Where] = field(default_factory=dict)

    def length(self, value: str | float) -> float:
        """Return a length of the job in metres."""
        return parse_length(value, self.unit)


def needs_section(
    draft: Draft, table: Table, name: str, what: str, remedy: str, *, key: str | None = None
) -> None:
    """Report a section that another one, or the key of it, cannot do without.

    Nothing is said where a section was probably meant as the missing one: that is the fault.
    """
    if name not in draft.top and name not in draft.mistyped:
        table.fault(
            "missing-section",
            key,
            f"{table.title}{'' if key is None else ' ' + key} needs {what}, but there is no "
            f"[{name}]",
            remedy if key is None else f"{remedy}, or take {key} out",
        )


def unit_of(draft: Draft, table: Table) -> LengthUnit:
    """Return the unit of a file: its own, or the job's."""
    return large_unit(table) or draft.unit


def large_unit(table: Table) -> LengthUnit | None:
    """Return the unit that a section states, one of those that a job may be in."""
    units = {unit.value: unit for unit in JOB_UNITS}
    value = table.data["unit"] if table.has("unit") else None
    small = meant_word(value) if isinstance(value, str) else ""
    if small in set(LengthUnit) - set(units):
        table.fault(
            "wrong-choice",
            "unit",
            f"{table.title}: unit is {quoted(value)}; expected {listed(map(quoted, units))}",
            "a job and its shots are in metres or feet; a drawing in smaller units says so under "
            f"[design], with unit = {quoted(small)}",
        )
        return None
    return table.one_of("unit", units)


def columns_of(table: Table, fields: Sequence[str]) -> dict[str, str]:
    """Return which heading stands for which field."""
    columns = table.table("columns", '{ id = "Pt", northing = "N" }')
    if columns is None:
        return {}
    found: dict[str, str] = {}
    for name in fields:
        # a number is the place of a column in a table without headings
        heading = columns.text(name, number_too=True)
        if heading is None:
            continue
        for other, taken in found.items():
            if taken == heading:
                columns.fault(
                    "conflicting-keys",
                    name,
                    f"{columns.title}: {other} and {name} both name the column {quoted(heading)}",
                    "give every field a column of its own",
                )
        found[name] = heading
    columns.done()
    return found


def identifier(table: Table, key: str) -> str | None:
    """Return the number of a point: a text, or a whole number as it stands."""
    if not table.has(key):
        return None
    value = table.data[key]
    if isinstance(value, int) and is_short_number(value):
        return str(value)
    return table.text(key)


def plan_of(draft: Draft, table: Table) -> tuple[float | None, float | None]:
    """Return the n and e of a position, in metres."""
    found: list[float | None] = []
    for key, words in (("n", "the northing"), ("e", "the easting")):
        found.append(table.parsed(key, draft.length, f"{words}, a length"))
        if not table.has(key):
            table.missing(key, words)
    return found[0], found[1]


def sigma_level_of(table: Table) -> SigmaLevel | None:
    """Return what the sigmas are multiples of, where it is said."""
    return table.parsed(
        "sigma_level", parse_sigma_level, 'the number of sigmas (1, 2, 3) or "95 %"'
    )
