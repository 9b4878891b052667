"""What books contribute to a network: sights, and vectors on their way to the grid."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from checker.adjust.observations import Kind
from checker.checks.closing import refuse, stripped
from checker.checks.geocentric import (
    Grid,
    carried,
    control_places,
    geocentric_by_control,
    grid_of,
    on_grid,
    turn_to_local,
)
from checker.checks.net import ASSUMED, ASSUMED_RISE, Known, Net, Sighting
from checker.errors import Where
from checker.model.arrays import FloatArray
from checker.model.books import SightBook, VectorBook
from checker.model.inputs import Inputs
from checker.model.job import Job, Network, Sigmas, VectorFrame, Vectors
from checker.units import Formula

# ---------------------------------------------------------------- a book of sights


def contribute_sights(section: Network, inputs: Inputs, net: Net) -> list[str]:
    """Add the observations of a book of sights; return the stations that it names."""
    book = inputs.books.get(section.name)
    if not isinstance(book, SightBook):
        return []
    names: list[str] = []
    at, to, back = (stripped(each) for each in (book.at, book.to, book.back))
    horizontal = np.where(
        np.isnan(book.distance_m), book.slope_m * np.sin(book.zenith_rad), book.distance_m
    )
    sigmas = section.sigmas
    angle = sigmas.angle or ASSUMED.angle
    for row in range(len(book)):
        where = Where(file=book.path, line=int(book.line[row]))
        i, j = at[row], to[row]
        names += [i, j, *([back[row]] if np.isfinite(book.angle_rad[row]) else [])]

        def add(
            kind: Kind,
            value: FloatArray,
            stated: FloatArray,
            formula: Formula | None,
            label: str,
            *,
            ends: tuple[str, str, str],
            where: Where = where,
            row: int = row,
        ) -> None:
            if np.isnan(value[row]):
                return
            own = float(stated[row])
            length = float(book.length_m[row]) if kind is Kind.RISE else float(value[row])
            size = own
            if np.isnan(own):
                size = _size(formula, section, length, float(book.setups[row]), where)
            net.sightings.append(
                Sighting(
                    kind=kind,
                    i=ends[0],
                    j=ends[1],
                    k=ends[2],
                    value=float(value[row]),
                    sigma=size,
                    where=where,
                    label=label,
                    assumed=bool(np.isnan(own)) and is_assumed(kind, sigmas),
                )
            )

        circle = f"{i}|{book.round[row]}"
        add(
            Kind.DIRECTION,
            book.direction_rad,
            book.sigma_direction_rad,
            sigmas.direction or _by_angle(sigmas.angle) or ASSUMED.direction,
            f"direction {i} to {j}",
            ends=(i, j, circle),
        )
        add(
            Kind.ANGLE,
            book.angle_rad,
            book.sigma_angle_rad,
            angle,
            f"angle at {i}, {back[row]} to {j}",
            ends=(i, back[row], j),
        )
        add(
            Kind.AZIMUTH,
            book.azimuth_rad,
            book.sigma_azimuth_rad,
            sigmas.azimuth or angle,
            f"azimuth {i} to {j}",
            ends=(i, j, ""),
        )
        add(
            Kind.DISTANCE,
            horizontal,
            book.sigma_distance_m,
            sigmas.distance or ASSUMED.distance,
            f"distance {i} to {j}",
            ends=(i, j, ""),
        )
        rise = ASSUMED.rise if np.isfinite(book.length_m[row]) else ASSUMED_RISE
        if np.isnan(book.length_m[row]) and np.isfinite(book.setups[row]):
            rise = ASSUMED.rise_by_setups
        add(
            Kind.RISE,
            book.rise_m,
            book.sigma_rise_m,
            sigmas.rise or rise,
            f"rise {i} to {j}",
            ends=(i, j, ""),
        )
    return names


def _by_angle(angle: Formula | None) -> Formula | None:
    """Return the precision of a direction from that of an angle, the difference of two."""
    if angle is None:
        return None
    return replace(angle, constant=angle.constant / math.sqrt(2.0), text=f"{angle.text} / sqrt(2)")


def is_assumed(kind: Kind, sigmas: Sigmas) -> bool:
    """Tell whether the job states no standard deviation for observations of this kind."""
    either = sigmas.angle is None
    return {
        Kind.DISTANCE: sigmas.distance is None,
        Kind.ANGLE: either,
        Kind.DIRECTION: either and sigmas.direction is None,
        Kind.AZIMUTH: either and sigmas.azimuth is None,
        Kind.RISE: sigmas.rise is None,
    }.get(kind, False)


def _size(
    formula: Formula | None, section: Network, length: float, setups: float, where: Where
) -> float:
    """Return the standard deviation of an observation by its formula."""
    assert formula is not None  # noqa: S101  (one is assumed)
    lacks_length = formula.needs_length and np.isnan(length)
    if lacks_length or (formula.needs_n and np.isnan(setups)):
        refuse(
            "tolerance-unusable",
            where,
            f'sigma_rise "{formula.text}" of the network "{section.name}" needs the '
            f"{'length' if lacks_length else 'number of set-ups'} of this line, and the row "
            "does not give it",
            "fill in length (or setups), give the row a sigma_rise, or state sigma_rise as a plain "
            "length",
        )
    return float(formula.at(n=setups, length_m=abs(length)))


# ---------------------------------------------------------------- vectors


def _vector_book(each: Vectors, inputs: Inputs) -> VectorBook:
    book = inputs.books[each.name]
    if not isinstance(book, VectorBook):
        raise TypeError(each.name)
    return book


def vector_marks(each: Vectors, inputs: Inputs) -> list[str]:
    """Return the marks that a book of vectors names."""
    book = _vector_book(each, inputs)
    return [*stripped(book.from_), *stripped(book.to)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Axes:
    """How a book's axes lie: `turn` brings them to north, east, up, shape (3, 3).

    grid: earth-centred axes on that grid, to which every vector is brought by itself, so that the
    rotation is only rough; geoid_m: its geoid height. says: for the report.
    """

    turn: FloatArray
    says: tuple[str, ...] = ()
    grid: Grid | None = None
    geoid_m: float = 0.0


def contribute_vectors(each: Vectors, inputs: Inputs, job: Job, net: Net, section: Network) -> Axes:
    """Add vectors with their covariances or the stated precision, in north, east, up."""
    book = _vector_book(each, inputs)
    axes = _axes(each, book, inputs, job)
    turn, earth = axes.turn, axes.grid is not None
    formula = section.sigmas.vector or ASSUMED.vector
    assert formula is not None  # noqa: S101  (one is assumed)
    kept = 3 if section.vector_heights else 2
    starts, ends = stripped(book.from_), stripped(book.to)
    for row in range(len(book)):
        d, covariance = book.d_m[row], book.covariance_m2[row]
        lacks = bool(np.isnan(covariance).any())
        if lacks:
            length = float(np.linalg.norm(d))
            covariance = np.eye(3) * float(formula.at(length_m=length)) ** 2
        turned = turn @ d
        net.sightings.append(
            Sighting(
                kind=Kind.NORTH,
                i=starts[row],
                j=ends[row],
                where=Where(file=book.path, line=int(book.line[row])),
                label=f"vector {starts[row]} to {ends[row]}",
                vector_m=tuple(turned[:kept].tolist()),
                covariance_m2=(turn @ covariance @ turn.T)[:kept, :kept],
                earth_m=(float(d[0]), float(d[1]), float(d[2])) if earth else None,
                earth_m2=covariance if earth else None,
                up_m=float(turned[2]),
                assumed=lacks and section.sigmas.vector is None,
            )
        )
    return axes


def _axes(each: Vectors, book: VectorBook, inputs: Inputs, job: Job) -> Axes:
    """Return how a book's axes lie: stated, told by the control, or local without any frame."""
    swap = np.array([[0.0, 1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    crs, frame, geoid = job.reference.crs, each.frame, each.geoid_m or 0.0
    grid = grid_of(crs)
    says: list[str] = []
    if frame is None:
        if crs is None:
            return Axes(turn=swap)
        told = None
        if grid is not None:
            ends = list(zip(stripped(book.from_), stripped(book.to), strict=True))
            told = geocentric_by_control(ends, book.d_m, control_places(inputs), grid, geoid)
        if told is None:
            refuse(
                "vector-frame",
                each.where,
                f'the job names a coordinate system, and nothing says whether the vectors "'
                f'{each.name}" are earth-centred or on the grid',
                'write frame = "geocentric" or frame = "local" with the vectors',
            )
        frame = VectorFrame.GEOCENTRIC if told else VectorFrame.LOCAL
        axes = "earth-centred" if told else "east, north, up on the grid"
        says.append(f"{each.name}: by the control the axes of the vectors are {axes}.")
    if frame is VectorFrame.LOCAL:
        return Axes(turn=swap, says=tuple(says))
    known = list(control_places(inputs).values())
    if grid is not None and known:
        how = (
            "The geoid height is as stated."
            if each.geoid_m is not None
            else "Elevations were taken for heights above the ellipsoid: 30 m of geoid height "
            "change lengths by 5 parts per million (geoid_height states it)."
        )
        says.append(
            f"{each.name}: earth-centred vectors were brought to {crs} with their covariances: "
            f"scale, convergence and curvature are in them. {how} Their differences of height are "
            "ellipsoidal; the slope of the geoid is not in them."
        )
        middle = np.nan_to_num(np.array(known))
        turn = turn_to_local(*grid.place(middle))
        return Axes(turn=turn, says=tuple(says), grid=grid, geoid_m=geoid)
    if each.latitude_rad is None or each.longitude_rad is None:
        refuse(
            "vector-frame",
            each.where,
            f'the vectors "{each.name}" are earth-centred, and nothing says where on earth',
            "name the grid under [reference] crs and give control, or state about = "
            "{ latitude, longitude } with the vectors",
        )
    says.append(
        f"{each.name}: earth-centred vectors were turned into north, east, up at the stated place."
    )
    return Axes(turn=turn_to_local(each.latitude_rad, each.longitude_rad), says=tuple(says))


# ---------------------------------------------------------------- on the grid


def gridded(
    grid: Grid, sightings: Sequence[Sighting], place: Mapping[str, FloatArray], geoid_m: float
) -> list[Sighting]:
    """Return earth-centred vectors as differences on the grid, from where their first ends are."""
    start = np.array([place[each.i] for each in sightings]).reshape(-1, 3)
    start[:, 2] = np.nan_to_num(start[:, 2]) + geoid_m
    vector, covariance = on_grid(
        grid,
        start,
        np.array([each.earth_m for each in sightings]).reshape(-1, 3),
        np.array([each.earth_m2 for each in sightings]).reshape(-1, 3, 3),
    )
    made = []
    for each, d, c in zip(sightings, vector, covariance, strict=True):
        size = 3 if each.vector_m is None else len(each.vector_m)
        made.append(
            replace(
                each,
                vector_m=tuple(d[:size].tolist()),
                covariance_m2=c[:size, :size],
                up_m=float(d[2]),
            )
        )
    return made


def raise_ends(
    place: Mapping[str, FloatArray], sightings: Sequence[Sighting], known: Mapping[str, Known]
) -> None:
    """Give the ends of vectors whose heights do not count the heights that these lead to.

    The net itself has none for them, but how far a vector reaches on the grid depends on it.
    """
    flat = [each for each in sightings if each.vector_m is not None and len(each.vector_m) < 3]
    held = {
        name: np.array([height])
        for name, (_, _, height) in known.items()
        if name in place and np.isfinite(height)
    }
    if not flat:
        return
    if not held:
        held = {flat[0].i: np.array([float(np.nan_to_num(place[flat[0].i][2]))])}
    ends = [(each.i, each.j) for each in flat]
    found = carried(ends, np.array([[each.up_m] for each in flat]), held)
    for name, height in found.items():
        place[name][2] = height[0]
