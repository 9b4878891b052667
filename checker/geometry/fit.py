"""Least-squares fits: similarity and rigid moves, heights, planes, circles, and a 3-D move.

Every fit gives residuals (fitted minus target), its redundancy, and what it would have left at each
point had that point not been used (leave-one-out): small residuals hide a bust, leaving out shows
it. Observations have equal weight. Standard deviations are a posteriori: sqrt(v'v / redundancy),
NaN without redundancy.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checker.geometry.arrays import FloatArray, GeometryError, positions


class FitError(GeometryError):
    """Points that do not determine what is to be fitted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaneMove:
    """A move in the plane: to = centre_to + scale * turned(from - centre_from).

    rotation_rad: clockwise on the map, so that azimuths grow by it. centre_from_m, centre_to_m: the
    centroids, (easting, northing). residual_m, left_out_m: shape (n, 2), (easting, northing), of
    the fitted minus the target; left_out_m is NaN where the rest cannot fix the move.
    redundancy: 2 n less the parameters. sigma_m: standard deviation of one coordinate.
    sigma_scale, sigma_rotation_rad: of the parameters (NaN where one was not fitted).
    """

    scale: float
    rotation_rad: float
    centre_from_m: FloatArray
    centre_to_m: FloatArray
    residual_m: FloatArray
    left_out_m: FloatArray
    redundancy: int
    sigma_m: float
    sigma_scale: float
    sigma_rotation_rad: float
    spread_m2: float

    def apply(self, xy_m: npt.ArrayLike) -> FloatArray:
        """Return moved positions, shape (n, 2)."""
        away = _complex(positions(xy_m) - self.centre_from_m)
        return _pairs(away * self._factor) + self.centre_to_m

    def sigma_at(self, xy_m: npt.ArrayLike) -> FloatArray:
        """Return the standard deviation that the fit gives a moved point, shape (n, 2).

        First along the line from the centroid (scale), then square to it (rotation): it grows with
        the distance from the fitted points, which is what makes extrapolation dangerous.
        """
        away = np.abs(_complex(positions(xy_m) - self.centre_from_m))
        count = len(self.residual_m)
        base = self.sigma_m**2 / count
        along = base + (0.0 if np.isnan(self.sigma_scale) else (self.sigma_scale * away) ** 2)
        turn = self.sigma_rotation_rad * self.scale * away
        across = base + np.where(np.isnan(turn), 0.0, turn) ** 2
        return np.asarray(np.sqrt(np.column_stack((np.broadcast_to(along, across.shape), across))))

    @property
    def _factor(self) -> complex:
        """The move as a complex factor on easting + i northing; clockwise is negative there."""
        return complex(self.scale * np.exp(-1j * self.rotation_rad))


def _complex(xy: FloatArray) -> npt.NDArray[np.complex128]:
    """Return easting + i northing."""
    return np.asarray(xy[:, 0] + 1j * xy[:, 1])


def _pairs(values: npt.NDArray[np.complex128]) -> FloatArray:
    """Return (easting, northing) rows."""
    return np.column_stack((values.real, values.imag))


def fit_similarity(from_m: npt.ArrayLike, to_m: npt.ArrayLike) -> PlaneMove:
    """Return the similarity (scale, rotation, shift: 4 parameters) that takes points to targets.

    from_m, to_m: shape (n, 2), (easting, northing), two points or more. Closed form in complex
    numbers: factor = sum conj(z) w / sum |z|^2 about the centroids. Source: the least-squares
    solution of w = a z + b (common practice, no source).
    """
    return _fit_move(from_m, to_m, scaled=True, turned=True)


def fit_rigid(from_m: npt.ArrayLike, to_m: npt.ArrayLike) -> PlaneMove:
    """Return the rotation and shift (3 parameters) that take points to targets; scale is 1."""
    return _fit_move(from_m, to_m, scaled=False, turned=True)


def fit_shift(from_m: npt.ArrayLike, to_m: npt.ArrayLike) -> PlaneMove:
    """Return the shift (2 parameters) that takes points to targets; one point is enough."""
    return _fit_move(from_m, to_m, scaled=False, turned=False)


def _fit_move(
    from_m: npt.ArrayLike, to_m: npt.ArrayLike, *, scaled: bool, turned: bool
) -> PlaneMove:
    """Return the least-squares move of these freedoms."""
    xy, target = positions(from_m), positions(to_m)
    if xy.shape != target.shape:
        raise ValueError(f"{len(xy)} points but {len(target)} targets")
    if not (np.isfinite(xy).all() and np.isfinite(target).all()):
        raise FitError("a point of the fit lacks a coordinate")
    count = len(xy)
    if count < (2 if turned else 1):
        raise FitError(f"{count} common points do not fix the move", "add common points")
    centre_from, centre_to = xy.mean(axis=0), target.mean(axis=0)
    z, w = _complex(xy - centre_from), _complex(target - centre_to)
    spread = float(np.sum(np.abs(z) ** 2))
    if turned and spread <= 1e-12 * count:
        raise FitError("the common points are all in one place", "add points around the site")
    product = complex(np.sum(np.conj(z) * w))
    factor = complex(
        _factors(np.array([product]), np.array([spread]), scaled=scaled, turned=turned)[0]
    )
    residual = factor * z - w

    # Without point i the sums about the centroid lose n / (n - 1) of its own product.
    left_out = np.full(count, complex(np.nan, np.nan))
    if count > (2 if turned else 1):
        share = count / (count - 1.0)
        rest = spread - share * np.abs(z) ** 2
        usable = (rest > 1e-12 * spread) if turned else np.ones(count, dtype=np.bool_)
        rest_product = product - share * np.conj(z) * w
        factors = _factors(rest_product[usable], rest[usable], scaled=scaled, turned=turned)
        # From the centroids of the others the point is n / (n - 1) as far away.
        left_out[usable] = share * (factors * z[usable] - w[usable])

    redundancy = 2 * count - (2 + int(turned) + int(scaled))
    sigma = np.nan
    if redundancy > 0:
        sigma = float(np.sqrt(np.sum(np.abs(residual) ** 2) / redundancy))
    scale = abs(factor)
    return PlaneMove(
        scale=scale,
        rotation_rad=float(-np.angle(factor)),
        centre_from_m=centre_from,
        centre_to_m=centre_to,
        residual_m=_pairs(residual),
        left_out_m=_pairs(left_out),
        redundancy=redundancy,
        sigma_m=sigma,
        sigma_scale=sigma / np.sqrt(spread) if scaled else np.nan,
        sigma_rotation_rad=sigma / (scale * np.sqrt(spread)) if turned else np.nan,
        spread_m2=spread,
    )


def _factors(
    product: npt.NDArray[np.complex128], spread: FloatArray, *, scaled: bool, turned: bool
) -> npt.NDArray[np.complex128]:
    """Return complex factors from the sums conj(z) w and |z|^2."""
    if not turned:
        return np.ones_like(product)
    if scaled:
        return np.asarray(product / spread)
    return np.asarray(np.exp(1j * np.angle(product)))


@dataclass(frozen=True, slots=True, kw_only=True)
class LinearFit:
    """A linear fit: parameters (p,), their covariance (p, p), residuals (n,), fitted - observed.

    left_out: fitted without the point minus observed, (n,), NaN where the rest cannot fix it.
    redundancy_number: shape (n,), 0 where a point is not checked by the others, sum = redundancy.
    """

    parameter: FloatArray
    covariance: FloatArray
    residual: FloatArray
    left_out: FloatArray
    redundancy_number: FloatArray
    redundancy: int
    sigma: float


def fit_linear(design: FloatArray, observed: FloatArray) -> LinearFit:
    """Return the least-squares fit observed = design @ parameter; design: shape (n, p).

    Leaving a point out divides its residual by its redundancy number, 1 - h, with h from the hat
    matrix. FitError where the points do not fix the parameters.
    """
    count, size = design.shape
    norm = np.sqrt(np.sum(design * design, axis=0))
    if count < size or np.any(norm == 0.0):
        raise FitError(f"{count} points do not fix {size} parameters", "add points")
    left, singular, right = np.linalg.svd(design / norm, full_matrices=False)
    if singular[-1] < 1e-9 * singular[0]:
        raise FitError("the points lie in a line, or in one place", "add points beside them")
    parameter = (right.T @ ((left.T @ observed) / singular)) / norm
    residual = design @ parameter - observed
    number = 1.0 - np.sum(left * left, axis=1)
    redundancy = count - size
    sigma = float(np.sqrt(residual @ residual / redundancy)) if redundancy > 0 else np.nan
    cofactor = (right.T / singular**2) @ right / np.outer(norm, norm)
    checked = number > 1e-9
    left_out = np.full(count, np.nan)
    left_out[checked] = residual[checked] / number[checked]
    return LinearFit(
        parameter=parameter,
        covariance=sigma * sigma * cofactor,
        residual=residual,
        left_out=left_out,
        redundancy_number=np.where(checked, number, 0.0),
        redundancy=redundancy,
        sigma=sigma,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class HeightFit:
    """A plane of heights: z = z0 + rise_e (e - e0) + rise_n (n - n0), about the centroid.

    level_m: z0. rise_east, rise_north: metres per metre; 0 where only a shift was fitted.
    fit: the numbers behind it, residuals in metres.
    """

    centre_m: FloatArray
    level_m: float
    rise_east: float
    rise_north: float
    fit: LinearFit

    @property
    def slope(self) -> float:
        """Steepest rise per metre."""
        return float(np.hypot(self.rise_east, self.rise_north))

    @property
    def aspect_rad(self) -> float:
        """Azimuth in which it falls, radians in [0, 2 pi); NaN where level."""
        if self.slope == 0.0:
            return float("nan")
        return float(np.mod(np.arctan2(-self.rise_east, -self.rise_north), 2.0 * np.pi))

    def at(self, xy_m: npt.ArrayLike) -> FloatArray:
        """Return heights at positions, shape (n,)."""
        away = positions(xy_m) - self.centre_m
        return np.asarray(self.level_m + away @ np.array([self.rise_east, self.rise_north]))

    def sigma_at(self, xy_m: npt.ArrayLike) -> FloatArray:
        """Return the standard deviations that the fit gives to heights at positions, shape (n,)."""
        away = positions(xy_m) - self.centre_m
        design = np.column_stack((np.ones(len(away)), away))[:, : len(self.fit.parameter)]
        return np.asarray(np.sqrt(np.einsum("np,pq,nq->n", design, self.fit.covariance, design)))

    def fall(self, azimuth_rad: float) -> tuple[float, float]:
        """Return the rise along an azimuth and the rise to the right of it, metres per metre."""
        sine, cosine = np.sin(azimuth_rad), np.cos(azimuth_rad)
        along = self.rise_east * sine + self.rise_north * cosine
        return float(along), float(self.rise_east * cosine - self.rise_north * sine)


def fit_plane(xy_m: npt.ArrayLike, z_m: npt.ArrayLike) -> HeightFit:
    """Return the plane through heights, by least squares of vertical residuals; three or more."""
    return _fit_height(xy_m, z_m, inclined=True)


def fit_level(xy_m: npt.ArrayLike, z_m: npt.ArrayLike) -> HeightFit:
    """Return the mean of heights: a shift without tilt."""
    return _fit_height(xy_m, z_m, inclined=False)


def _fit_height(xy_m: npt.ArrayLike, z_m: npt.ArrayLike, *, inclined: bool) -> HeightFit:
    """Return a plane or a level through heights."""
    xy, z = positions(xy_m), np.asarray(z_m, dtype=np.float64)
    if z.shape != (len(xy),):
        raise ValueError(f"{len(xy)} positions but heights of shape {z.shape}")
    if not (np.isfinite(xy).all() and np.isfinite(z).all()):
        raise FitError("a point of the fit lacks a coordinate or an elevation")
    if not len(xy):
        raise FitError("no point to fit heights to")
    centre, mean = xy.mean(axis=0), float(z.mean())
    design = np.column_stack((np.ones(len(xy)), xy - centre))
    fit = fit_linear(design if inclined else design[:, :1], z - mean)
    rises = fit.parameter[1:] if inclined else np.zeros(2)
    return HeightFit(
        centre_m=centre,
        level_m=mean + float(fit.parameter[0]),
        rise_east=float(rises[0]),
        rise_north=float(rises[1]),
        fit=fit,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class CircleFit:
    """A circle by least squares of the distances to it.

    centre_m: (easting, northing). residual_m: shape (n,), distance from the centre less the radius:
    + outside. covariance: of easting, northing, radius (3, 3). turn_rad: the part of the circle
    between the outermost points; a short one fixes the radius badly, as sigma_radius_m shows.
    """

    centre_m: FloatArray
    radius_m: float
    residual_m: FloatArray
    covariance: FloatArray
    sigma_m: float
    redundancy: int
    turn_rad: float

    @property
    def sigma_radius_m(self) -> float:
        """Standard deviation of the radius; NaN for three points."""
        return float(np.sqrt(self.covariance[2, 2]))


def fit_circle(xy_m: npt.ArrayLike) -> CircleFit:
    """Return the circle that fits points best; three points give the circle through them.

    xy_m: shape (n, 2). Starts from the algebraic circle x^2 + y^2 = 2 a x + 2 b y + c and improves
    it (Gauss and Newton's method, common practice). FitError for points in a line.
    """
    xy = positions(xy_m)
    if not np.isfinite(xy).all():
        raise FitError("a point of the fit lacks a coordinate")
    if len(xy) < 3:
        raise FitError(f"{len(xy)} points do not fix a circle", "add a point on the arc")
    middle = xy.mean(axis=0)
    size = float(np.sqrt(np.mean(np.sum((xy - middle) ** 2, axis=1))))
    if size == 0.0:
        raise FitError("the points of the circle are all in one place")
    local = (xy - middle) / size
    design = np.column_stack((2.0 * local, np.ones(len(xy))))
    start = fit_linear(design, np.sum(local * local, axis=1)).parameter
    centre = start[:2].copy()
    radius = float(np.sqrt(start[2] + centre @ centre))
    for _ in range(100):
        away = local - centre
        distance = np.hypot(away[:, 0], away[:, 1])
        rows = np.column_stack((-away / distance[:, None], -np.ones(len(xy))))
        step = fit_linear(rows, -(distance - radius)).parameter
        centre += step[:2]
        radius += float(step[2])
        if np.max(np.abs(step)) <= 1e-13 * (1.0 + radius):
            break
    else:
        raise FitError(
            "the circle does not settle: the points are too straight or too scattered",
            "add points farther round the arc",
        )
    away = local - centre
    distance = np.hypot(away[:, 0], away[:, 1])
    rows = np.column_stack((-away / distance[:, None], -np.ones(len(xy))))
    cofactor = np.linalg.inv(rows.T @ rows)
    residual = (distance - radius) * size
    redundancy = len(xy) - 3
    sigma = float(np.sqrt(residual @ residual / redundancy)) if redundancy else np.nan
    bearing = np.sort(np.arctan2(away[:, 1], away[:, 0]))
    gaps = np.diff(bearing, append=bearing[0] + 2.0 * np.pi)
    return CircleFit(
        centre_m=middle + centre * size,
        radius_m=radius * size,
        residual_m=residual,
        covariance=sigma * sigma * cofactor,
        sigma_m=sigma,
        redundancy=redundancy,
        turn_rad=float(2.0 * np.pi - gaps.max()),
    )
