"""The sections of a job file about vectors and described figures."""

import math
import re
from typing import Final

from checker.model.job import (
    DescribedFigure,
    Levels,
    Network,
    Traverse,
    VectorFrame,
    Vectors,
)
from checker.read.figure_book import FIGURE
from checker.read.job_checks import _book_file, _section_name
from checker.read.job_draft import Draft, columns_of, needs_section, unit_of
from checker.read.job_shapes import _id_lists
from checker.read.job_sigmas import sigmas_of
from checker.read.job_tolerances import tolerance_of
from checker.read.toml_tables import Table, meant, quoted
from checker.read.vectors import VECTORS
from checker.units import (
    AngleFormat,
    LengthUnit,
    UnitError,
    parse_angle,
)

# ---------------------------------------------------------------- vectors


def read_vectors(draft: Draft, table: Table) -> None:
    """Read [[vectors]]: loops of vectors, given or to be found."""
    name = _section_name(draft, table, "Vectors")
    file = _book_file(table)
    loops = _id_lists(table, "loops", '[["A", "B", "C", "A"]]')
    for loop in loops:
        if loop[0] != loop[-1]:
            table.fault(
                "open-loop",
                "loops",
                f"{table.title}: the loop {'-'.join(loop)} does not end where it began",
                f"repeat its first id at the end: [..., {quoted(loop[0])}]",
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


def read_figure(draft: Draft, table: Table) -> None:
    """Read [[figure]]: courses of a deed, or what is drawn on a layer."""
    name = _section_name(draft, table, "Figure")
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
        )
    )


_AREA: Final = re.compile(r"\s*(\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+(?:\.\d+)?)\s*([^\d]*?)\s*")
_SQUARE_FEET_PER_ACRE: Final = 43560.0


def parse_area(value: str | float, unit: LengthUnit) -> tuple[float, float]:
    """Return an area and one unit of its last written digit, square metres.

    A bare number is in the square of the unit. An acre is 43,560 square feet of the job's own foot
    (the international foot in a job in metres). Raises UnitError.
    """
    text = value if isinstance(value, str) else repr(value).removesuffix(".0")
    match = _AREA.fullmatch(text)
    foot = LengthUnit.FOOT if unit is LengthUnit.METRE else unit
    known = {"": unit.metres**2}
    known |= dict.fromkeys(("m2", "sqm", "squaremetre", "squaremeter"), 1.0)
    known |= dict.fromkeys(("ft2", "sqft", "squarefoot", "squarefeet", "sf"), foot.metres**2)
    known |= dict.fromkeys(("ac", "acre"), foot.metres**2 * _SQUARE_FEET_PER_ACRE)
    known |= dict.fromkeys(("ha", "hectare"), 1e4)
    if match is not None:
        word = re.sub(r"[\s.^]", "", match[2].lower().replace("²", "2"))
        scale = known.get(word, known.get(word.removesuffix("s")))
        if scale is not None:
            digits = match[1].replace(",", "")
            places = len(digits.partition(".")[2])
            return float(digits) * scale, 10.0**-places * scale
    raise UnitError(
        f"{quoted(value)} is no area",
        'write a number in the square of the unit, or "37331 sq ft", "0.857 acre", "3468 m2"',
    )


# ---------------------------------------------------------------- networks


def _confidence(value: str | float) -> float:
    text = value.strip() if isinstance(value, str) else repr(value)
    percent = text.endswith("%")
    try:
        number = float(text.removesuffix("%"))
    except ValueError:
        raise UnitError(f"{quoted(value)} is no confidence", 'write 0.95 or "95 %"') from None
    return number / 100.0 if percent else number


def read_network(draft: Draft, table: Table) -> None:
    """Read [[network]]: sections adjusted together by least squares."""
    name = _section_name(draft, table, "Network")
    use = table.texts("use", what="section")
    if not table.has("use"):
        table.missing("use", "the names of traverses, levels or vectors that it is made of")
    usable = [each.name for each in draft.checks if isinstance(each, Traverse | Levels | Vectors)]
    for each in use:
        if each not in usable:
            table.fault(
                "unknown-section-name",
                "use",
                f"{table.title}: use names {quoted(each)}, and no [[traverse]], [[levels]] or "
                "[[vectors]] has that name",
                meant(each, usable, "their names are"),
            )
    fixed: tuple[str, ...] | None = None
    if table.has("fixed"):
        empty = table.data["fixed"] == []
        fixed = () if empty else table.texts("fixed", what="point", number_too=True)
        if fixed:
            needs_section(draft, table, "control", "control points", 'add [control] file = "..."')
    variance = table.one_of("variance", {"a posteriori": False, "a priori": True})
    sigmas = sigmas_of(draft, table, ("angle", "distance", "azimuth", "rise", "vector"))
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
            fixed=fixed,
            confidence=0.95 if confidence is None else confidence,
            a_priori=bool(variance),
            sigmas=sigmas,
        )
    )
