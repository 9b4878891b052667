"""As-measured minus known, for points compared one to one: the columns such checks share.

Signs: dN + north, dE + east, dZ + above; the bearing is the azimuth from known to as-measured.
"""

from dataclasses import dataclass, replace

import numpy as np

from checker.checks.closing import column
from checker.geometry.plane import azimuth_rad
from checker.model.arrays import (
    BoolArray,
    CodeArray,
    FloatArray,
    IntArray,
    TextArray,
    is_same,
    same_number,
    taken,
)
from checker.model.finding import Verdict
from checker.model.measure import Column, Comparison, Item, Quantity
from checker.model.points import Points, SigmaBudget
from checker.units import SigmaLevel


@dataclass(frozen=True, slots=True, kw_only=True)
class Sigmas:
    """Standard deviations in metres, shape (rows,); NaN where not shown.

    n, e: of northing and easting; h: radial, sqrt(n^2 + e^2); z: of the elevation. correlation: of
    northing and easting, 0 where not shown; None: of none.
    """

    n: FloatArray
    e: FloatArray
    h: FloatArray
    z: FloatArray
    correlation: FloatArray | None = None

    def along(self, azimuth_rad: FloatArray) -> FloatArray:
        """Return the standard deviation in the direction of an azimuth; shape (rows,)."""
        north, east = self.n * np.cos(azimuth_rad), self.e * np.sin(azimuth_rad)
        square = north**2 + east**2
        if self.correlation is not None:
            square = square + 2.0 * self.correlation * north * east
        return np.asarray(np.sqrt(np.maximum(square, 0.0)))

    def between(self, azimuth_rad: FloatArray) -> FloatArray:
        """Return the correlation of the errors along an azimuth and to its right; shape (rows,).

        The covariance of two directions u, v is u' C v; 0 where there is no error in one of them.
        """
        cosine, sine = np.cos(azimuth_rad), np.sin(azimuth_rad)
        covariance = sine * cosine * (self.e**2 - self.n**2)
        if self.correlation is not None:
            covariance = covariance + self.correlation * self.n * self.e * (cosine**2 - sine**2)
        size = self.along(azimuth_rad) * self.along(azimuth_rad + 0.5 * np.pi)
        there = size > 0.0
        of_size = np.where(there, covariance / np.where(there, size, 1.0), 0.0)
        return np.asarray(np.clip(np.where(np.isnan(size), np.nan, of_size), -1.0, 1.0))

    def against_slope(
        self, azimuth_rad: FloatArray, along: FloatArray, across: FloatArray | None = None
    ) -> FloatArray:
        """Return the sigma of a height against a design that slopes where the shot stands; (rows,).

        along, across: rise per metre along the azimuth and to its right, NaN for level.
        """
        ahead = np.nan_to_num(along)
        aside = np.zeros_like(ahead) if across is None else np.nan_to_num(across)
        cosine, sine = np.cos(azimuth_rad), np.sin(azimuth_rad)
        return self.against_gradient(ahead * cosine - aside * sine, ahead * sine + aside * cosine)

    def against_gradient(self, rise_n: FloatArray, rise_e: FloatArray) -> FloatArray:
        """Return the sigma of a height against a design that rises so per metre north and east.

        The design's elevation is that at the shot's own place, so an error of the place counts by
        the slope: sqrt(z^2 + g' C g). NaN where there is no design. Where no sigma of the place is
        shown only the height's counts.
        """
        if is_same(self.z) and np.isnan(self.z[0]):
            return self.z
        north, east = rise_n * np.nan_to_num(self.n), rise_e * np.nan_to_num(self.e)
        square = self.z**2 + east**2 + north**2
        if self.correlation is not None:
            square = square + 2.0 * self.correlation * north * east
        return np.asarray(np.sqrt(np.maximum(square, 0.0)))

    def joined(self, other: "Sigmas") -> "Sigmas":
        """Return those of differences between these points and others, independent of them."""
        n, e = np.hypot(self.n, other.n), np.hypot(self.e, other.e)
        correlation = None
        if self.correlation is not None or other.correlation is not None:
            of = [
                np.zeros(len(n)) if each.correlation is None else each.correlation * each.n * each.e
                for each in (self, other)
            ]
            size = n * e
            correlation = np.where(size > 0.0, (of[0] + of[1]) / np.where(size > 0.0, size, 1.0), 0)
        h, z = np.hypot(self.h, other.h), np.hypot(self.z, other.z)
        return Sigmas(n=n, e=e, h=h, z=z, correlation=correlation)


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
        return same_number(np.nan, len(index))
    there = index >= 0
    return taken(values, index) if there.all() else np.where(there, values[index], np.nan)


def picked_text(values: TextArray, index: IntArray) -> TextArray:
    """Return the texts at the indices, "" where the index is -1."""
    result: TextArray = np.full(index.shape, "", dtype=object)
    there = index >= 0
    result[there] = values[index[there]]
    return result


def sigmas_of(
    points: Points,
    index: IntArray,
    level: SigmaLevel | None,
    *,
    control: bool = True,
    design: bool | None = None,
) -> Sigmas:
    """Return the standard deviations of points; index: shape (rows,), -1 for none.

    Where a point shows only a radial sigma both axes take it over the root of two. level: what the
    stored sigmas are multiples of; None: they are single. What the points' budget adds is in them;
    control: False for differences between points that rest on one control. design: whether they
    are compared with the design, whose own rounding then counts; None: as control.
    """
    quality = points.quality
    shows = (quality.sigma_n_m, quality.sigma_e_m, quality.sigma_h_m, quality.sigma_z_m)
    if points.budget is None and all(values is None for values in shows):
        none = same_number(np.nan, len(index))
        return Sigmas(n=none, e=none, h=none, z=none)
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
        correlation=_correlation(quality.correlation_ne, index, both),
    )
    if points.budget is None:
        return shown
    if points.budget.turn_rad:
        shown = _turned(shown, points.budget.turn_rad)
    pole = np.full(index.shape, np.nan) if quality.pole_m is None else picked(quality.pole_m, index)
    budget = points.budget
    if not (control if design is None else design):
        budget = replace(budget, design_m=0.0)
    return _budgeted(shown, budget, pole, index, control=control)


def _correlation(values: FloatArray | None, index: IntArray, both: BoolArray) -> FloatArray | None:
    """Return the correlations of points that show both axes, 0 where one is silent."""
    if values is None:
        return None
    shown = picked(values, index)
    known: FloatArray = np.where(both & np.isfinite(shown), shown, 0.0)
    return known


def _turned(shown: Sigmas, turn_rad: float) -> Sigmas:
    """Return standard deviations on axes from which the points were turned clockwise."""
    cosine, sine = np.cos(turn_rad), np.sin(turn_rad)
    n2, e2 = shown.n**2, shown.e**2
    between = 0.0 if shown.correlation is None else shown.correlation * shown.n * shown.e
    twice = 2.0 * sine * cosine * between
    n = np.sqrt(np.maximum(cosine**2 * n2 + sine**2 * e2 - twice, 0.0))
    e = np.sqrt(np.maximum(sine**2 * n2 + cosine**2 * e2 + twice, 0.0))
    covariance = sine * cosine * (n2 - e2) + (cosine**2 - sine**2) * between
    size = n * e
    known = size > 0.0
    correlation = np.clip(np.where(known, covariance / np.where(known, size, 1.0), 0.0), -1.0, 1.0)
    return Sigmas(n=n, e=e, h=shown.h, z=shown.z, correlation=correlation)


def _budgeted(
    shown: Sigmas, budget: SigmaBudget, pole_m: FloatArray, index: IntArray, *, control: bool
) -> Sigmas:
    """Return what the receiver stored with what it leaves out; what is not shown stays so.

    Per axis sqrt(max(factor s, floor)^2 + bubble^2 + control^2 + fit^2 + design^2), independent
    contributions (law of propagation of uncertainty, JCGM 100, from memory); radial ones give each
    axis 1/sqrt(2), and only what the receiver stored is correlated.
    """
    tilt = np.where(np.isnan(pole_m), budget.pole_m, pole_m) * np.tan(budget.bubble_rad)
    known_h, known_z = (budget.control_h_m, budget.control_z_m) if control else (0.0, 0.0)

    fit_h, fit_z = (
        np.zeros(index.shape) if values is None or not control else picked(values, index)
        for values in (budget.fit_h_m, budget.fit_z_m)
    )

    def believed(values: FloatArray) -> FloatArray:
        least = budget.floor_h_m / np.sqrt(2.0)
        return np.asarray(np.maximum(budget.factor * values, least))

    round_ = 0.5 * (tilt**2 + known_h**2 + fit_h**2) + budget.design_m**2
    own_n, own_e = believed(shown.n), believed(shown.e)
    n, e = np.sqrt(own_n**2 + round_), np.sqrt(own_e**2 + round_)
    z = np.maximum(budget.factor * shown.z, budget.floor_z_m)
    correlation = shown.correlation
    if correlation is not None:
        size = n * e
        correlation = np.where(
            size > 0.0, correlation * own_n * own_e / np.where(size > 0.0, size, 1.0), 0.0
        )
    return Sigmas(
        n=n,
        e=e,
        h=np.hypot(n, e),
        z=np.sqrt(z**2 + known_z**2 + fit_z**2 + budget.design_m**2),
        correlation=correlation,
    )


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
    paired = ~np.isnan(found.horizontal)
    absent, verdict = missing_heights(
        paired & np.isnan(found.measured_z),
        paired & np.isnan(found.known_z),
        f"{known_noun} gives no elevation",
    )
    horizontal = Comparison(
        limit="horizontal",
        label="horizontal",
        value=found.horizontal,
        sigma=found.sigma.h,
        vector=np.column_stack((found.dn, found.de)),
        vector_sigma=np.column_stack((found.sigma.n, found.sigma.e)),
        vector_correlation=found.sigma.correlation,
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


def missing_heights(
    flat: BoolArray, unknown: BoolArray, why: str, why_flat: str = "no elevation was measured"
) -> tuple[TextArray, CodeArray]:
    """Return why rows have no height to compare, or "", and what is then their verdict; (rows,).

    flat: which shots have no elevation: undecided. unknown: where nothing is known to compare it
    with, and why: unchecked, whatever was measured.
    """
    absent: TextArray = np.full(len(flat), "", dtype=object)
    verdict = np.full(len(flat), Verdict.UNCHECKED, dtype=np.int8)
    absent[flat], verdict[flat] = why_flat, Verdict.UNDECIDED
    absent[unknown], verdict[unknown] = why, Verdict.UNCHECKED
    return absent, verdict


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
