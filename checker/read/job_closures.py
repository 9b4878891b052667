"""The sections of a job file about vectors and described figures."""

import math

from checker.model.job import (
    CommonLine,
    DescribedFigure,
    Position,
    VectorFrame,
    Vectors,
)
from checker.read.areas import parse_area
from checker.read.figure_book import FIGURE
from checker.read.job_draft import Draft, columns_of, identifier, needs_section, unit_of
from checker.read.job_parts import book_file, end_of, id_lists, section_name
from checker.read.job_tolerances import tolerance_of
from checker.read.toml_tables import Table, quoted
from checker.read.vectors import VECTORS
from checker.units import (
    AngleFormat,
    parse_angle,
    parse_length,
)

_HIGHEST_GEOID_M = 150.0
"""No geoid of the earth stands farther from its ellipsoid (common practice, no source)."""

# ---------------------------------------------------------------- vectors


def read_vectors(draft: Draft, table: Table) -> None:
    """Read [[vectors]]: loops of vectors, given or to be found."""
    name = section_name(draft, table, "Vectors")
    file = book_file(table)
    loops = id_lists(table, "loops", '[["A", "B", "C", "A"]]')
    for loop in loops:
        if loop[0] != loop[-1] and "control" not in draft.top:
            table.fault(
                "open-loop",
                "loops",
                f"{table.title}: the loop {'-'.join(loop)} does not end where it began",
                f"repeat its first id at the end: [..., {quoted(loop[0])}]; between two points of "
                "a [control] it may stay open",
            )
        elif loop[0] == loop[-1] and len(loop) < 4:
            table.fault(
                "open-loop",
                "loops",
                f"{table.title}: the loop {'-'.join(loop)} goes there and back over one vector, "
                "and closes whatever was measured",
                "give at least three marks; a baseline observed twice is compared by itself",
            )
        elif len(set(loop[:-1])) < len(loop) - 1:
            table.fault(
                "open-loop",
                "loops",
                f"{table.title}: the loop {'-'.join(loop)} passes a mark twice on its way",
                "give each of its loops by itself",
            )
    frame = table.choice("frame", VectorFrame)
    latitude, longitude = _about(table)
    if latitude is not None and frame is not VectorFrame.GEOCENTRIC and not table.has("frame"):
        table.fault(
            "conflicting-keys",
            "about",
            f'{table.title} has about, which belongs to frame = "{VectorFrame.GEOCENTRIC}"',
            'write frame = "geocentric", or take about out',
        )
    geoid = table.parsed(
        "geoid_height",
        lambda value: parse_length(value, draft.unit),
        "a length from -150 m to 150 m",
        accept=lambda found: abs(found) <= _HIGHEST_GEOID_M,
    )
    draft.checks.append(
        Vectors(
            where=table.where,
            name=name,
            tolerance=tolerance_of(draft, table),
            file=file,
            unit=unit_of(draft, table),
            columns=columns_of(table, VECTORS.names),
            loops=tuple(loops),
            frame=frame,
            latitude_rad=latitude,
            longitude_rad=longitude,
            geoid_m=geoid,
        )
    )


def _about(table: Table) -> tuple[float | None, float | None]:
    """Return roughly where the vectors lie."""
    inner = table.table("about", '{ latitude = "40-15", longitude = "-105-10" }')
    if inner is None:
        return None, None
    found: list[float | None] = []
    for key, most in (("latitude", 90), ("longitude", 360)):
        found.append(
            inner.parsed(
                key,
                parse_angle,
                f"degrees from -{most} to {most}",
                accept=lambda angle, most=most: abs(angle) <= math.radians(most),  # type: ignore[misc]
            )
        )
        if not inner.has(key):
            inner.missing(key, "in degrees, north and east positive; a degree or so is enough")
    inner.done()
    return found[0], found[1]


# ---------------------------------------------------------------- figures


def _start(draft: Draft, table: Table) -> str | Position | None:
    """Return the point of beginning; a figure that is drawn has its own."""
    start = end_of(draft, table, "start")
    if table.has("start") and table.has("design"):
        table.fault(
            "conflicting-keys",
            "start",
            f"{table.title} has a start, and is drawn where it lies",
            "take start out",
        )
    if isinstance(start, str):
        needs_section(draft, table, "control", "control points", 'add [control] file = "..."')
    return start


def _common(table: Table) -> tuple[CommonLine, ...]:
    """Return the courses that a figure shares with others."""
    found = []
    for inner in table.tables("common", '{ course = "3", figure = "Lot 2", other = "1" }'):
        texts = {}
        for key, what in (
            ("course", "the course of this figure"),
            ("figure", "the name of the other figure"),
            ("other", "the other figure's course"),
        ):
            texts[key] = identifier(inner, key)
            if not inner.has(key):
                inner.missing(key, what)
        inner.done()
        if all(texts.values()):
            found.append(CommonLine(**{key: str(text) for key, text in texts.items()}))
    if table.has("common") and table.has("design"):
        table.fault(
            "conflicting-keys",
            "common",
            f"{table.title} has common lines, and is drawn",
            "common lines are of figures with a file; drawn ones are compared where they lie",
        )
    return tuple(found)


def read_figure(draft: Draft, table: Table) -> None:
    """Read [[figure]]: courses of a deed, or what is drawn on a layer."""
    name = section_name(draft, table, "Figure")
    file = table.file("file")
    layers: tuple[str, ...] = ()
    inner = table.table("design", '{ layer = "PARCEL" }')
    if inner is not None:
        layers = inner.texts("layer", what="layer")
        if not inner.has("layer"):
            inner.missing("layer", "the layer on which the figure is drawn")
        inner.done()
        needs_section(draft, table, "design", "a drawing", 'add [design] with drawing = "..."')
    if table.has("file") and table.has("design"):
        table.fault(
            "conflicting-keys",
            "design",
            f"{table.title} names both a file of courses and a layer",
            "keep one of them; write a second [[figure]] for the other",
        )
    if not (table.has("file") or table.has("design")):
        table.missing("file", 'its courses, or design = { layer = "..." } where it is drawn')
    unit = unit_of(draft, table)
    area = table.parsed(
        "area",
        lambda value: parse_area(value, unit),
        'an area greater than 0, such as "37331 sq ft" or "0.857 acre"',
        accept=lambda found: found[0] > 0.0,
    )
    draft.checks.append(
        DescribedFigure(
            where=table.where,
            name=name,
            tolerance=tolerance_of(draft, table),
            file=file,
            layers=layers,
            unit=unit,
            columns=columns_of(table, FIGURE.names),
            angle_format=table.choice("angle_format", AngleFormat) or AngleFormat.SEXAGESIMAL,
            area_m2=None if area is None else area[0],
            area_step_m2=0.0 if area is None else area[1],
            start=_start(draft, table),
            common=_common(table),
        )
    )
