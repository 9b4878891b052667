"""Ways to build an alignment: from drawn segments, from a table of elements, from its PIs."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checker.geometry.alignment import Alignment, AlignmentError
from checker.geometry.arrays import FloatArray, positions
from checker.geometry.curves import CurveError, spiraled_curve
from checker.geometry.elements import MOST_SPIRAL_TURN_RAD, Elements, azimuth, place
from checker.geometry.plane import wrap_azimuth, wrap_signed
from checker.geometry.stations import Stationing

NO_LENGTH_M = 1e-9
NO_SAGITTA_M = 1e-12
"""An arc that leaves its chord by less than this is a line."""


def from_vertices(
    xy_m: npt.ArrayLike,
    bulge: npt.ArrayLike = 0.0,
    *,
    closed: bool = False,
    stationing: Stationing | None = None,
) -> Alignment:
    """Return an alignment along drawn segments, as in a polyline: exact lines and arcs.

    xy_m: shape (vertices, 2). bulge: shape (vertices,) or a number; of the segment that starts at
    the vertex, tan of a quarter of the arc's angle, + counter-clockwise, which is a left turn. The
    last counts only when closed. Segments of no length are left out and counted. AlignmentError
    where fewer than two vertices differ, or a number is not finite.
    """
    xy = positions(xy_m)
    turn = np.broadcast_to(np.asarray(bulge, dtype=np.float64), (len(xy),))
    if not (np.isfinite(xy).all() and np.isfinite(turn).all()):
        raise AlignmentError(
            "a vertex or a bulge is not a finite number", "draw the line anew at its place"
        )
    following = np.roll(xy, -1, axis=0) if closed else xy[1:]
    start, turn = (xy, turn) if closed else (xy[:-1], turn[:-1])
    chord = following - start
    length = np.hypot(chord[:, 0], chord[:, 1])
    real = length > NO_LENGTH_M
    if not real.any():
        raise AlignmentError(
            f"a line of {len(xy)} vertices has no length", "draw at least two vertices apart"
        )
    start, chord, length, turn = start[real], chord[real], length[real], turn[real]
    turn = np.where(np.abs(turn) * length / 2.0 < NO_SAGITTA_M, 0.0, turn)
    angle = 4.0 * np.arctan(turn)
    k = -4.0 * turn / (length * (1.0 + turn * turn))
    elements = Elements(
        xy_m=start.copy(),
        azimuth_rad=wrap_azimuth(np.arctan2(chord[:, 0], chord[:, 1]) + angle / 2.0),
        # sinc, so that a line is an arc of no angle.
        length_m=length / np.sinc(angle / (2.0 * np.pi)),
        curvature_in=k,
        curvature_out=k.copy(),
    )
    return Alignment(
        elements=elements,
        stationing=stationing or Stationing(),
        closed=closed,
        dropped=int(np.count_nonzero(~real)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One row of a table of elements.

    length_m along the element. curvature_in, curvature_out: 1/m, + right; alike for an arc, zero
    for a line. xy_m, azimuth_rad: where the table states them for the start; else the element
    starts where the one before it ends, in its direction.
    """

    length_m: float
    curvature_in: float = 0.0
    curvature_out: float = 0.0
    xy_m: tuple[float, float] | None = None
    azimuth_rad: float | None = None


def line(length_m: float) -> Part:
    """Return a straight part."""
    return Part(length_m=length_m)


def arc(radius_m: float, length_m: float) -> Part:
    """Return a circular part; radius + turning right, - turning left."""
    return Part(length_m=length_m, curvature_in=1.0 / radius_m, curvature_out=1.0 / radius_m)


def spiral(length_m: float, *, radius_in_m: float = np.inf, radius_out_m: float = np.inf) -> Part:
    """Return a clothoid between two radii; + turning right, - turning left, infinite for a line."""
    return Part(length_m=length_m, curvature_in=1.0 / radius_in_m, curvature_out=1.0 / radius_out_m)


def from_parts(
    parts: Sequence[Part],
    *,
    start_xy_m: tuple[float, float] = (0.0, 0.0),
    start_azimuth_rad: float = 0.0,
    stationing: Stationing | None = None,
) -> Alignment:
    """Return an alignment from a table of elements.

    Where the table states a start, that start is taken, so that `Alignment.defects` shows the gaps
    and kinks of the table. Parts of no length are left out and counted. AlignmentError for a
    negative length, a number that is not finite, or a spiral that turns twice round.
    """
    here = np.array(start_xy_m, dtype=np.float64)
    direction = float(start_azimuth_rad)
    rows: list[Elements] = []
    dropped = 0
    for number, part in enumerate(parts, start=1):
        values = (part.length_m, part.curvature_in, part.curvature_out)
        if not np.isfinite(values).all():
            raise AlignmentError(f"element {number}: {values} is not finite", "a radius of 0?")
        if part.length_m < 0.0:
            raise AlignmentError(f"element {number}: length {part.length_m:g} m is negative")
        if part.xy_m is not None:
            here = np.array(part.xy_m, dtype=np.float64)
        if part.azimuth_rad is not None:
            direction = float(part.azimuth_rad)
        if part.length_m <= NO_LENGTH_M:
            dropped += 1
            continue
        steepest = max(abs(part.curvature_in), abs(part.curvature_out)) * part.length_m
        if part.curvature_in != part.curvature_out and steepest > MOST_SPIRAL_TURN_RAD:
            raise AlignmentError(
                f"element {number}: a spiral of {part.length_m:g} m turns by {steepest:.1f} rad",
                "look at its radii and their unit",
            )
        k_in, k_out = part.curvature_in, part.curvature_out
        if steepest * part.length_m / 8.0 < NO_SAGITTA_M:
            k_in = k_out = 0.0
        row = Elements(
            xy_m=here[None, :].copy(),
            azimuth_rad=wrap_azimuth(np.array([direction])),
            length_m=np.array([part.length_m]),
            curvature_in=np.array([k_in]),
            curvature_out=np.array([k_out]),
        )
        rows.append(row)
        first = np.zeros(1, dtype=np.int64)
        here = place(row, first, row.length_m)[0]
        direction = float(azimuth(row, first, row.length_m)[0])
    if not rows:
        raise AlignmentError("an alignment without any element that has a length")
    elements = Elements(
        xy_m=np.concatenate([row.xy_m for row in rows]),
        azimuth_rad=np.concatenate([row.azimuth_rad for row in rows]),
        length_m=np.concatenate([row.length_m for row in rows]),
        curvature_in=np.concatenate([row.curvature_in for row in rows]),
        curvature_out=np.concatenate([row.curvature_out for row in rows]),
    )
    return Alignment(elements=elements, stationing=stationing or Stationing(), dropped=dropped)


def from_intersections(
    xy_m: npt.ArrayLike,
    radius_m: npt.ArrayLike = 0.0,
    spiral_in_m: npt.ArrayLike = 0.0,
    spiral_out_m: npt.ArrayLike = 0.0,
    *,
    stationing: Stationing | None = None,
    overlap_m: float = 1e-3,
) -> Alignment:
    """Return an alignment from its points of intersection, first and last being its ends.

    xy_m: shape (n, 2). radius_m, spiral_in_m, spiral_out_m: shape (n - 2,) or a number, one for
    each PI between; radius 0 leaves a kink. overlap_m: by how much neighbouring curves may overlap
    before it is refused, for tables that are rounded; the small gap then shows in `defects`.
    """
    xy = positions(xy_m)
    if len(xy) < 2:
        raise AlignmentError(f"an alignment needs two points or more, not {len(xy)}")
    inner = (len(xy) - 2,)
    radius, entry, leave = (
        np.broadcast_to(np.asarray(each, dtype=np.float64), inner)
        for each in (radius_m, spiral_in_m, spiral_out_m)
    )
    leg = np.diff(xy, axis=0)
    length = np.hypot(leg[:, 0], leg[:, 1])
    if not length.all():
        number = int(np.argmin(length)) + 1
        raise AlignmentError(
            f"points of intersection {number} and {number + 1} stand at one place",
            "take one of the two out",
        )
    direction = np.arctan2(leg[:, 0], leg[:, 1])
    delta: FloatArray = wrap_signed(np.diff(direction))

    parts: list[Part] = []
    used = 0.0
    for number in range(len(leg)):
        turning = number < len(delta) and radius[number] > 0.0 and delta[number] != 0.0
        curve = None
        if turning:
            try:
                curve = spiraled_curve(
                    float(abs(delta[number])),
                    float(radius[number]),
                    float(entry[number]),
                    float(leave[number]),
                )
            except CurveError as fault:
                raise AlignmentError(
                    f"point of intersection {number + 2}: {fault}", fault.hint
                ) from None
        tangent_in = curve.tangent_in_m if curve else 0.0
        straight = float(length[number]) - used - tangent_in
        if straight < -overlap_m:
            raise AlignmentError(
                f"the curves at points of intersection {number + 1} and {number + 2} overlap by "
                f"{-straight:.3f} m",
                "look at the radii, the spirals and the PIs",
            )
        unit = leg[number] / length[number]
        begin = xy[number] + used * unit
        if straight > overlap_m:
            parts.append(
                Part(
                    length_m=straight,
                    xy_m=(float(begin[0]), float(begin[1])),
                    azimuth_rad=float(direction[number]),
                )
            )
        used = 0.0
        if curve is None:
            continue
        side = 1.0 if delta[number] > 0.0 else -1.0
        k = side / float(radius[number])
        begin = xy[number + 1] - tangent_in * unit
        parts.extend(
            (
                Part(
                    length_m=float(entry[number]),
                    curvature_out=k,
                    xy_m=(float(begin[0]), float(begin[1])),
                    azimuth_rad=float(direction[number]),
                ),
                Part(length_m=curve.arc_m, curvature_in=k, curvature_out=k),
                Part(length_m=float(leave[number]), curvature_in=k),
            )
        )
        used = curve.tangent_out_m
    return from_parts(parts, stationing=stationing)
