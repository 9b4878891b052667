"""Lines, circular arcs and clothoid spirals as one thing: a curvature that grows linearly.

An element starts at a point with an azimuth and runs for a length while its curvature goes from
`curvature_in` to `curvature_out` (1/m, positive turns right): both zero is a line, both alike an
arc, else a spiral. Within an element t is the distance from its start, metres.

The azimuth at t is azimuth + k t + k' t^2 / 2, and the position is the integral of its sine and
cosine; for k' = 0 that is a chord t sin(kt/2) / (kt/2) in the mean direction. Formula: the clothoid
by definition, A^2 = R L (common practice, no source); checked against quadrature and the Fresnel
integrals of scipy.
"""

from dataclasses import dataclass

import numpy as np

from checker.geometry.arrays import BoolArray, FloatArray, IntArray

# Gauss-Legendre nodes on (0, 1): exact to 1e-15 of the length where the direction turns by less
# than MOST_SPIRAL_TURN_RAD, which is more than any spiral that is ever built.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(24)
_NODES, _WEIGHTS = (_NODES + 1.0) / 2.0, _WEIGHTS / 2.0
MOST_SPIRAL_TURN_RAD = 4.0 * np.pi


@dataclass(frozen=True, slots=True, kw_only=True)
class Elements:
    """Elements as columns; xy_m has shape (elements, 2), the others (elements,).

    xy_m: easting and northing of the start. Lengths are positive. Curvatures 1/m, + right.
    """

    xy_m: FloatArray
    azimuth_rad: FloatArray
    length_m: FloatArray
    curvature_in: FloatArray
    curvature_out: FloatArray

    def __len__(self) -> int:
        """Return the number of elements."""
        return len(self.length_m)

    @property
    def is_spiral(self) -> BoolArray:
        """True where the curvature changes along the element."""
        return np.asarray(self.curvature_in != self.curvature_out)

    @property
    def turn_rad(self) -> FloatArray:
        """By how much the azimuth grows along each element; right positive."""
        return np.asarray((self.curvature_in + self.curvature_out) / 2.0 * self.length_m)


def curvature(elements: Elements, index: IntArray, t_m: FloatArray) -> FloatArray:
    """Return the curvature at t of the elements `index`, 1/m, right positive."""
    k = elements.curvature_in[index]
    rate = (elements.curvature_out[index] - k) / elements.length_m[index]
    return np.asarray(k + rate * t_m)


def azimuth(elements: Elements, index: IntArray, t_m: FloatArray) -> FloatArray:
    """Return the azimuth of the tangent at t of the elements `index`, radians, not wrapped."""
    k = elements.curvature_in[index]
    rate = (elements.curvature_out[index] - k) / elements.length_m[index]
    return np.asarray(elements.azimuth_rad[index] + (k + rate * t_m / 2.0) * t_m)


def place(elements: Elements, index: IntArray, t_m: FloatArray) -> FloatArray:
    """Return the positions at t of the elements `index`; both shape (n,), the answer (n, 2)."""
    index = np.asarray(index)
    t = np.asarray(t_m, dtype=np.float64)
    k = elements.curvature_in[index]
    direction = elements.azimuth_rad[index]
    step = run(direction, k, np.zeros_like(k), t)
    spiral = np.flatnonzero(elements.is_spiral[index])
    if spiral.size:
        here = index[spiral]
        rate = (elements.curvature_out[here] - k[spiral]) / elements.length_m[here]
        step[spiral] = run(direction[spiral], k[spiral], rate, t[spiral])
    return np.asarray(elements.xy_m[index] + step)


def run(azimuth_rad: FloatArray, k: FloatArray, rate: FloatArray, t_m: FloatArray) -> FloatArray:
    """Return the displacement (east, north) of a run of length t; all shape (n,), answer (n, 2).

    azimuth_rad and k: direction and curvature where it begins; rate: change of curvature, 1/m^2.
    """
    if not np.any(rate):
        half = k * t_m / 2.0
        chord = t_m * np.sinc(half / np.pi)
        return np.column_stack(
            (chord * np.sin(azimuth_rad + half), chord * np.cos(azimuth_rad + half))
        )
    east = np.zeros_like(t_m)
    north = np.zeros_like(t_m)
    for node, weight in zip(_NODES, _WEIGHTS, strict=True):
        u = t_m * node
        direction = azimuth_rad + (k + rate * u / 2.0) * u
        east += weight * np.sin(direction)
        north += weight * np.cos(direction)
    return np.column_stack((t_m * east, t_m * north))


def tangent(azimuth_rad: FloatArray) -> FloatArray:
    """Return unit vectors (east, north) in these directions; shape (n, 2)."""
    return np.column_stack((np.sin(azimuth_rad), np.cos(azimuth_rad)))


def rightward(azimuth_rad: FloatArray) -> FloatArray:
    """Return unit vectors (east, north) to the right of these directions; shape (n, 2)."""
    return np.column_stack((np.cos(azimuth_rad), -np.sin(azimuth_rad)))


def dot(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the scalar products of two lists of vectors; shape (n,)."""
    return np.asarray(a[:, 0] * b[:, 0] + a[:, 1] * b[:, 1])
