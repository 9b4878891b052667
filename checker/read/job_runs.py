"""The sections of a job file about runs of a field book between marks: [[levels]], [[traverse]]."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Final

from checker.model.job import Adjust, AngleKind, AzimuthKind, Levels, Position, Shape, Traverse
from checker.read.collimation import level_keys
from checker.read.job_draft import Draft, columns_of, identifier, unit_of
from checker.read.job_parts import azimuth_of, book_file, end_of, section_name
from checker.read.job_sigmas import sigmas_of
from checker.read.job_tolerances import tolerance_of
from checker.read.level_book import LEVELS
from checker.read.toml_tables import Table, listed, quoted
from checker.read.traverse_book import TRAVERSE
from checker.units import AngleFormat


class _Walked(StrEnum):
    COUNTER_CLOCKWISE = "counter-clockwise"
    CLOCKWISE = "clockwise"


def read_levels(draft: Draft, table: Table) -> None:
    """Read [[levels]]: a level run."""
    name = section_name(draft, table, "Levels")
    file = book_file(table)
    start = _bench_mark(draft, table, "start")
    if not table.has("start"):
        table.missing("start", 'the bench mark that the run starts from, "BM1"')
    close = _bench_mark(draft, table, "close")
    _needs_control(draft, table, ("start", start), ("close", close))
    adjust = _adjust(table, Adjust.DISTANCE, Adjust.SETUPS)
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
            adjust=adjust,
            **level_keys(draft, table),
        )
    )


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


def _adjust(table: Table, *rules: Adjust) -> Adjust:
    """Return the rule that shares out a misclosure: one of these, least squares or none."""
    words = (Adjust.NONE, *rules, Adjust.LEAST_SQUARES)
    return table.one_of("adjust", {str(word): word for word in words}) or Adjust.NONE


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
    name = section_name(draft, table, "Traverse")
    file = book_file(table)
    shape = table.choice("shape", Shape)
    if not table.has("shape"):
        table.missing("shape", listed(quoted(str(word)) for word in Shape))
    angles = table.choice("angles", AngleKind)
    if not table.has("angles"):
        table.missing("angles", listed(quoted(str(word)) for word in AngleKind))
    angle_format = table.choice("angle_format", AngleFormat) or AngleFormat.SEXAGESIMAL
    start = end_of(draft, table, "start")
    if not table.has("start"):
        table.missing("start", "a control id, or a position { n = ..., e = ... }")
    close = end_of(draft, table, "close")
    start_azimuth = azimuth_of(table, "start_azimuth", angle_format)
    close_azimuth = azimuth_of(table, "close_azimuth", angle_format)
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
    adjust = _adjust(table, Adjust.COMPASS, Adjust.TRANSIT, Adjust.CRANDALL)
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
            adjust=adjust,
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
