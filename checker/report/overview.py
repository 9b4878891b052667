"""What a single file holds, as sections for the terminal."""

import json
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np

from checker.model.arrays import FloatArray
from checker.model.drawing import Drawing, Notice
from checker.model.overview import ColumnOverview, DrawingOverview, Overview, TableOverview
from checker.model.points import Points
from checker.report.terminal import Section
from checker.text import fixed
from checker.units import JOB_UNITS, LengthUnit

_SHOWN_IDS: Final = 5
_SHOWN_WORDS: Final = 8
_QUALITY: Final = {
    "solution": "solution",
    "satellites": "satellites",
    "hdop": "hdop",
    "vdop": "vdop",
    "pdop": "pdop",
    "age_s": "age",
    "sigma_n_m": "sigma_n",
    "sigma_e_m": "sigma_e",
    "sigma_h_m": "sigma_h",
    "sigma_z_m": "sigma_z",
    "correlation_ne": "correlation_ne",
    "epochs": "epochs",
    "pole_m": "pole",
    "base": "base",
    "base_distance_m": "base_distance",
    "session": "session",
    "time": "time",
    "elevation_mask_rad": "elevation_mask",
}
_UNIT_NOTICES: Final = frozenset(("header-unit", "header-foot", "no-header-unit"))
"""The table of sizes says more than these, unless the user stated a unit."""


def overview_sections(look: Overview, odd: Sequence[Notice]) -> list[Section]:
    """Return the sections of a file's overview; odd: what checks found odd about its points."""
    if isinstance(look, TableOverview):
        return [*_table(look), *_notices([*look.notices, *odd])]
    return [*_drawing(look), *_notices([*_worth_saying(look), *odd])]


# ---------------------------------------------------------------- tables


def _table(look: TableOverview) -> list[Section]:
    kind = look.kind or "a table of no kind that is known here"
    heading = f"headings on line {look.header_line}" if look.header_line else "no headings"
    lines = [f"{look.dialect}; {heading}; {_count(look.rows, 'row')}"]
    if look.kind == "GeoJSON points":
        lines = [f"{look.dialect}; {_count(look.rows, 'feature')}"]
    degrees = {column.field for column in look.columns} & {"latitude", "longitude"}
    if look.unit_said:
        lines.append(f"lengths are in {look.unit.words}, as the file says")
    elif not degrees:
        lines.append("the file does not say in which unit it is; the job must")
    sections = [Section(title=f"{look.path}: {kind}", lines=tuple(lines))]
    sections.append(_columns(look.columns, plain=not look.header_line and look.kind == ""))
    if look.points is not None:
        short = look.unit.short if look.unit_said else ""
        sections.append(_extents(look.points, look.unit, short))
        quality = _quality(look.points, look.unit, short)
        if quality is not None:
            sections.append(quality)
    return sections


def _columns(columns: Iterable[ColumnOverview], *, plain: bool) -> Section:
    rows = []
    for column in columns:
        holds = f'"{column.first}"' if column.first else ""
        if column.low is not None and column.high is not None:
            low, high = _number(column.low), _number(column.high)
            holds = low if low == high else f"{low} to {high}"
        unit = f" in {column.unit}" if column.unit else ""
        read = f"{column.field}{unit}" if column.field else "not read" if not plain else "?"
        rows.append(
            (str(column.place), column.heading, read, column.how, str(column.filled), holds)
        )
    return Section(
        title="Columns",
        headings=("no.", "heading", "read as", "by its", "filled", "holds"),
        rows=tuple(rows),
        numbers=frozenset((0, 4)),
    )


def _extents(points: Points, unit: LengthUnit, short: str) -> Section:
    """Return the extents; short: the unit to show, "" where the file does not say it."""
    rows = [
        _extent(name, values, unit)
        for name, values in (
            ("northing", points.northing_m),
            ("easting", points.easting_m),
            ("elevation", points.elevation_m),
        )
    ]
    counts = Counter(points.id.tolist())
    again = [(name, count) for name, count in counts.items() if count > 1]
    lines = [f"{_count(len(points), 'point')}, {_count(len(counts), 'number')}"]
    if again:
        shown = ", ".join(f'"{name}" {count} times' for name, count in again[:_SHOWN_WORDS])
        more = f" and {len(again) - _SHOWN_WORDS} more" if len(again) > _SHOWN_WORDS else ""
        lines.append(f"numbers that stand more than once: {shown}{more}")
    return Section(
        title="Points",
        lines=tuple(lines),
        headings=("", "from", "to", f"span, {short}" if short else "span", "without"),
        rows=tuple(rows),
        numbers=frozenset((1, 2, 3, 4)),
    )


def _extent(name: str, values_m: FloatArray, unit: LengthUnit) -> tuple[str, ...]:
    there = unit.from_metres(values_m[np.isfinite(values_m)])
    missing = str(len(values_m) - len(there))
    if not len(there):
        return (name, "", "", "", missing)
    low, high = float(there.min()), float(there.max())
    return (name, fixed(low, 3), fixed(high, 3), fixed(high - low, 3), missing)


def _quality(points: Points, unit: LengthUnit, short: str) -> Section | None:
    rows = []
    for name, words in _QUALITY.items():
        values = getattr(points.quality, name)
        if values is not None:
            rows.append((words, *_shown_quality(name, values, unit, short)))
    if not rows:
        return None
    absent = [words for words in _QUALITY.values() if words not in {row[0] for row in rows}]
    return Section(
        title="Quality, as stored",
        lines=(f"not shown by this file: {', '.join(absent)}",) if absent else (),
        headings=("field", "shown", "values"),
        rows=tuple(rows),
        numbers=frozenset((1,)),
    )


def _shown_quality(
    name: str, values: np.typing.NDArray[np.generic], unit: LengthUnit, short: str
) -> tuple[str, str]:
    """Return how many points show a quality, and which values."""
    if values.dtype == object:
        counts = Counter(text for text in values.tolist() if text)
        shown = ", ".join(f"{text} {count}" for text, count in counts.most_common(_SHOWN_WORDS))
        more = f" and {len(counts) - _SHOWN_WORDS} more" if len(counts) > _SHOWN_WORDS else ""
        return str(sum(counts.values())), shown + more
    if values.dtype.kind == "M":
        there = values[~np.isnat(values)]
        if not len(there):
            return "0", ""
        first, last = np.datetime_as_string(np.array([there.min(), there.max()]), unit="s")
        return str(len(there)), f"{first} to {last} UTC"
    numbers = np.asarray(values, dtype=np.float64)
    if name.endswith("_m"):
        numbers = unit.from_metres(numbers)
    elif name.endswith("_rad"):
        numbers = np.degrees(numbers)
    numbers = numbers[np.isfinite(numbers)]
    if not len(numbers):
        return "0", ""
    suffix = f" {short}" if short and name.endswith("_m") else " s" if name == "age_s" else ""
    low, high = _number(numbers.min()), _number(numbers.max())
    return str(len(numbers)), (low if low == high else f"{low} to {high}") + suffix


# ---------------------------------------------------------------- drawings


def _drawing(look: DrawingOverview) -> list[Section]:
    drawing = look.drawing
    version = drawing.version or "not named"
    header = (
        f'the header says "{drawing.header_unit}"'
        if drawing.header_unit
        else "the header names no unit"
    )
    lines = [
        f"format version {version}; {header}; {_count(_entities(drawing), 'entity')} in model space"
    ]
    if look.stated:
        lines.append(f"coordinates were read in {look.unit.words}, as you say")
    sections = [Section(title=f"{drawing.path}: a drawing", lines=tuple(lines))]
    sections += _sizes(look)
    sections.append(_layers(drawing))
    sections.append(_labels(drawing, look.unit, look.label_layer))
    return sections


def _entities(drawing: Drawing) -> int:
    return sum(entry.count for entry in drawing.counts)


def _sizes(look: DrawingOverview) -> list[Section]:
    """Return the extents as they stand, and how large that is on the ground in each unit."""
    drawing, unit = look.drawing, look.unit
    parts = [line.xy_m for line in drawing.linework]
    parts.append(np.column_stack((drawing.points.easting_m, drawing.points.northing_m)))
    places = unit.from_metres(np.vstack(parts))
    if not len(places):
        return [Section(title="Extents", lines=("nothing with a place was read",))]
    low, high = places.min(axis=0), places.max(axis=0)
    elevations = unit.from_metres(drawing.points.elevation_m)
    there = elevations[np.isfinite(elevations)]
    rows = [
        ("easting (x)", fixed(float(low[0]), 3), fixed(float(high[0]), 3)),
        ("northing (y)", fixed(float(low[1]), 3), fixed(float(high[1]), 3)),
    ]
    if len(there):
        rows.append(("elevation", fixed(float(there.min()), 3), fixed(float(there.max()), 3)))
    wide, tall = (float(span) for span in high - low)
    readings = [(each.words, each.metres) for each in JOB_UNITS]
    if look.header_m is not None and look.header_m not in {metres for _, metres in readings}:
        readings.append((drawing.header_unit, look.header_m))
    sizes = [
        (
            words + (" (as the header says)" if metres == look.header_m else ""),
            f"{_size(wide * metres)} by {_size(tall * metres)} m",
            f"{_size(wide * metres / 0.3048)} by {_size(tall * metres / 0.3048)} ft",
        )
        for words, metres in readings
    ]
    return [
        Section(
            title="Extents, as they stand in the file",
            headings=("", "from", "to"),
            rows=tuple(rows),
            numbers=frozenset((1, 2)),
        ),
        Section(
            title="Size on the ground, west to east by south to north",
            lines=(
                "The job states the unit; the header alone never converts anything.",
                "Which of these is your site?",
            ),
            headings=("if a unit of the drawing is", "the drawing is", "or"),
            rows=tuple(sizes),
        ),
    ]


def _size(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 1000 else fixed(value, 1 if abs(value) >= 10 else 3)


def _layers(drawing: Drawing) -> Section:
    layers: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    uses: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for entry in drawing.counts:
        layers[entry.layer][entry.kind] += entry.count
        uses[entry.layer][entry.used_as] += entry.count
    points = Counter(drawing.points.layer.tolist())
    rows = [
        (
            layer,
            str(sum(kinds.values())),
            str(points.get(layer, 0) or ""),
            ", ".join(f"{kind} {count}" for kind, count in sorted(kinds.items())),
            ", ".join(f"{use} {count}" for use, count in sorted(uses[layer].items())),
        )
        for layer, kinds in sorted(layers.items(), key=lambda item: item[0].casefold())
    ]
    rows += [
        (layer, "0", str(count), "", "points of blocks")
        for layer, count in sorted(points.items())
        if layer not in layers
    ]
    return Section(
        title="Layers",
        headings=("layer", "entities", "design points", "kinds", "read as"),
        rows=tuple(rows),
        numbers=frozenset((1, 2)),
    )


def _labels(drawing: Drawing, unit: LengthUnit, label_layer: str) -> Section:
    points = drawing.points
    by_layer: dict[str, list[int]] = defaultdict(list)
    for row, layer in enumerate(points.layer.tolist()):
        by_layer[layer].append(row)
    if not by_layer:
        return Section(
            title="Design points",
            lines=(
                "none: a stake is a POINT with its number as a text beside it on the same layer,",
                "or a block with the number as an attribute",
            ),
        )
    rows = []
    for layer, found in sorted(by_layer.items(), key=lambda item: item[0].casefold()):
        names = [str(points.id[row]) for row in found]
        numbered = [name for name in names if not name.startswith("@")]
        more = f" and {len(numbered) - _SHOWN_IDS} more" if len(numbered) > _SHOWN_IDS else ""
        height = unit.from_metres(points.elevation_m[found])
        there = height[np.isfinite(height)]
        heights = "none"
        if len(there):
            heights = f"{fixed(float(there.min()), 3)} to {fixed(float(there.max()), 3)}"
        rows.append(
            (
                layer,
                str(len(found)),
                str(len(found) - len(numbered)),
                ", ".join(numbered[:_SHOWN_IDS]) + more,
                heights,
            )
        )
    hint = (
        "the numbers stand on another layer: say so in the job, under [design]:",
        f"labels = {{ layer = [{json.dumps(label_layer, ensure_ascii=False)}] }}",
    )
    return Section(
        title="Design points and their numbers",
        lines=hint if label_layer else (),
        headings=("layer", "points", "unnumbered", "numbers", "elevations"),
        rows=tuple(rows),
        numbers=frozenset((1, 2)),
    )


def _worth_saying(look: DrawingOverview) -> list[Notice]:
    notices = list(look.drawing.notices)
    if not look.stated:
        notices = [notice for notice in notices if notice.slug not in _UNIT_NOTICES]
    return notices


# ---------------------------------------------------------------- both


def _notices(notices: Iterable[Notice]) -> list[Section]:
    lines = tuple(
        f"{notice.where}: {notice.message} [{notice.slug}]"
        for notice in dict.fromkeys(notices)
        if not (notice.slug == "unused-columns" and notice.message.startswith("no check"))
    )
    return [Section(title="Notices", lines=lines)] if lines else []


def _count(number: int, noun: str) -> str:
    plural = f"{noun[:-1]}ies" if noun.endswith("y") else f"{noun}s"
    return f"{number:,} {noun if number == 1 else plural}"


def _number(value: float) -> str:
    """Return a number as a file has it: whole, or with the decimals that it needs, at most 6."""
    text = fixed(float(value), 6)
    return text.rstrip("0").rstrip(".") if "." in text else text
