"""The sections of a job file about surfaces, shapes, planes and pipes."""

from collections.abc import Sequence
from dataclasses import replace

from checker.model.job import (
    FaceTables,
    Pipe,
    Plane,
    Relative,
    Selection,
    Surface,
    Tolerance,
)
from checker.read.faces import CORNERS
from checker.read.job_draft import Draft, columns_of, needs_section, positive, unit_of
from checker.read.job_parts import (
    azimuth_of,
    id_list,
    id_lists,
    measured_of,
    needs_design,
    needs_measured,
    needs_tolerance,
    section_name,
    selection_of,
)
from checker.read.job_tolerances import slope_limit, tolerance_of
from checker.read.toml_tables import Table, quoted
from checker.units import AngleFormat, Formula, parse_slope

_NOT_BACKWARDS = Formula(constant=0.0, text="0: a pipe must not fall backwards")
_NOT_UP = Formula(constant=0.0, text="0: nothing may rise across a structure")


# ---------------------------------------------------------------- surfaces


def read_surface(draft: Draft, table: Table) -> None:
    """Read [[surface]]: as-measured heights against triangles."""
    name = section_name(draft, table, "Surface")
    needs_measured(draft, table)
    tolerance = tolerance_of(draft, table)
    needs_tolerance(table, tolerance)
    layers, faces = _surface_design(draft, table)
    boundary: tuple[str, ...] = ()
    ring = table.table("boundary", '{ layer = "LIMIT-OF-WORK" }')
    if ring is not None:
        boundary = ring.texts("layer", what="layer")
        if not ring.has("layer"):
            ring.missing("layer", "the layer of the closed lines")
        ring.done()
    volume = table.flag("volume", default=False)
    if boundary and not volume:
        table.fault(
            "conflicting-keys",
            "boundary",
            f"{table.title} has a boundary, which only a volume needs",
            "write volume = true, or take boundary out",
        )
    draft.checks.append(
        Surface(
            where=table.where,
            name=name,
            tolerance=tolerance,
            layers=layers,
            tables=faces,
            measured=measured_of(table),
            thickness_m=table.parsed(
                "thickness", draft.length, "a length of 0 or more", accept=lambda t: t >= 0.0
            )
            or 0.0,
            volume=volume,
            boundary=boundary,
        )
    )


def _surface_design(draft: Draft, table: Table) -> tuple[tuple[str, ...], FaceTables | None]:
    """Return the layers of a surface, or the tables that hold it."""
    inner = table.table("design", '{ layer = "FG-TIN" }')
    if inner is None:
        if not table.has("design"):
            table.missing("design", '{ layer = "FG-TIN" }, or { points = "...", faces = "..." }')
        return (), None
    layers = inner.texts("layer", what="layer")
    points, faces = inner.file("points"), inner.file("faces")
    columns = columns_of(inner, CORNERS.names)
    unit = unit_of(draft, inner)
    stated = [key for key in ("points", "faces") if inner.has(key)]
    if inner.has("layer") and stated:
        inner.fault(
            "conflicting-keys",
            stated[0],
            f"{inner.title} names both a layer and tables",
            "keep the layer of the drawing, or the two tables",
        )
    elif inner.has("layer"):
        needs_section(draft, table, "design", "a drawing", 'add [design] with drawing = "..."')
    elif not stated:
        inner.missing("layer", "the layer of the triangles, or points and faces, two tables")
    for key, other in (("points", "faces"), ("faces", "points")):
        if stated == [key]:
            inner.missing(other, "a surface in tables has its corners in one and faces in another")
    inner.done()
    if points is None or faces is None:
        return layers, None
    return (), FaceTables(points=points, faces=faces, unit=unit, columns=columns)


# ---------------------------------------------------------------- relative positions


def read_relative(draft: Draft, table: Table) -> None:
    """Read [[relative]]: distances and differences of elevation between points."""
    name = section_name(draft, table, "Relative")
    needs_measured(draft, table)
    if not table.has("plumb") or any(map(table.has, ("pairs", "group", "groups", "line"))):
        needs_design(draft, table)
    tolerance = tolerance_of(draft, table)
    needs_tolerance(table, tolerance)
    pairs = id_lists(table, "pairs", '[["101", "102"], ["101", "103"]]', most=2)
    plumb = id_lists(table, "plumb", '[["C1 bottom", "C1 top"]]', most=2)
    line = id_list(table, "line", '["101", "102", "103"]')
    group = _one_group(table, "group", table.data["group"]) if table.has("group") else None
    groups: dict[str, Selection] = {}
    named = table.table("groups", '{ A = { id = ["1", "2"] }, B = { id = ["3", "4"] } }')
    if named is not None:
        for key, value in named.data.items():
            named.has(key)
            selection = _one_group(named, key, value)
            if selection is not None:
                groups[key] = selection
    if not any(table.has(key) for key in ("pairs", "group", "line", "plumb")):
        table.missing("pairs", 'pairs = [["101", "102"]], group = { layer = "..." }, or line')
    draft.checks.append(
        Relative(
            where=table.where,
            name=name,
            tolerance=tolerance,
            pairs=tuple((pair[0], pair[1]) for pair in pairs),
            group=group,
            groups=groups,
            line=line,
            plumb=tuple((pair[0], pair[1]) for pair in plumb),
            measured=measured_of(table),
        )
    )


def _one_group(table: Table, key: str, value: object) -> Selection | None:
    """Return a group of points: a selection, or plainly a list of ids."""
    if isinstance(value, dict):
        selection = selection_of(table, key, '{ layer = "STAKE-BOLTS" }')
    else:
        selection = Selection(ids=id_list(table, key, '["201", "202", "203"]'))
        if not selection.ids:
            return None
    ids = selection.ids
    for again in dict.fromkeys(name for name in ids if ids.count(name) > 1):
        # most likely meant as another one, which would go unchecked
        table.fault(
            "conflicting-keys",
            key,
            f"{table.title}: {key} names {quoted(again)} {ids.count(again)} times",
            "name every point once: was another one meant?",
        )
    return selection


# ---------------------------------------------------------------- planes


def read_plane(draft: Draft, table: Table) -> None:
    """Read [[plane]]: slope, crossfall and flatness of a slab, pad or ramp."""
    name = section_name(draft, table, "Plane")
    needs_measured(draft, table)
    slope = table.parsed("slope", parse_slope, 'a slope such as "2 %"')
    direction = azimuth_of(table, "direction", AngleFormat.SEXAGESIMAL)
    crossfall = table.parsed("crossfall", parse_slope, 'a slope such as "1 %"')
    design = None
    if table.has("design"):
        needs_design(draft, table)
        design = selection_of(table, "design", '{ layer = "PAD-GRADES" }')
        if table.has("slope") or table.has("crossfall"):
            table.fault(
                "conflicting-keys",
                "slope" if table.has("slope") else "crossfall",
                f"{table.title} states the design twice: as points and as a slope",
                "keep design, or slope with direction and crossfall",
            )
    if table.has("crossfall") and not (table.has("direction") and table.has("slope")):
        table.missing("direction", "crossfall is the fall to the right of a direction with a slope")
    if slope is not None and slope < 0.0 and not table.has("direction"):
        table.fault(
            "bad-value",
            "slope",
            f"{table.title}: slope is {quoted(table.data['slope'])}; without a direction it is the "
            "steepest fall, which has no sign",
            "state direction, the azimuth towards which it falls",
        )
    tolerance = _with_limits(
        table,
        tolerance_of(draft, table),
        ("minimum_grade", "maximum_grade", "maximum_crossfall"),
    )
    if table.has("maximum_crossfall") and not table.has("direction") and design is None:
        table.missing("direction", "the crossfall is measured square to it")
    needs_tolerance(table, tolerance)
    draft.checks.append(
        Plane(
            where=table.where,
            name=name,
            tolerance=tolerance,
            measured=measured_of(table),
            design=design,
            slope=slope,
            direction_rad=direction,
            crossfall=crossfall,
        )
    )


def _with_limits(
    table: Table, tolerance: Tolerance | None, keys: Sequence[str]
) -> Tolerance | None:
    """Return the tolerance with the limits that the section itself states."""
    for key in keys:
        stated = table.parsed(
            key,
            slope_limit,
            'a slope greater than 0 such as "0.5 %"',
            accept=lambda limit: limit.constant > 0.0,
            slug="limit-not-positive",
        )
        if stated is not None:
            tolerance = replace(tolerance or Tolerance(name=""), **{key: stated})  # type: ignore[arg-type]
    return tolerance


# ---------------------------------------------------------------- pipes


def read_pipe(draft: Draft, table: Table) -> None:
    """Read [[pipe]]: runs of pipe from the upper end down, and drops across structures."""
    name = section_name(draft, table, "Pipe")
    needs_measured(draft, table)
    runs = id_lists(table, "runs", '[["MH1 OUT", "MH2 IN"]]')
    structures = id_lists(table, "structures", '[["MH2 IN", "MH2 OUT"]]', most=2)
    if not (table.has("runs") or table.has("structures")):
        table.missing("runs", 'lists of ids from the upper end down: [["MH1 OUT", "MH2 IN"]]')
    tolerance = _with_limits(table, tolerance_of(draft, table), ("minimum_grade", "maximum_grade"))
    drop = table.parsed("minimum_drop", draft.length, "a length greater than 0", accept=positive)
    # What flows must fall, whether or not a limit says so.
    tolerance = tolerance or Tolerance(name="")
    if drop is not None:
        text = str(table.data["minimum_drop"])
        if not isinstance(table.data["minimum_drop"], str):
            text = f"{text} {draft.unit.short}"
        tolerance = replace(tolerance, minimum_drop=Formula(constant=drop, text=text))
    if runs and tolerance.minimum_grade is None:
        tolerance = replace(tolerance, minimum_grade=_NOT_BACKWARDS)
    if structures and tolerance.minimum_drop is None:
        tolerance = replace(tolerance, minimum_drop=_NOT_UP)
    draft.checks.append(
        Pipe(
            where=table.where,
            name=name,
            tolerance=tolerance,
            runs=tuple(runs),
            structures=tuple((pair[0], pair[1]) for pair in structures),
            measured=measured_of(table),
        )
    )
