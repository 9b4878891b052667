"""What several sections of a job file have in common: names, selections, ids, ends of a run."""

import math
import re
from itertools import pairwise

from checker.model.job import Position, Selection, Tolerance
from checker.read.job_draft import Draft, identifier, needs_section, plan_of
from checker.read.toml_tables import Table, is_short_number, quoted
from checker.units import AngleFormat, UnitError, parse_angle, parse_bearing, parse_seconds


def section_name(draft: Draft, table: Table, word: str) -> str:
    """Return the section's name, its kind and number where it has none; report a repeated one."""
    index = table.path[-1]
    name = table.text("name") or f"{word} {int(index) + 1}"
    if name in draft.names:
        table.fault(
            "duplicate-name",
            "name" if table.has("name") else None,
            f"the name {quoted(name)} is used twice; first in line {draft.names[name].line}",
            "give every check a name of its own",
        )
    draft.names.setdefault(name, table.where)
    return name


def needs_measured(draft: Draft, table: Table) -> None:
    """Report a section that compares shots in a job that has none."""
    remedy = 'add [measured] with files = ["..."]'
    needs_section(draft, table, "measured", "as-measured points", remedy)


def needs_design(draft: Draft, table: Table) -> None:
    """Report a section that compares with design points in a job that has none."""
    remedy = 'add [design] with drawing = "..." or points = "..."'
    needs_section(draft, table, "design", "design points", remedy)


def needs_tolerance(table: Table, tolerance: Tolerance | None) -> None:
    """Report a section that is there to be judged and has nothing to be judged by."""
    if tolerance is None and not table.has("tolerance"):
        table.missing("tolerance", "without one nothing can be judged")


def selection_of(table: Table, key: str, example: str) -> Selection:
    """Return which points a key asks for; all where it is left out."""
    inner = table.table(key, example)
    if inner is None:
        return Selection()
    selection = Selection(
        ids=inner.texts("id", what="point", number_too=True),
        descriptions=inner.texts("description", what="description"),
        layers=inner.texts("layer", what="layer"),
        files=inner.texts("file", what="file"),
    )
    inner.done()
    return selection


def measured_of(table: Table) -> Selection:
    """Return which shots a section compares."""
    return selection_of(table, "measured", '{ description = "SC*" }')


def id_lists(
    table: Table, key: str, example: str, *, most: int | None = None
) -> list[tuple[str, ...]]:
    """Return lists of two ids or more each; most: so many at most."""
    if not table.has(key):
        return []
    value = table.data[key]
    if not isinstance(value, list) or not value:
        table.wrong(key, f"a list of lists of ids such as {example}", value)
        return []
    found = []
    for index, item in enumerate(value):
        ids = _plain_ids(item)
        if ids is None or len(ids) < 2 or (most is not None and len(ids) > most):
            table.wrong(key, f"lists of {most or 'two or more'} ids: {example}", item, index=index)
        elif any(one == other for one, other in pairwise(ids)):
            table.fault(
                "conflicting-keys",
                key,
                f"{table.title}: {key} names {quoted(ids[0])} against itself",
                "name two different points",
            )
        else:
            found.append(ids)
    return found


def id_list(table: Table, key: str, example: str) -> tuple[str, ...]:
    """Return one list of ids, two or more."""
    if not table.has(key):
        return ()
    value = table.data[key]
    ids = _plain_ids(value)
    if ids is None:
        table.wrong(key, f"a list of ids such as {example}", value)
        return ()
    return ids


def _plain_ids(value: object) -> tuple[str, ...] | None:
    """Return a list of texts or whole numbers as ids; None for anything else."""
    if not isinstance(value, list) or not value:
        return None
    ids = []
    for item in value:
        if isinstance(item, str) and item.strip() and item.isprintable():
            ids.append(item.strip())
        elif isinstance(item, int) and is_short_number(item):
            ids.append(str(item))
        else:
            return None
    return tuple(ids)


def book_file(table: Table) -> str:
    """Return the field book of a section, which it cannot do without."""
    file = table.file("file")
    if not table.has("file"):
        table.missing("file", "the field book")
    return file or ""


def end_of(draft: Draft, table: Table, key: str) -> str | Position | None:
    """Return a control id or a position."""
    if not table.has(key):
        return None
    value = table.data[key]
    if not isinstance(value, dict):
        if isinstance(value, int | str) and not isinstance(value, bool):
            return identifier(table, key)
        table.wrong(key, "a control id in quotation marks, or { n = ..., e = ... }", value)
        return None
    inner = table.table(key, "")
    assert inner is not None  # noqa: S101 - it is a dict
    northing, easting = plan_of(draft, inner)
    elevation = inner.parsed("elevation", draft.length, "an elevation")
    inner.done()
    if northing is None or easting is None:
        return None
    return Position(
        northing_m=northing,
        easting_m=easting,
        elevation_m=math.nan if elevation is None else elevation,
    )


def azimuth_of(table: Table, key: str, fmt: AngleFormat) -> float | None:
    """Return an azimuth, 0 up to but not 2 pi; a bearing says its own quadrant."""

    def parse(value: str | float) -> float:
        if isinstance(value, str) and re.match(r"\s*(?:[NS]|due\b)", value, re.IGNORECASE):
            return parse_bearing(value, fmt)
        return parse_angle(value, fmt)

    whole_circle = 2 * math.pi * (1 + 1e-15)
    azimuth = table.parsed(
        key,
        parse,
        "an azimuth from 0 to 360 degrees, clockwise from north",
        accept=lambda angle: 0.0 <= angle <= whole_circle,
        slug="azimuth-range",
        remedy="check the digits; take 360 off or add 360 where a whole turn was counted",
    )
    return None if azimuth is None else 0.0 if azimuth >= 2 * math.pi else azimuth


def time_with_unit(value: str | float) -> float:
    """Return a span of time in seconds; UnitError for a bare number, which says too little."""
    if not isinstance(value, str) or not re.search(r"[A-Za-z]\s*\.?\s*$", value):
        raise UnitError(f"{quoted(value)} has no unit", 'write a time such as "4 h" or "30 min"')
    return parse_seconds(value)
