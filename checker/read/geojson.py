"""Points of a GeoJSON file (RFC 7946) as a table, so that one reader serves both."""

import json
import math
import re
from dataclasses import dataclass

import numpy as np

from checker.errors import InputError, Problem, Where
from checker.model.drawing import Notice
from checker.read.cells import Faults
from checker.read.decoding import refuse_too_large
from checker.read.frames import is_geographic, metres_per_unit, same_frame
from checker.read.headings import Vocabulary
from checker.read.tables import Dialect, Table
from checker.text import quoted
from checker.units import LengthUnit

RFC_FRAME = "OGC:CRS84"
"""The frame of a file that names none: WGS 84, longitude first (RFC 7946, section 4)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GeoJson:
    """A file's points as a table. crs: the frame of its coordinates, angles or not."""

    table: Table
    crs: str


def is_geojson(data: bytes) -> bool:
    """Return whether a file looks like a JSON object, which no table of text begins like."""
    return data[:64].removeprefix(b"\xef\xbb\xbf").lstrip()[:1] == b"{"


def frame_of(path: str, text: str) -> str:
    """Return the frame that a file of points names, else that of the standard."""
    return _named_frame(_document(path, text)) or RFC_FRAME


def read_geojson(
    path: str,
    text: str,
    vocabulary: Vocabulary,
    unit: LengthUnit,
    frames: tuple[str | None, str | None],
) -> GeoJson:
    """Return the points of a feature collection, one row a feature.

    vocabulary: the fields of points. unit: that the job states. frames: of the file (None: as the
    file says, else `RFC_FRAME`), and the grid that is wanted. Raises InputError where the file is
    no collection of points, or its frame contradicts the job.
    """
    where = Where(file=path)
    document = _document(path, text)
    named = _named_frame(document)
    crs = frames[0] or named or RFC_FRAME
    geographic = is_geographic(crs, where)
    features = document["features"]
    refuse_too_large(path, len(features), 0)
    lines = _lines(text, len(features))
    faults = Faults(path)
    if not geographic:
        # Where the job states the file's grid itself, the points are brought over and told so.
        _check_grid(crs, None if frames[0] else frames[1], unit, where, faults)
    if named is not None and frames[0] is not None and not same_frame(named, frames[0], where):
        faults.add(
            "frame-contradiction",
            where,
            f'the file says that it is in "{named}", the job says "{frames[0]}"',
            "find out which is right, and mend [measured] crs or export the points again",
        )
    rows = []
    for number, item in enumerate(features):
        feature = item if isinstance(item, dict) else {}
        place = _place(feature)
        if isinstance(place, str):
            faults.add(
                "not-a-point",
                Where(file=path, line=lines[number] or None, part=f"feature {number + 1}"),
                f"{place}; every feature must be a point with its coordinates",
                "take other features out of the file",
            )
            continue
        rows.append((lines[number], place, feature))
    if faults.problems:
        raise InputError(faults.listed())
    return GeoJson(table=_table(path, rows, vocabulary, geographic=geographic), crs=crs)


_Row = tuple[int, list[float], dict[str, object]]


def _document(path: str, text: str) -> dict[str, list[object]]:
    try:
        document = json.loads(text)
    except json.JSONDecodeError as fault:
        raise _refused(path, f"this is no JSON: {fault.msg}", fault.lineno) from None
    except (ValueError, RecursionError):
        raise _refused(path, "this JSON holds a number or nesting beyond all measure") from None
    if not isinstance(document, dict) or document.get("type") != "FeatureCollection":
        raise _refused(path, "this JSON is no collection of features")
    features = document.get("features")
    if not isinstance(features, list) or not features:
        raise _refused(path, "this collection holds no feature")
    return document


def _refused(path: str, message: str, line: int | None = None) -> InputError:
    return InputError(
        [
            Problem(
                slug="not-geojson",
                where=Where(file=path, line=line),
                message=message,
                hint="export the points as a GeoJSON FeatureCollection, or as CSV",
            )
        ]
    )


def _named_frame(document: dict[str, list[object]]) -> str | None:
    """Return the frame that a file of the older form names in its member "crs"."""
    member: object = document.get("crs")
    properties = member.get("properties") if isinstance(member, dict) else None
    name = properties.get("name") if isinstance(properties, dict) else None
    return name if isinstance(name, str) else None


def _check_grid(crs: str, grid: str | None, unit: LengthUnit, where: Where, faults: Faults) -> None:
    if grid is not None and not same_frame(crs, grid, where):
        faults.add(
            "frame-contradiction",
            where,
            f'the file is in "{crs}", the job in "{grid}"',
            "export the points in the job's grid, or have them brought over: state the file's "
            f'grid, [measured] crs = "{crs}"',
        )
    if metres_per_unit(crs) != unit.metres:
        faults.add(
            "unit-contradiction",
            where,
            f'the job says {unit.words}, and the file\'s frame "{crs}" has another unit',
            "state the file's unit in the job",
        )


def _lines(text: str, count: int) -> list[int]:
    """Return the line on which each feature says that it is one; zeros where that is in doubt."""
    starts = [match.start() for match in re.finditer(r'"type"\s*:\s*"Feature"', text)]
    if len(starts) != count:
        return [0] * count
    lines, line, at = [], 1, 0
    for start in starts:
        line += text.count("\n", at, start)
        at = start
        lines.append(line)
    return lines


def _place(feature: dict[str, object]) -> list[float] | str:
    """Return a point's coordinates, or in words why there are none."""
    geometry = feature.get("geometry")
    if not isinstance(geometry, dict):
        return "this feature has no geometry"
    if geometry.get("type") != "Point":
        return f"this feature is a {quoted(str(geometry.get('type')))}"
    place = geometry.get("coordinates")
    if not isinstance(place, list) or len(place) not in (2, 3):
        return "this point has not two or three coordinates"
    try:
        numbers = [math.nan if isinstance(value, bool) else float(value) for value in place]
    except (TypeError, ValueError, OverflowError):
        return "a coordinate of this point is no number"
    return (
        numbers if all(map(math.isfinite, numbers)) else "a coordinate of this point is no number"
    )


def _text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return value.strip()
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return json.dumps(value)


def _table(path: str, rows: list[_Row], vocabulary: Vocabulary, *, geographic: bool) -> Table:
    axes = ["longitude", "latitude", "ellipsoid height"]
    if not geographic:
        axes = ["easting", "northing", "elevation"]
    has_height = any(len(place) == 3 for _, place, _ in rows)
    columns: dict[str, list[str]] = {
        axis: [repr(place[i]) if i < len(place) else "" for _, place, _ in rows]
        for i, axis in enumerate(axes if has_height else axes[:2])
    }
    governed = {"northing", "easting", "latitude", "longitude", "x", "y"}
    governed |= {"elevation", "height"} if has_height else set()
    properties = [_properties(feature) for _, _, feature in rows]
    left_out = []
    keys = dict.fromkeys(key for entry in properties for key in entry)
    refuse_too_large(path, 0, len(keys))
    for key in keys:
        claim = vocabulary.claim(key)
        if key in columns or (claim is not None and claim[0] in governed):
            left_out.append(key)
            continue
        columns[key] = [_text(entry.get(key)) for entry in properties]
    claims = [vocabulary.claim(key) for key in columns]
    if not any(claim is not None and claim[0] == "id" for claim in claims):
        columns["id"] = [_text(feature.get("id")) for _, _, feature in rows]
    notices = []
    if left_out:
        notices.append(
            Notice(
                slug="unused-columns",
                where=Where(file=path),
                message="the geometry governs; not read: "
                + ", ".join(quoted(key) for key in left_out),
            )
        )
    return Table(
        path=path,
        dialect=Dialect(encoding="UTF-8", delimiter=",", decimal_comma=False),
        header=tuple(columns),
        header_line=0,
        units=(None,) * len(columns),
        units_line=0,
        stated=(),
        cells=tuple(columns.values()),
        lines=np.array([line for line, _, _ in rows], dtype=np.int64),
        short=(),
        problems=(),
        unlisted=0,
        notices=tuple(notices),
    )


def _properties(feature: dict[str, object]) -> dict[str, object]:
    properties = feature.get("properties")
    return properties if isinstance(properties, dict) else {}
