"""As-measured minus known, for points compared one to one: the columns such checks share.

Signs: dN + north, dE + east, dZ + above; the bearing is the azimuth from known to as-measured.
"""

from dataclasses import dataclass

import numpy as np

from checker.checks.closing import column
from checker.geometry.plane import azimuth_rad
from checker.model.arrays import BoolArray, FloatArray, IntArray, TextArray
from checker.model.finding import Verdict
from checker.model.measure import Column, Comparison, Item, Quantity
from checker.model.points import Points, SigmaBudget
from checker.units import SigmaLevel


@dataclass(frozen=True, slots=True, kw_only=True)
class Sigmas:
    """Standard deviations in metres, shape (rows,); NaN where not shown.

    n, e: of northing and easting; h: radial, sqrt(n^2 + e^2); z: of the elevation.
    """

    n: FloatArray
    e: FloatArray
    h: FloatArray
    z: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Deltas:
    """Pairs of a known and an as-measured point; arrays of shape (rows,), metres and radians.

    What a row lacks is NaN.
    """

    known_n: FloatArray
    known_e: FloatArray
    known_z: FloatArray
    measured_n: FloatArray
    measured_e: FloatArray
    measured_z: FloatArray
    dn: FloatArray
    de: FloatArray
    dz: FloatArray
    horizontal: FloatArray
    bearing: FloatArray
    sigma: Sigmas


@dataclass(frozen=True, slots=True, kw_only=True)
class Lined:
    """What a row shows of a line; every array of shape (rows,), metres, radians, NaN without.

    along, across: the shot from its design. station, offset: of the shot. azimuth: at the design.
    """

    along: FloatArray
    across: FloatArray
    station: FloatArray
    offset: FloatArray
    azimuth: FloatArray


def picked(values: FloatArray, index: IntArray) -> FloatArray:
    """Return the values at the indices, NaN where the index is -1."""
    if not len(values):
        return np.full(index.shape, np.nan)
    return np.where(index >= 0, values[index], np.nan)


def picked_text(values: TextArray, index: IntArray) -> TextArray:
    """Return the texts at the indices, "" where the index is -1."""
    result: TextArray = np.full(index.shape, "", dtype=object)
    there = index >= 0
    result[there] = values[index[there]]
    return result


def sigmas_of(
    points: Points, index: IntArray, level: SigmaLevel | None, *, control: bool = True
) -> Sigmas:
    """Return the standard deviations of points; index: shape (rows,), -1 for none.

    Where a point shows only a radial sigma both axes take it over the root of two. level: what the
    stored sigmas are multiples of; None: they are single. What the points' budget adds is in them;
    control: False for differences between points that rest on one control.
    """
    quality = points.quality
    axis, radial = (1.0, 1.0) if level is None else (level.axis, level.radial)

    def stored(values: FloatArray | None, factor: float) -> FloatArray:
        if values is None:
            return np.full(index.shape, np.nan)
        return picked(values, index) / factor

    n, e = stored(quality.sigma_n_m, axis), stored(quality.sigma_e_m, axis)
    h = stored(quality.sigma_h_m, radial)
    both = ~np.isnan(n) & ~np.isnan(e)
    each = h / np.sqrt(2.0)
    shown = Sigmas(
        n=np.where(both, n, each),
        e=np.where(both, e, each),
        h=np.where(both, np.hypot(n, e), h),
        z=stored(quality.sigma_z_m, axis),
    )
    if points.budget is None:
        return shown
    pole = np.full(index.shape, np.nan) if quality.pole_m is None else picked(quality.pole_m, index)
    return _budgeted(shown, points.budget, pole, control=control)


def _budgeted(shown: Sigmas, budget: SigmaBudget, pole_m: FloatArray, *, control: bool) -> Sigmas:
    """Return what the receiver stored with what it leaves out; what is not shown stays so.

    Per axis sqrt(max(factor s, floor)^2 + bubble^2 + control^2), independent contributions (law of
    propagation of uncertainty, JCGM 100, from memory); radial ones give each axis 1/sqrt(2).
    """
    tilt = np.where(np.isnan(pole_m), budget.pole_m, pole_m) * np.tan(budget.bubble_rad)
    known_h, known_z = (budget.control_h_m, budget.control_z_m) if control else (0.0, 0.0)

    def axis(values: FloatArray) -> FloatArray:
        believed = np.maximum(budget.factor * values, budget.floor_h_m / np.sqrt(2.0))
        return np.asarray(np.sqrt(believed**2 + 0.5 * (tilt**2 + known_h**2)))

    n, e = axis(shown.n), axis(shown.e)
    z = np.hypot(np.maximum(budget.factor * shown.z, budget.floor_z_m), known_z)
    return Sigmas(n=n, e=e, h=np.hypot(n, e), z=z)


def deltas(
    known: Points, known_index: IntArray, measured: Points, index: IntArray, sigma: Sigmas
) -> Deltas:
    """Return as-measured minus known for pairs of indices; -1 stands for a missing point."""
    known_n = picked(known.northing_m, known_index)
    known_e = picked(known.easting_m, known_index)
    known_z = picked(known.elevation_m, known_index)
    measured_n = picked(measured.northing_m, index)
    measured_e = picked(measured.easting_m, index)
    measured_z = picked(measured.elevation_m, index)
    dn, de = measured_n - known_n, measured_e - known_e
    return Deltas(
        known_n=known_n,
        known_e=known_e,
        known_z=known_z,
        measured_n=measured_n,
        measured_e=measured_e,
        measured_z=measured_z,
        dn=dn,
        de=de,
        dz=measured_z - known_z,
        horizontal=np.hypot(dn, de),
        bearing=azimuth_rad(dn, de),
        sigma=sigma,
    )


def point_columns(
    found: Deltas,
    measured_id: TextArray,
    superseded: BoolArray,
    row_id: TextArray,
    known: str = "Design",
    lined: Lined | None = None,
) -> tuple[Column, ...]:
    """Return the columns of a table of points; what only a few readers need is detail.

    known: how the known points are called at the head of their columns. lined: how the rows lie to
    a line, where there is one.
    """
    rows = len(row_id)
    nothing = np.full(rows, np.nan)
    bare = lined is None
    line = lined or Lined(
        along=nothing, across=nothing, station=nothing, offset=nothing, azimuth=nothing
    )
    same = bool(np.all((measured_id == row_id) | (measured_id == "")))
    place, length = Quantity.COORDINATE, Quantity.LENGTH
    return (
        column("measured_id", "As-measured", Quantity.TEXT, measured_id, detail=same),
        column("design_n", f"{known} N", place, found.known_n, detail=True),
        column("design_e", f"{known} E", place, found.known_e, detail=True),
        column("design_z", f"{known} Z", place, found.known_z, detail=True),
        column("measured_n", "As-measured N", place, found.measured_n, detail=True),
        column("measured_e", "As-measured E", place, found.measured_e, detail=True),
        column("measured_z", "As-measured Z", place, found.measured_z, detail=True),
        column("dn", "ΔN", length, found.dn),
        column("de", "ΔE", length, found.de),
        column("dz", "ΔZ", length, found.dz),
        column("horizontal", "Horizontal", length, found.horizontal),
        column("bearing", "Bearing", Quantity.ANGLE, found.bearing, detail=True),
        column("along", "Along", length, line.along, detail=bare),
        column("across", "Across", length, line.across, detail=bare),
        column("cut_fill", "Cut/fill", Quantity.CUT_FILL, found.dz),
        column("station", "Station", Quantity.STATION, line.station, detail=bare),
        column("offset", "Offset", length, line.offset, detail=bare),
        column("sigma_h", "σ horizontal", length, found.sigma.h),
        column("sigma_z", "σ vertical", length, found.sigma.z),
        Column(
            key="superseded",
            label="Superseded",
            quantity=Quantity.FLAG,
            values=superseded,
            detail=not superseded.any(),
        ),
    )


def point_comparisons(found: Deltas, known_noun: str) -> tuple[Comparison, Comparison]:
    """Return the plan and the height comparison of pairs.

    A known point without an elevation leaves its height unchecked, a shot without one undecided.
    """
    rows = len(found.dn)
    paired = ~np.isnan(found.horizontal)
    absent: TextArray = np.full(rows, "", dtype=object)
    verdict = np.full(rows, Verdict.UNCHECKED, dtype=np.int8)
    flat = paired & np.isnan(found.measured_z)
    absent[flat] = "no elevation was measured"
    verdict[flat] = Verdict.UNDECIDED
    unknown = paired & np.isnan(found.known_z)
    absent[unknown] = f"{known_noun} gives no elevation"
    verdict[unknown] = Verdict.UNCHECKED
    horizontal = Comparison(
        limit="horizontal",
        label="horizontal",
        value=found.horizontal,
        sigma=found.sigma.h,
        vector=np.column_stack((found.dn, found.de)),
        vector_sigma=np.column_stack((found.sigma.n, found.sigma.e)),
    )
    vertical = Comparison(
        limit="vertical",
        label="vertical",
        value=found.dz,
        sigma=found.sigma.z,
        absent=absent,
        absent_verdict=verdict,
    )
    return horizontal, vertical


def spread_items(found: Deltas, chosen: BoolArray) -> tuple[Item, ...]:
    """Return means, root mean squares and largest of the chosen rows; None where there is none."""
    return spread(found.dn[chosen], found.de[chosen], found.dz[chosen])


def spread(dn: FloatArray, de: FloatArray, dz: FloatArray) -> tuple[Item, ...]:
    """Return means, root mean squares and largest of differences; None where there is none."""
    dn, de = dn[~np.isnan(dn)], de[~np.isnan(de)]
    dz = dz[~np.isnan(dz)]
    plan = np.hypot(dn, de)

    def number(key: str, label: str, values: FloatArray, value: float) -> Item:
        return Item(
            key=key,
            label=label,
            quantity=Quantity.LENGTH,
            value=float(value) if values.size else None,
        )

    return (
        number("mean_n", "Mean ΔN", dn, dn.sum() / max(dn.size, 1)),
        number("mean_e", "Mean ΔE", de, de.sum() / max(de.size, 1)),
        number("mean_z", "Mean ΔZ", dz, dz.sum() / max(dz.size, 1)),
        number("rms_horizontal", "RMS horizontal", plan, _rms(plan)),
        number("rms_z", "RMS ΔZ", dz, _rms(dz)),
        number("max_horizontal", "Largest horizontal", plan, plan.max(initial=0.0)),
        number("max_abs_z", "Largest ΔZ, either way", dz, np.abs(dz).max(initial=0.0)),
    )


def _rms(values: FloatArray) -> float:
    """Return the root mean square about zero, 0 of nothing."""
    return float(np.sqrt(np.square(values).sum() / max(values.size, 1)))


def counts_item(key: str, label: str, value: int) -> Item:
    """Return a count of the summary."""
    return Item(key=key, label=label, quantity=Quantity.COUNT, value=value)
