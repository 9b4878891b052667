"""As-measured heights against the design's own triangles: cut and fill where the crew worked.

The design is never triangulated anew. Only for a volume the as-measured shots are, and that is
said. On a drawing on ground the shots are brought to ground, so areas and volumes are on ground.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from checker.checks.closing import column, item, refuse
from checker.checks.deltas import Sigmas, counts_item, picked, sigmas_of
from checker.checks.frame import to_ground_m
from checker.checks.selecting import check_shots, fits
from checker.checks.shots import (
    Shots,
    names_of,
    plan_xy_m,
    select_shots,
    several,
    shot_again,
    sigma_level_of,
)
from checker.errors import InputError, Problem
from checker.geometry.arrays import GeometryError
from checker.geometry.boundary import Boundary, boundary, inside
from checker.geometry.quads import split_heights
from checker.geometry.surface import Heights, SurfaceError, plan_area, surface
from checker.geometry.surface import Surface as Faces
from checker.geometry.volume import Volume, volume_between
from checker.geometry.volume_weights import corner_weights
from checker.lengths import small_text
from checker.model.arrays import (
    BoolArray,
    FloatArray,
    IntArray,
    TextArray,
    same_text,
    taken,
)
from checker.model.drawing import Figure, Triangles
from checker.model.finding import Verdict
from checker.model.inputs import Inputs
from checker.model.job import Job, Surface
from checker.model.measure import Column, Comparison, Item, Measure, Quantity
from checker.text import fixed, group
from checker.units import LengthUnit

_SAGITTA_M = 0.001
"""How far arcs of a boundary may stand off the line that stands for them."""
_CLOSED_M = 1e-4
_CUBIC_FEET_PER_CUBIC_YARD = 27.0


def measure_surface(section: Surface, inputs: Inputs, job: Job) -> Measure:
    """Compare as-measured heights with the design surface, a row a shot.

    Rows: every selected shot but check shots on control; earlier shots of a number at the same
    place and excluded ones as rows that do not count. Raises InputError where a layer holds no
    triangles, the triangles make no surface, a boundary is not closed, a selection finds nothing or
    an exclusion names no shot.
    """
    problems: list[Problem] = []
    triangles = faces = shots = None
    rings: tuple[FloatArray, ...] = ()
    try:
        triangles = _triangles(section, inputs)
        faces = _faces(section, triangles)
    except InputError as fault:
        problems += fault.problems
    try:
        rings = _rings(section, inputs)
    except InputError as fault:
        problems += fault.problems
    try:
        shots = select_shots(section, section.measured, inputs, job)
    except InputError as fault:
        problems += fault.problems
    if problems or triangles is None or faces is None or shots is None:
        raise InputError(problems)
    proof = check_shots(inputs, shots.points)[shots.chosen]
    scene = _Scene(
        section=section,
        job=job,
        shots=shots,
        row=taken(shots.chosen, np.flatnonzero(~proof)),
        triangles=triangles,
        faces=faces,
        edges=boundary(faces),
        rings=rings,
        checks=int(proof.sum()),
    )
    return _measure(scene)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scene:
    """What a section compares. row: indices of the as-measured points, one a row."""

    section: Surface
    job: Job
    shots: Shots
    row: IntArray
    triangles: Triangles
    faces: Faces
    edges: Boundary
    rings: tuple[FloatArray, ...]
    checks: int

    @property
    def unit(self) -> LengthUnit:
        """The job's unit."""
        return self.job.unit

    def length(self, value_m: float) -> str:
        """Return a length in the job's unit."""
        return f"{fixed(self.unit.from_metres(value_m), 3)} {self.unit.short}"

    def area(self, value_m2: float) -> str:
        """Return an area in the job's unit."""
        return f"{group(value_m2 / self.unit.metres**2, 1)} {self.unit.short}²"

    def volume(self, value_m3: float) -> str:
        """Return a volume in the job's unit, in feet in cubic yards too."""
        value = value_m3 / self.unit.metres**3
        text = f"{group(value, 1)} {self.unit.short}³"
        if self.unit is LengthUnit.METRE:
            return text
        return f"{text} ({group(value / _CUBIC_FEET_PER_CUBIC_YARD, 1)} cubic yards)"

    def place(self, xy_m: FloatArray) -> str:
        """Return easting and northing in the job's unit, as a message says them."""
        east, north = (fixed(self.unit.from_metres(float(value)), 1) for value in xy_m)
        return f"N {north}, E {east}"


# ---------------------------------------------------------------- the design


def _triangles(section: Surface, inputs: Inputs) -> Triangles:
    """Return the section's triangles; raises InputError where a layer holds none."""
    if section.tables is not None:
        return inputs.faces[section.name]
    parts = [each.triangles for each in inputs.drawings if each.triangles is not None]
    layer: TextArray = np.concatenate([np.empty(0, dtype=object), *(part.layer for part in parts)])
    dropped = {name: 0 for part in parts for name in part.dropped}
    for part in parts:
        for name, count in part.dropped.items():
            dropped[name] += count
    problems = []
    for pattern in section.layers:
        if fits([pattern], layer).any():
            continue
        there = sorted({str(name) for name in layer.tolist()})
        flat = [name for name in dropped if fits([pattern], _texts([name])).any()]
        problems.append(
            Problem(
                slug="no-triangles",
                where=section.where,
                message=f'design: layer "{pattern}" holds no triangles'
                + (", only faces without an area in plan" if flat else ""),
                hint=f"layers with triangles: {', '.join(there)}"
                if there
                else "no layer of the drawing holds triangles (3D faces or meshes); lines and "
                "points alone are no surface",
            )
        )
    if problems:
        raise InputError(problems)
    take = fits(section.layers, layer)
    quad, quad_m = _warped(parts)
    return Triangles(
        corner_m=np.concatenate([part.corner_m for part in parts])[take],
        layer=layer[take],
        handle=np.concatenate([part.handle for part in parts])[take],
        dropped={
            name: count
            for name, count in dropped.items()
            if fits(section.layers, _texts([name])).any()
        },
        quad=None if quad is None else quad[take],
        quad_m=quad_m,
    )


def _warped(parts: Sequence[Triangles]) -> tuple[IntArray | None, FloatArray | None]:
    """Return which face of four corners triangles are half of, and these faces, over all parts."""
    found = [part.quad_m for part in parts if part.quad_m is not None]
    if not found:
        return None, None
    numbers, before = [], 0
    for part in parts:
        if part.quad is None or part.quad_m is None:
            numbers.append(np.full(len(part.corner_m), -1, dtype=np.int64))
        else:
            numbers.append(np.where(part.quad >= 0, part.quad + before, -1))
            before += len(part.quad_m)
    return np.concatenate(numbers), np.concatenate(found)


def _texts(names: Sequence[str]) -> TextArray:
    """Return texts as an array."""
    found: TextArray = np.array(list(names), dtype=object)
    return found


def _faces(section: Surface, triangles: Triangles) -> Faces:
    """Return the surface, lowered by the thickness."""
    corner = triangles.corner_m.copy()
    corner[:, :, 2] -= section.thickness_m
    try:
        return surface(corner)
    except SurfaceError as fault:
        refuse("no-surface", section.where, f"design: {fault}", fault.hint or "look at its faces")


def _rings(section: Surface, inputs: Inputs) -> tuple[FloatArray, ...]:
    """Return the rings of the boundary, (easting, northing), arcs as short chords."""
    import shapely

    if not section.boundary:
        return ()
    figures = [figure for drawing in inputs.drawings for figure in drawing.figures]
    layers = _texts([figure.layer for figure in figures])
    problems = []
    rings = []

    def fault(slug: str, message: str, hint: str) -> None:
        problems.append(
            Problem(slug=slug, where=section.where, message=f"boundary: {message}", hint=hint)
        )

    for pattern in section.boundary:
        found = np.flatnonzero(fits([pattern], layers)) if figures else np.empty(0, np.int64)
        if not found.size:
            there = sorted({figure.layer for figure in figures})
            fault(
                "layer-unknown",
                f'no line is drawn on layer "{pattern}"',
                f"layers with lines: {', '.join(there)}" if there else "draw a closed line",
            )
        for index in found.tolist():
            figure = figures[index]
            ring = _ring(figure)
            name = f"{figure.kind} {figure.handle} on layer {figure.layer}"
            gap = float(np.hypot(*(figure.xyz_m[-1, :2] - figure.xyz_m[0, :2])))
            if not figure.closed and gap > _CLOSED_M:
                fault("boundary-open", f"{name} is not closed", "close the line in the drawing")
            elif len(ring) < 3 or not shapely.Polygon(ring).is_valid:
                fault(
                    "boundary-crossing",
                    f"{name} encloses no area, or crosses itself",
                    "mend the line in the drawing",
                )
            else:
                rings.append(ring)
    if problems:
        raise InputError(problems)
    return tuple(rings)


def _ring(figure: Figure) -> FloatArray:
    """Return the course of a closed figure as a ring of chords, the first vertex not repeated."""
    xy, bulge = figure.xyz_m[:, :2], figure.bulge
    if not figure.closed and len(xy) > 1:
        xy, bulge = xy[:-1], bulge[:-1]
    parts = []
    for here, there, bend in zip(xy, np.roll(xy, -1, axis=0), bulge.tolist(), strict=True):
        parts.append(here[None, :])
        if bend == 0.0:
            continue
        turn = 4.0 * np.arctan(bend)
        chord = complex(*(there - here))
        # The centre lies square to the chord, to the left of a left turn that is less than half.
        centre = complex(*here) + chord * (0.5 + 0.5j / np.tan(turn / 2.0))
        radius = abs(complex(*here) - centre)
        step = 2.0 * np.arccos(max(1.0 - _SAGITTA_M / radius, 0.0))
        count = max(int(np.ceil(abs(turn) / step)), 1)
        angle = np.arange(1, count) / count * turn
        on_arc = centre + (complex(*here) - centre) * np.exp(1j * angle)
        parts.append(np.column_stack((on_arc.real, on_arc.imag)))
    return np.concatenate(parts)


# ---------------------------------------------------------------- the rows


def _measure(scene: _Scene) -> Measure:
    """Return the measure of a scene."""
    section, points, row = scene.section, scene.shots.points, scene.row
    xy = to_ground_m(plan_xy_m(points, row), scene.job.reference.ground)
    found = scene.faces.look_up(xy)
    reason = taken(scene.shots.reason, row)
    superseded, said = shot_again(scene.shots, row, xy)
    z = taken(points.elevation_m, row)
    dz = z - found.elevation_m
    unchecked = _outside(scene, found, xy)
    aside = np.flatnonzero(reason != "")
    if aside.size:
        unchecked = unchecked.copy()
        unchecked[aside] = [f"excluded: {text}" for text in reason[aside].tolist()]
    sigma = sigmas_of(points, row, sigma_level_of(section, scene.job))
    sigma_dz = sigma.against_gradient(found.gradient[:, 1], found.gradient[:, 0])
    counted = ~superseded & (reason == "")
    compared = counted & ~np.isnan(dz)
    name = names_of(scene.shots, row)
    other, about_other = _other_split(scene, found, xy, dz, sigma_dz)
    volume_items, volume_remarks = _volume(scene, xy, counted & ~np.isnan(z))
    return Measure(
        kind="surface",
        name=section.name,
        where=section.where,
        tolerance=section.tolerance,
        id=name,
        columns=_columns(scene, found, dz, sigma, sigma_dz, superseded),
        summary=(
            counts_item("points", "Shots on the surface", int(compared.sum())),
            counts_item(
                "outside", "Shots beside the surface", int((counted & (found.hits == 0)).sum())
            ),
            *_spread(dz[compared & ~found.overlaps]),
            counts_item("triangles", "Triangles", len(scene.faces)),
            Item(
                key="surface_area",
                label="Area of the design in plan",
                quantity=Quantity.AREA,
                value=float(scene.faces.area_m2.sum()),
            ),
            *(
                (
                    item(
                        "thickness", "Below the drawn surface", Quantity.LENGTH, section.thickness_m
                    ),
                )
                if section.thickness_m
                else ()
            ),
            *volume_items,
        ),
        comparisons=(_comparison(scene, found, dz, sigma_dz), *other),
        judged_by_row=True,
        shots=row[:, None],
        used=taken(row, np.flatnonzero((reason == "") & (found.hits > 0))),
        unchecked=unchecked,
        undecided=same_text("", len(row)),
        said=said,
        counted=counted,
        remarks=(*_remarks(scene), *about_other, *volume_remarks),
    )


def _columns(
    scene: _Scene,
    found: Heights,
    dz: FloatArray,
    sigma: Sigmas,
    sigma_dz: FloatArray,
    superseded: BoolArray,
) -> tuple[Column, ...]:
    """Return the columns of the table."""
    points, row = scene.shots.points, scene.row
    spot, length = Quantity.COORDINATE, Quantity.LENGTH
    handle: TextArray = np.full(len(row), "", dtype=object)
    hit = found.source >= 0
    handle[hit] = scene.triangles.handle[found.source[hit]]
    return (
        column("measured_n", "As-measured N", spot, picked(points.northing_m, row), detail=True),
        column("measured_e", "As-measured E", spot, picked(points.easting_m, row), detail=True),
        column("measured_z", "As-measured Z", spot, picked(points.elevation_m, row)),
        column("design_z", "Design Z", spot, found.elevation_m),
        column("dz", "ΔZ", length, dz),
        column("cut_fill", "Cut/fill", Quantity.CUT_FILL, dz),
        column("normal", "Square to the surface", length, found.normal(dz), detail=True),
        column("slope", "Slope of the design", Quantity.GRADE, _slope(found)),
        column("sigma_z", "σ vertical", length, sigma.z),
        column("sigma_dz", "σ of ΔZ", length, sigma_dz, detail=True),
        column("face", "Triangle", Quantity.TEXT, handle, detail=True),
        Column(
            key="superseded",
            label="Superseded",
            quantity=Quantity.FLAG,
            values=superseded,
            detail=not superseded.any(),
        ),
    )


def _slope(found: Heights) -> FloatArray:
    """Return the steepest rise per metre of the design at each shot; NaN beside it."""
    result: FloatArray = np.hypot(found.gradient[:, 0], found.gradient[:, 1])
    return result


def _comparison(scene: _Scene, found: Heights, dz: FloatArray, sigma_dz: FloatArray) -> Comparison:
    """Return the comparison of heights; where the design has two elevations none is compared."""
    absent, value = same_text("", len(dz)), dz
    silent = np.isnan(taken(scene.shots.points.elevation_m, scene.row))
    if silent.any() or found.overlaps.any():
        absent, value = absent.copy(), np.where(found.overlaps, np.nan, dz)
        absent[silent] = "no elevation was measured"
    for row in np.flatnonzero(found.overlaps).tolist():
        low, high = (scene.length(float(end[row])) for end in (found.low_m, found.high_m))
        absent[row] = (
            f"the design has two elevations here, {low} and {high}: its faces overlap or step"
        )
    return Comparison(
        limit="vertical",
        label="height",
        value=value,
        sigma=sigma_dz,
        absent=absent,
        absent_verdict=np.full(len(dz), Verdict.UNDECIDED, dtype=np.int8),
    )


def _other_split(
    scene: _Scene, found: Heights, xy: FloatArray, dz: FloatArray, sigma_dz: FloatArray
) -> tuple[tuple[Comparison, ...], tuple[str, ...]]:
    """Return how shots lie to the other split of faces that may be split either way, and a remark.

    The drawing does not say which is meant, so a height that only one of them lets pass is a reason
    for doubt.
    """
    quad, quad_m = scene.triangles.quad, scene.triangles.quad_m
    hit = np.flatnonzero(found.source >= 0)
    if quad is None or quad_m is None or not hit.size:
        return (), ()
    face = quad[found.source[hit]]
    rows, face = hit[face >= 0], face[face >= 0]
    if not rows.size:
        return (), ()
    both = split_heights(quad_m[face], xy[rows]) - scene.section.thickness_m
    apart = both - found.elevation_m[rows][:, None]
    apart = apart[np.arange(len(rows)), np.abs(apart).argmax(axis=1)]
    value = np.full(len(dz), np.nan)
    value[rows] = dz[rows] - apart
    comparison = Comparison(
        limit="vertical",
        label="split along its other diagonal, its face puts it",
        value=value,
        sigma=sigma_dz,
        applies=np.isfinite(value),
        hint=True,
    )
    most = scene.length(float(np.abs(apart).max()))
    remark = (
        f"{several(len(rows), 'shot')} on faces whose four corners are not in one plane: split "
        f"along the other diagonal the design would be up to {most} higher or lower there. "
        "The drawing does not say which is meant: what passes on the one that was taken and not on "
        "the other is undecided."
    )
    return (comparison,), (remark,)


def _outside(scene: _Scene, found: Heights, xy: FloatArray) -> TextArray:
    """Return why shots have no design elevation, or ""; shape (rows,)."""
    import shapely

    beside = np.flatnonzero(found.hits == 0)
    if not beside.size:
        return same_text("", len(xy))
    texts: TextArray = np.full(len(xy), "", dtype=object)
    whole = [loop for loop in scene.edges.loops if loop.kind != "seam"]
    loops = whole or scene.edges.loops  # a surface may be as narrow as a crack
    starts = np.concatenate([loop.xyz_m[:, :2] for loop in loops])
    ends = np.concatenate([np.roll(loop.xyz_m[:, :2], -1, axis=0) for loop in loops])
    sides = np.asarray(shapely.linestrings(np.stack((starts, ends), axis=1)))
    tree = shapely.STRtree(sides)
    (asked, _), away = tree.query_nearest(
        shapely.points(xy[beside]), return_distance=True, all_matches=False
    )
    distance = np.full(len(beside), np.nan)
    distance[asked] = away
    within = inside(xy[beside], [loop.xyz_m[:, :2] for loop in loops if loop.kind == "outer"])
    for row, gap, hole in zip(beside.tolist(), distance.tolist(), within.tolist(), strict=True):
        where = "in a hole of the surface" if hole else "outside the surface"
        texts[row] = f"{where}, {scene.length(gap)} from its edge"
    return texts


def _spread(dz: FloatArray) -> tuple[Item, ...]:
    """Return how the differences lie; None of nothing."""
    some = dz if dz.size else np.full(1, np.nan)
    spread = float(some.std(ddof=1)) if dz.size > 1 else np.nan
    return (
        item("mean_z", "Mean ΔZ", Quantity.LENGTH, float(some.mean())),
        item("sd_z", "Spread of ΔZ about its mean", Quantity.LENGTH, spread),
        item("rms_z", "RMS ΔZ", Quantity.LENGTH, float(np.sqrt(np.mean(some**2)))),
        item("lowest_z", "Lowest ΔZ", Quantity.LENGTH, float(some.min())),
        item("highest_z", "Highest ΔZ", Quantity.LENGTH, float(some.max())),
        item("max_abs_z", "Largest ΔZ, either way", Quantity.LENGTH, float(np.abs(some).max())),
    )


def _remarks(scene: _Scene) -> tuple[str, ...]:
    """Return what must be said of the design surface."""
    faces, edges = scene.faces, scene.edges
    texts = []
    if scene.section.thickness_m:
        texts.append(
            f"Compared with the drawn surface lowered by {scene.length(scene.section.thickness_m)}."
        )
    flat = faces.dropped_degenerate + sum(scene.triangles.dropped.values())
    if faces.dropped_vertical:
        texts.append(
            f"{several(faces.dropped_vertical, 'vertical face')} left out: upright, without an "
            "elevation of its own."
        )
    if flat:
        texts.append(
            f"{several(flat, 'face')} without an area in plan left out: no elevation lies on it."
        )
    holes = [loop for loop in edges.loops if loop.kind == "hole"]
    if holes:
        middle = scene.place(holes[0].xyz_m[:, :2].mean(axis=0))
        texts.append(
            f"The surface has {len(holes)} {'hole' if len(holes) == 1 else 'holes'}; the largest, "
            f"{scene.area(-holes[0].area_m2)}, is at {middle} of the drawing. Shots in one are "
            "unchecked."
        )
    parts = edges.count("outer")
    if parts > 1:
        texts.append(f"The surface lies in {parts} separate parts.")
    seams = edges.count("seam")
    if seams:
        texts.append(
            f"{seams} {'crack' if seams == 1 else 'cracks'} between triangles whose corners do not "
            "meet."
        )
    if edges.crowded_edges:
        texts.append(
            f"The surface lies over itself along {edges.crowded_edges} edges; shots where it has "
            "two elevations are undecided."
        )
    if scene.checks:
        texts.append(
            f"{several(scene.checks, 'check shot')} on control among the selected points left to "
            "the control check."
        )
    return tuple(texts)


# ---------------------------------------------------------------- the volume


def _volume(
    scene: _Scene, xy: FloatArray, taken: BoolArray
) -> tuple[tuple[Item, ...], tuple[str, ...]]:
    """Return cut, fill and their uncertainty with what must be said of them; nothing if not asked.

    taken: shape (rows,), the shots that make the as-measured surface.
    """
    if not scene.section.volume:
        return (), ()
    points, row = scene.shots.points, scene.row[taken]
    rings = scene.rings or None
    try:
        ground, corner = _triangulated(xy[taken], points.elevation_m[row])
    except GeometryError as fault:
        return _volume_items(None, np.nan, np.nan), (f"No volume: {fault}.",)
    found = volume_between(ground, scene.faces, rings)
    weights = corner_weights(ground, scene.faces, rings)
    level = sigma_level_of(scene.section, scene.job)
    sigma_z = sigmas_of(points, row, level, control=False, design=True).z
    common_z = 0.0 if points.budget is None else points.budget.control_z_m
    spread = []
    for part in weights:
        of_shot = np.zeros(len(row))
        np.add.at(of_shot, corner[ground.source].reshape(-1), part.reshape(-1))
        touched = of_shot != 0.0
        alone = np.sum((of_shot[touched] * sigma_z[touched]) ** 2)
        together = (common_z * of_shot.sum()) ** 2  # the control lifts all shots alike
        spread.append(float(np.sqrt(alone + together)))
    shots = len(np.unique(corner[ground.source]))
    remarks = _volume_remarks(scene, found, shots)
    if shots < len(row):
        remarks = (
            *remarks,
            f"{several(len(row) - shots, 'shot')} at places of others left out of it.",
        )
    return _volume_items(found, *spread), remarks


def _triangulated(xy: FloatArray, z: FloatArray) -> tuple[Faces, IntArray]:
    """Return the as-measured surface and its triangles' shots, (t, 3), counter-clockwise."""
    from scipy.spatial import Delaunay, QhullError

    if len(xy) < 3:
        raise GeometryError("fewer than three shots with an elevation")
    local = xy - xy.mean(axis=0)
    try:
        corner = np.asarray(Delaunay(local).simplices, dtype=np.int64)
    except QhullError:
        raise GeometryError("the shots lie in one line, or in one place") from None
    turned = plan_area(local[corner]) < 0.0
    corner[turned] = corner[turned][:, ::-1]
    return surface(np.concatenate((xy, z[:, None]), axis=1)[corner]), corner


def _volume_items(
    found: Volume | None, sigma_cut_m3: float, sigma_net_m3: float
) -> tuple[Item, ...]:
    """Return the numbers of a volume."""
    volume = Quantity.VOLUME
    none = np.nan
    return (
        item("cut_volume", "Cut to remove", volume, none if found is None else found.cut_m3),
        item("fill_volume", "Fill to place", volume, none if found is None else found.fill_m3),
        item("net_volume", "Cut less fill", volume, none if found is None else found.net_m3),
        item("sigma_cut_volume", "σ of the cut", volume, sigma_cut_m3),
        item("sigma_net_volume", "σ of cut less fill", volume, sigma_net_m3),
        item(
            "volume_area",
            "Area compared for the volume",
            Quantity.AREA,
            none if found is None else found.area_m2,
        ),
    )


def _volume_remarks(scene: _Scene, found: Volume, shots: int) -> tuple[str, ...]:
    """Return how the volume was made and what it leaves out."""
    import shapely
    from shapely.geometry.base import BaseGeometry

    within = " within the boundary" if scene.rings else ""
    made = (
        f"Volume: the as-measured surface is triangulated here (Delaunay) from {shots} shots; "
        "between shots the ground is taken as plane. Cut, fill and areas are where both surfaces "
        f"exist{within}: cut {scene.volume(found.cut_m3)}, fill {scene.volume(found.fill_m3)}."
    )
    common_m = 0.01 * scene.unit.metres
    size = small_text(common_m, scene.unit)
    uncertain = (
        "The σ of a volume comes from the σ of the shots' heights, taken as independent. A height "
        f"error common to all shots is not in it: {size} would change cut less "
        f"fill by {scene.volume(common_m * found.area_m2)}. Nor is what the ground does between "
        "the shots."
    )
    texts = [made, uncertain]
    if scene.rings:
        ringed: BaseGeometry = shapely.Polygon()
        for ring in scene.rings:  # rings in rings are holes
            ringed = ringed.symmetric_difference(shapely.Polygon(ring))
        whole = float(ringed.area)
        missing = whole - found.area_m2
        if missing > 1e-6 * whole:
            texts.append(
                f"The boundary encloses {scene.area(whole)}; {scene.area(missing)} of "
                "it have no shots around them or no design and are not in the volume."
            )
    return tuple(texts)
