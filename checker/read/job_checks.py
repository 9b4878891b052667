"""The sections of a job file that ask for a check."""

import math
import re
from collections.abc import Mapping
from enum import StrEnum
from typing import Final

from checker.model.job import (
    Adjust,
    AngleKind,
    AzimuthKind,
    Levels,
    Match,
    Position,
    Repeats,
    Selection,
    Shape,
    Stakeout,
    Traverse,
)
from checker.read.alignments import STAKES
from checker.read.collimation import level_keys
from checker.read.job_alignment import alignment_of, stake_offset_of, stakes_of
from checker.read.job_draft import (
    Draft,
    columns_of,
    identifier,
    needs_section,
    plan_of,
    positive,
    unit_of,
)
from checker.read.job_evidence import sample_keys
from checker.read.job_sigmas import sigmas_of
from checker.read.job_tolerances import tolerance_of
from checker.read.level_book import LEVELS
from checker.read.toml_tables import Table, listed, quoted
from checker.read.traverse_book import TRAVERSE
from checker.units import (
    AngleFormat,
    UnitError,
    parse_angle,
    parse_bearing,
    parse_seconds,
)


class _Walked(StrEnum):
    COUNTER_CLOCKWISE = "counter-clockwise"
    CLOCKWISE = "clockwise"


def _section_name(draft: Draft, table: Table, word: str) -> str:
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


def _selection(table: Table, key: str, example: str) -> Selection:
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


_MEASURED_EXAMPLE = '{ description = "SC*" }'
_ADD_MEASURED = 'add [measured] with files = ["..."]'


def read_stakeout(draft: Draft, table: Table) -> None:
    """Read [[stakeout]]: as-measured points against design points."""
    name = _section_name(draft, table, "Stakeout")
    needs_section(draft, table, "measured", "as-measured points", _ADD_MEASURED)
    match = table.choice("match", Match)
    within = table.parsed("within", draft.length, "a length greater than 0", accept=positive)
    by_number = (match or Match.ID) in (Match.ID, Match.STATION)
    if table.has("within") and by_number and _sound(table, "match", match):
        table.fault(
            "conflicting-keys",
            "within",
            f'{table.title} has within, which belongs to match = "nearest" or "line"',
            'take within out, or write match = "nearest"',
        )
    alignment = alignment_of(draft, table)
    stakes, stakes_columns = stakes_of(table, STAKES.names)
    stake_offset = stake_offset_of(draft, table)
    design = Selection() if stakes else _selection(table, "design", '{ layer = "STAKE-STRUCT" }')
    _design_fits(table, match or Match.ID, design, stakes)
    along_line = table.has("alignment") and match in (Match.LINE, Match.STATION)
    if not (table.has("design") and stakes) and not (along_line and design.everything):
        needs_section(
            draft,
            table,
            "design",
            "design points",
            'add [design] with drawing = "..." or points = "..."',
        )
    tolerance = tolerance_of(draft, table)
    if not table.has("tolerance"):
        table.missing("tolerance", "without one nothing can be judged")
    draft.checks.append(
        Stakeout(
            where=table.where,
            name=name,
            tolerance=tolerance,
            design=design,
            measured=_selection(table, "measured", _MEASURED_EXAMPLE),
            match=match or Match.ID,
            within_m=within,
            complete=table.flag("complete", default=True),
            alignment=alignment,
            stakes=stakes,
            stakes_columns=stakes_columns,
            stake_offset_m=stake_offset,
        )
    )


def _design_fits(table: Table, match: Match, design: Selection, stakes: str | None) -> None:
    """Report a match, an offset or a table of stakes that lacks the line which it needs."""
    lined = table.has("alignment")
    if match is Match.LINE:
        for key, found in (
            ("stakes", stakes),
            ("id", design.ids),
            ("description", design.descriptions),
            ("file", design.files),
        ):
            if found:
                table.fault(
                    "conflicting-keys",
                    "design",
                    f'{table.title}: match = "line" compares with lines; its design names {key}',
                    'write design = { layer = "..." } with the layer of the lines',
                )
        if not (design.layers or lined):
            table.missing("design", 'the layer of the lines, { layer = "CURB" }, or an alignment')
        return
    if match is Match.STATION and not lined:
        table.missing("alignment", 'match = "station" needs one on which the stations count')
    if table.has("stake_offset") and not lined:
        table.fault(
            "missing-key",
            "stake_offset",
            f"{table.title} has stake_offset, but no line from which it is left or right",
            'add alignment = "...", or match the shots to lines with match = "line"',
        )


def _sound(table: Table, key: str, found: object) -> bool:
    """Tell whether a key is left out or was read without a fault."""
    return found is not None or not table.has(key)


def read_repeats(draft: Draft, table: Table) -> None:
    """Read [[repeats]]: shots of one mark against its first shot."""
    name = _section_name(draft, table, "Repeats")
    needs_section(draft, table, "measured", "as-measured points", _ADD_MEASURED)
    table.one_of("match", {"id": Match.ID})
    within = table.parsed("within", draft.length, "a length greater than 0", accept=positive)
    if table.has("match") and table.has("within"):
        table.fault(
            "conflicting-keys",
            "within",
            f"{table.title} has both match and within",
            "keep match for shots of one number, or within for shots close together",
        )
    draft.checks.append(
        Repeats(
            where=table.where,
            name=name,
            tolerance=tolerance_of(draft, table),
            measured=_selection(table, "measured", _MEASURED_EXAMPLE),
            within_m=within,
            apart_s=table.parsed(
                "apart", _time_with_unit, 'a time greater than 0 such as "4 h"', accept=positive
            ),
            **sample_keys(table),
        )
    )


def _time_with_unit(value: str | float) -> float:
    if not isinstance(value, str) or not re.search(r"[A-Za-z]\s*\.?\s*$", value):
        raise UnitError(f"{quoted(value)} has no unit", 'write a time such as "4 h" or "30 min"')
    return parse_seconds(value)


def read_levels(draft: Draft, table: Table) -> None:
    """Read [[levels]]: a level run."""
    name = _section_name(draft, table, "Levels")
    file = _book_file(table)
    start = _bench_mark(draft, table, "start")
    if not table.has("start"):
        table.missing("start", 'the bench mark that the run starts from, "BM1"')
    close = _bench_mark(draft, table, "close")
    _needs_control(draft, table, ("start", start), ("close", close))
    adjust = table.one_of(
        "adjust",
        {
            str(word): word
            for word in (Adjust.NONE, Adjust.DISTANCE, Adjust.SETUPS, Adjust.LEAST_SQUARES)
        },
    )
    draft.checks.append(
        Levels(
            where=table.where,
            name=name,
            tolerance=tolerance_of(draft, table),
            file=file,
            unit=unit_of(draft, table),
            columns=columns_of(table, LEVELS.names),
            start="" if start is None else start,
            close=close,
            adjust=adjust or Adjust.NONE,
            **level_keys(draft, table),
        )
    )


def _book_file(table: Table) -> str:
    file = table.file("file")
    if not table.has("file"):
        table.missing("file", "the field book")
    return file or ""


def _bench_mark(draft: Draft, table: Table, key: str) -> str | float | None:
    """Return a control id, or an elevation in metres."""
    if not table.has(key):
        return None
    if not isinstance(table.data[key], dict):
        if isinstance(table.data[key], str):
            return table.text(key)
        table.wrong(key, "a control id in quotation marks, or { elevation = ... }", table.data[key])
        return None
    inner = table.table(key, "")
    assert inner is not None  # noqa: S101 - it is a dict
    elevation = inner.parsed("elevation", draft.length, "an elevation")
    if not inner.has("elevation"):
        inner.missing("elevation", "the known elevation of the mark")
    inner.done()
    return elevation


def _needs_control(draft: Draft, table: Table, *ends: tuple[str, object]) -> None:
    """Report control ids in a job that has no control."""
    if "control" in draft.top:
        return
    for key, value in ends:
        if isinstance(value, str):
            table.fault(
                "missing-section",
                key,
                f"{table.title}: {key} is the control point {quoted(value)}, "
                "but there is no [control]",
                f'add [control] with file = "...", or give {_WITHOUT_CONTROL[table.name][key]}',
            )


_WITHOUT_CONTROL: Final[Mapping[str, Mapping[str, str]]] = {
    "traverse": {
        "start": "start as { n = ..., e = ... }",
        "close": "close as { n = ..., e = ... }",
        "backsight": "start_azimuth",
        "foresight": "close_azimuth",
    },
    "levels": {
        "start": "start as { elevation = ... }",
        "close": "close as { elevation = ... }",
    },
}
_DIRECT = (AngleKind.AZIMUTH, AngleKind.BEARING)


def read_traverse(draft: Draft, table: Table) -> None:
    """Read [[traverse]]: a traverse book and how it closes."""
    name = _section_name(draft, table, "Traverse")
    file = _book_file(table)
    shape = table.choice("shape", Shape)
    if not table.has("shape"):
        table.missing("shape", listed(quoted(str(word)) for word in Shape))
    angles = table.choice("angles", AngleKind)
    if not table.has("angles"):
        table.missing("angles", listed(quoted(str(word)) for word in AngleKind))
    angle_format = table.choice("angle_format", AngleFormat) or AngleFormat.SEXAGESIMAL
    start = _end(draft, table, "start")
    if not table.has("start"):
        table.missing("start", "a control id, or a position { n = ..., e = ... }")
    close = _end(draft, table, "close")
    start_azimuth = _azimuth(table, "start_azimuth", angle_format)
    close_azimuth = _azimuth(table, "close_azimuth", angle_format)
    backsight = identifier(table, "backsight")
    foresight = identifier(table, "foresight")
    _ends_agree(table, shape, start, close)
    _directions_agree(table, shape, angles)
    for key, mark, other, end in (
        ("backsight", backsight, "start", start),
        ("foresight", foresight, "close", start if shape is Shape.LOOP else close),
    ):
        if mark is not None and mark == end:
            table.fault(
                "conflicting-keys",
                key,
                f"{table.title}: {key} and {other} are the same point, {quoted(mark)}",
                f"name the point that was sighted from {other}",
            )
    _needs_control(
        draft,
        table,
        ("start", start),
        ("close", close if close != start else None),
        ("backsight", backsight),
        ("foresight", foresight),
    )
    adjust = table.one_of(
        "adjust",
        {
            str(word): word
            for word in (
                *(Adjust.NONE, Adjust.COMPASS, Adjust.TRANSIT, Adjust.CRANDALL),
                Adjust.LEAST_SQUARES,
            )
        },
    )
    draft.checks.append(
        Traverse(
            where=table.where,
            name=name,
            tolerance=tolerance_of(draft, table),
            file=file,
            unit=unit_of(draft, table),
            columns=columns_of(table, TRAVERSE.names),
            angle_format=angle_format,
            shape=shape or Shape.OPEN,
            angles=angles or AngleKind.RIGHT,
            clockwise=table.choice("walked", _Walked) is _Walked.CLOCKWISE,
            start="" if start is None else start,
            close=close,
            start_azimuth_rad=start_azimuth,
            close_azimuth_rad=close_azimuth,
            backsight=backsight,
            foresight=foresight,
            adjust=adjust or Adjust.NONE,
            azimuths=_azimuth_kind(draft, table),
            crs=draft.reference.crs,
            **_grid_factors(table),
            sigmas=sigmas_of(draft, table, ("angle", "azimuth", "distance")),
            refraction=table.number(
                "refraction",
                "a coefficient of refraction from -4 to 4, such as 0.13",
                accept=lambda k: -4.0 <= k <= 4.0,
            ),
        )
    )


def _azimuth_kind(draft: Draft, table: Table) -> AzimuthKind:
    """Return from which north azimuths count; another than the grid's needs the grid."""
    kind = table.choice("azimuths", AzimuthKind) or AzimuthKind.GRID
    if kind is not AzimuthKind.GRID and draft.reference.crs is None:
        table.fault(
            "missing-key",
            "azimuths",
            f"{table.title}: azimuths are {kind}, and without the grid their convergence is not "
            "known",
            'add [reference] with crs = "EPSG:..." of the control, or state grid azimuths',
        )
    return kind


def _grid_factors(table: Table) -> dict[str, float | None]:
    """Return the combined factor, and the scale and elevation factors of which it is made."""
    found = {
        key: table.number(
            key,
            f"{what} near 1, from 0.98 to 1.02",
            accept=lambda factor: 0.98 <= factor <= 1.02,
        )
        for key, what in (
            ("grid_factor", "a combined factor"),
            ("scale_factor", "a scale factor"),
            ("elevation_factor", "an elevation factor"),
        )
    }
    parts = [key for key in ("scale_factor", "elevation_factor") if table.has(key)]
    if parts and table.has("grid_factor"):
        table.fault(
            "conflicting-keys",
            "grid_factor",
            f"{table.title} has both grid_factor and {' and '.join(parts)}",
            "the combined factor is the product of the other two: state it, or them",
        )
    elif parts:
        found["grid_factor"] = (found["scale_factor"] or 1.0) * (found["elevation_factor"] or 1.0)
    return found


def _end(draft: Draft, table: Table, key: str) -> str | Position | None:
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


def _azimuth(table: Table, key: str, fmt: AngleFormat) -> float | None:
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
    )
    return None if azimuth is None else 0.0 if azimuth >= 2 * math.pi else azimuth


def _ends_agree(
    table: Table,
    shape: Shape | None,
    start: str | Position | None,
    close: str | Position | None,
) -> None:
    """Report a close that does not fit the traverse's shape."""
    if shape is Shape.LINK and not table.has("close"):
        table.missing("close", "a link ends at a known point")
    if shape is Shape.OPEN:
        for key in ("close", "close_azimuth", "foresight"):
            if table.has(key):
                table.fault(
                    "conflicting-keys",
                    key,
                    f"{table.title} is open and has {key}, with which it would be closed",
                    f'write shape = "link", or take {key} out',
                )
    if shape is Shape.LOOP and close is not None and start is not None and not _same(start, close):
        table.fault(
            "conflicting-keys",
            "close",
            f"{table.title} is a loop, but close is another point than start",
            'take close out, or write shape = "link"',
        )


def _same(start: str | Position, close: str | Position) -> bool:
    if isinstance(start, Position) and isinstance(close, Position):
        # an elevation plays no part, and NaN equals nothing
        return (start.northing_m, start.easting_m) == (close.northing_m, close.easting_m)
    return start == close


def _directions_agree(table: Table, shape: Shape | None, angles: AngleKind | None) -> None:
    """Report a starting direction that is missing, or a direction that is given twice."""
    for azimuth, mark, end in (
        ("start_azimuth", "backsight", "start"),
        ("close_azimuth", "foresight", "close"),
    ):
        if table.has(azimuth) and table.has(mark):
            table.fault(
                "conflicting-keys",
                mark,
                f"{table.title} has both {azimuth} and {mark}",
                f"keep one of them: the direction at {end} is known once",
            )
    if angles is None or angles in _DIRECT or shape is None:
        return
    if not (table.has("start_azimuth") or table.has("backsight")):
        table.missing(
            "start_azimuth",
            f'angles = "{angles}" need a first direction; or name a control point as backsight',
        )
