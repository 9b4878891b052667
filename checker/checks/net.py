"""A net put together from field books: observations by name of station, and how it adjusts."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from checker.adjust.least_squares import (
    Adjustment,
    Kind,
    NotConvergedError,
    Observations,
    RankDefectError,
    adjust,
)
from checker.checks.closing import refuse
from checker.errors import Where
from checker.model.arrays import FloatArray
from checker.model.job import Sigmas
from checker.units import ARCSEC, Formula

EXACT_RAD = 1e-3 * ARCSEC
"""Standard deviation that stands for a stated azimuth, which is not observed."""
ASSUMED = Sigmas(
    angle=Formula(constant=5.0 * ARCSEC, text="5 arcsec"),
    distance=Formula(constant=0.003, per_length=2e-6, text="3 mm + 2 ppm"),
    rise=Formula(per_sqrt_km=0.001, text="1 mm * sqrt(km)"),
    rise_by_setups=Formula(per_sqrt_n=0.001, text="1 mm * sqrt(n)"),
    vector=Formula(constant=0.005, per_length=1e-6, text="5 mm + 1 ppm"),
)
"""What is taken where a job states none, and said to be assumed (common practice, no source)."""

Known = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """One observation by the names of its stations; see `Kind` for i, j, k.

    where: its row. label: for the report. stated: not observed but given, as a start azimuth is.
    vector_m, covariance_m2: of a vector, (north, east, up); its value is not used.
    """

    kind: Kind
    i: str
    j: str = ""
    k: str = ""
    value: float = 0.0
    sigma: float = 1.0
    where: Where
    label: str
    stated: bool = False
    vector_m: tuple[float, float, float] | None = None
    covariance_m2: FloatArray | None = None


@dataclass(slots=True, kw_only=True)
class Net:
    """What books contribute: sightings, approximate positions, and known ones by name."""

    sightings: list[Sighting] = field(default_factory=list)
    approximate: dict[str, Known] = field(default_factory=dict)
    known: dict[str, Known] = field(default_factory=dict)

    def near(self, name: str, n: float, e: float, z: float = float("nan")) -> None:
        """Keep an approximate position; coordinates that are there already stay."""
        old = self.approximate.get(name, (float("nan"),) * 3)
        new = tuple(b if np.isnan(a) else a for a, b in zip(old, (n, e, z), strict=True))
        self.approximate[name] = (new[0], new[1], new[2])

    def hold(self, name: str, place: Known) -> None:
        """Keep a known position; coordinates that are known already stay."""
        old = self.known.get(name, (float("nan"),) * 3)
        new = tuple(b if np.isnan(a) else a for a, b in zip(old, place, strict=True))
        self.known[name] = (new[0], new[1], new[2])


@dataclass(frozen=True, slots=True, kw_only=True)
class Solved:
    """An adjusted net. names: its stations, in order of the arrays of `adjustment`.

    row: shape (rows,), which sighting each row of the adjustment belongs to.
    """

    names: tuple[str, ...]
    fixed: np.typing.NDArray[np.bool_]
    sightings: tuple[Sighting, ...]
    row: tuple[int, ...]
    observations: Observations
    adjustment: Adjustment


def solve(net: Net, where: Where, *, free: bool = False) -> Solved:
    """Adjust a net; raises InputError that names what is not determined, or what runs away."""
    names = tuple(_names(net.sightings))
    number = {name: index for index, name in enumerate(names)}
    position = np.full((len(names), 3), np.nan)
    fixed = np.zeros((len(names), 3), dtype=np.bool_)
    for name, index in number.items():
        position[index] = net.approximate.get(name, (np.nan,) * 3)
        held = np.array(net.known.get(name, (np.nan,) * 3))
        there = np.isfinite(held)
        position[index, there] = held[there]
        fixed[index] = there
    observations, row = _observations(net.sightings, number)
    _placed(observations, position, names, where)
    position = np.nan_to_num(position)
    if free:
        fixed[:] = False
    try:
        found = adjust(observations, position, fixed, free=free)
    except RankDefectError as defect:
        refuse(
            "not-determined",
            where,
            _defect_words(defect.moving, names, net.sightings),
            "observe more, or hold more: a known point, an azimuth, a bench mark",
        )
    except NotConvergedError:
        refuse(
            "not-converged",
            where,
            "the adjustment does not settle: an observation is far off, or the net hangs on "
            "almost nothing",
            "look at the closures of the traverses, levels and vectors first",
        )
    return Solved(
        names=names,
        fixed=fixed,
        sightings=tuple(net.sightings),
        row=tuple(row),
        observations=observations,
        adjustment=found,
    )


def _names(sightings: Iterable[Sighting]) -> dict[str, None]:
    found: dict[str, None] = {}
    for each in sightings:
        for name in (each.i, each.j, each.k):
            if name:
                found.setdefault(name)
    return found


def _observations(
    sightings: list[Sighting], number: Mapping[str, int]
) -> tuple[Observations, list[int]]:
    """Return the sightings as rows of numbers, a vector as three, and which each row is of."""
    kind: list[int] = []
    ends: list[tuple[int, int, int]] = []
    value: list[float] = []
    sigma: list[float] = []
    block: list[int] = []
    row: list[int] = []
    covariances: list[FloatArray] = []
    for index, each in enumerate(sightings):
        end = (number.get(each.i, -1), number.get(each.j, -1), number.get(each.k, -1))
        if each.vector_m is None:
            parts = [(each.kind, each.value, each.sigma, -1)]
        else:
            assert each.covariance_m2 is not None  # noqa: S101  (every vector has one)
            spread = np.sqrt(np.diag(each.covariance_m2)).tolist()
            axes = (Kind.NORTH, Kind.EAST, Kind.UP)
            parts = [
                (axis, part, size, len(covariances))
                for axis, part, size in zip(axes, each.vector_m, spread, strict=True)
            ]
            covariances.append(each.covariance_m2)
        for what, number_, size, group in parts:
            kind.append(what)
            ends.append(end)
            value.append(number_)
            sigma.append(size)
            block.append(group)
            row.append(index)
    i, j, k = np.array(ends, dtype=np.int64).reshape(-1, 3).T
    return (
        Observations(
            kind=np.array(kind, dtype=np.int64),
            i=i,
            j=j,
            k=k,
            value=np.array(value),
            sigma=np.array(sigma),
            block=np.array(block, dtype=np.int64),
            covariance_m2=np.array(covariances).reshape(-1, 3, 3),
        ),
        row,
    )


def _placed(
    observations: Observations, position: FloatArray, names: tuple[str, ...], where: Where
) -> None:
    """Carry positions along rises and vectors; refuse where a place stays unknown.

    Heights that nothing ties to a known one begin at 0: the defect is then named by the adjustment.
    """
    carried = {Kind.RISE: 2, Kind.NORTH: 0, Kind.EAST: 1, Kind.UP: 2}
    while True:
        before = int(np.count_nonzero(np.isnan(position)))
        for what, axis in carried.items():
            for r in np.flatnonzero(observations.kind == what).tolist():
                i, j = int(observations.i[r]), int(observations.j[r])
                if np.isnan(position[j, axis]) and np.isfinite(position[i, axis]):
                    position[j, axis] = position[i, axis] + observations.value[r]
                elif np.isnan(position[i, axis]) and np.isfinite(position[j, axis]):
                    position[i, axis] = position[j, axis] - observations.value[r]
        if int(np.count_nonzero(np.isnan(position))) == before:
            break
    plan = np.isin(observations.kind, [Kind.DISTANCE, Kind.AZIMUTH, Kind.ANGLE, Kind.DIRECTION])
    used = set(observations.i[plan].tolist()) | set(observations.j[plan].tolist())
    used |= set(observations.k[observations.kind == Kind.ANGLE].tolist())
    lost = [names[index] for index in sorted(used) if np.isnan(position[index, :2]).any()]
    if lost:
        refuse(
            "not-determined",
            where,
            f"nothing leads to {', '.join(lost[:8])}: no known point and no traverse from one",
            "use a traverse that starts from a known point, or add the point to the control",
        )


def _defect_words(moving: FloatArray, names: tuple[str, ...], sightings: list[Sighting]) -> str:
    """Return in words which stations may move, and on what they hang."""
    size = np.sqrt(np.sum(moving**2, axis=(0, 2)))
    loose = np.flatnonzero(size > 1e-3 * size.max()).tolist()
    heights = bool(np.max(np.abs(moving[:, :, 2])) > np.max(np.abs(moving[:, :, :2])))
    what = "the elevation" if heights else "the position"
    if len(loose) == 1:
        name = names[loose[0]]
        touching = [each for each in sightings if name in (each.i, each.j, each.k)]
        hang = ", ".join(each.label for each in touching[:4])
        count = "one observation" if len(touching) == 1 else f"{len(touching)} observations"
        return f"{what} of {name} is not determined: it hangs on {count} ({hang})"
    shown = ", ".join(names[index] for index in loose[:8])
    more = f" and {len(loose) - 8} more" if len(loose) > 8 else ""
    if heights:
        return f"{what}s of {shown}{more} are not determined: no bench mark holds them together"
    ways = "one way" if len(moving) == 1 else f"{len(moving)} ways"
    return (
        f"{what}s of {shown}{more} are not determined: together they can move {ways} (shift or "
        "turn) without any observation changing"
    )
