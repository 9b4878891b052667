"""A net put together from field books: observations by name of station, and how it adjusts."""

from collections import Counter
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
from checker.adjust.observations import PLAN
from checker.checks.approximate import rough_places
from checker.checks.closing import refuse
from checker.errors import Where
from checker.model.arrays import FloatArray
from checker.model.job import Sigmas
from checker.units import ARCSEC, Formula

EXACT_RAD = 1e-3 * ARCSEC
"""Standard deviation that stands for a stated azimuth, which is not observed."""
ASSUMED = Sigmas(
    angle=Formula(constant=5.0 * ARCSEC, text="5 arcsec"),
    direction=Formula(constant=3.5 * ARCSEC, text="3.5 arcsec"),
    distance=Formula(constant=0.003, per_length=2e-6, text="3 mm + 2 ppm"),
    rise=Formula(per_sqrt_km=0.001, text="1 mm * sqrt(km)"),
    rise_by_setups=Formula(per_sqrt_n=0.001, text="1 mm * sqrt(n)"),
    vector=Formula(constant=0.005, per_length=1e-6, text="5 mm + 1 ppm"),
)
"""What is taken where a job states none, and said to be assumed (common practice, no source)."""

ASSUMED_RISE = Formula(constant=0.003, text="3 mm")
"""The same of a rise whose line has neither length nor set-ups."""

Known = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """One observation by the names of its stations; see `Kind` for i, j, k.

    k of a direction is the name of its circle. where: its row. label: for the report. stated: not
    observed but given, as a start azimuth is. assumed: nothing states its standard deviation.
    vector_m, covariance_m2: of a vector, (north, east, up) or (north, east); its value is not used.
    earth_m, earth_m2: of a vector that was observed in earth-centred axes, and from which these
    follow at the place of its first station; up_m: its difference of height, which may not count.
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
    assumed: bool = False
    vector_m: tuple[float, ...] | None = None
    covariance_m2: FloatArray | None = None
    earth_m: tuple[float, float, float] | None = None
    earth_m2: FloatArray | None = None
    up_m: float = 0.0


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

    row: shape (rows,), which sighting each row of the adjustment belongs to. start_m: shape
    (stations, 3), where the adjustment began.
    """

    names: tuple[str, ...]
    fixed: np.typing.NDArray[np.bool_]
    sightings: tuple[Sighting, ...]
    row: tuple[int, ...]
    observations: Observations
    adjustment: Adjustment
    start_m: FloatArray


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
    _placed(net, observations, position, names, where)
    position = np.nan_to_num(position)
    if free:
        fixed[:] = False
    try:
        found = adjust(observations, position, fixed, free=free)
    except RankDefectError as defect:
        refuse(
            "not-determined",
            where,
            _defect_words(defect.moving, names, net.sightings, fixed),
            "observe more, or hold more: a known point, an azimuth, a bench mark",
        )
    except NotConvergedError as fault:
        worst = f"; {names[fault.station]} moved most to the last" if fault.station >= 0 else ""
        refuse(
            "not-converged",
            where,
            "the adjustment does not settle: an observation is far off, or the net hangs on "
            f"almost nothing{worst}",
            "look at the closures of the traverses, levels and vectors first, then at the rough "
            "positions",
        )
    return Solved(
        names=names,
        fixed=fixed,
        sightings=tuple(net.sightings),
        row=tuple(row),
        observations=observations,
        adjustment=found,
        start_m=position,
    )


def _names(sightings: Iterable[Sighting]) -> dict[str, None]:
    found: dict[str, None] = {}
    for each in sightings:
        for name in stations_of(each):
            if name:
                found.setdefault(name)
    return found


def stations_of(each: Sighting) -> tuple[str, ...]:
    """Return the stations that an observation names, "" among them; a circle is none."""
    return (each.i, each.j) if each.kind is Kind.DIRECTION else (each.i, each.j, each.k)


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
    circles: dict[str, int] = {}
    for index, each in enumerate(sightings):
        end = (number.get(each.i, -1), number.get(each.j, -1), number.get(each.k, -1))
        if each.kind is Kind.DIRECTION:
            end = (*end[:2], circles.setdefault(each.k, len(circles)))
        if each.vector_m is None:
            parts = [(each.kind, each.value, each.sigma, -1)]
        else:
            assert each.covariance_m2 is not None  # noqa: S101  (every vector has one)
            spread = np.sqrt(np.diag(each.covariance_m2)).tolist()
            axes = (Kind.NORTH, Kind.EAST, Kind.UP)
            parts = [
                (axis, part, size, len(covariances))
                for axis, part, size in zip(axes, each.vector_m, spread, strict=False)
            ]
            whole = np.eye(3)
            whole[: len(spread), : len(spread)] = each.covariance_m2
            covariances.append(whole)
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
    net: Net,
    observations: Observations,
    position: FloatArray,
    names: tuple[str, ...],
    where: Where,
) -> None:
    """Carry positions along observations; refuse where a place stays unknown.

    What nothing ties to a known coordinate begins at 0 (a free net stays there; otherwise the
    defect is named by the adjustment).
    """
    before = -1
    while before != (now := int(np.count_nonzero(np.isnan(position)))):
        before = now
        _carried(observations, position)
        lost = _lost(observations, position)
        if lost.size:
            known = {
                name: complex(*place[:2].tolist())
                for name, place in zip(names, position, strict=True)
                if np.isfinite(place[:2]).all()
            }
            found = rough_places(net.sightings, known)
            for index in lost.tolist():
                if names[index] in found:
                    plan = found[names[index]]
                    position[index, :2] = plan.real, plan.imag
    lost = _lost(observations, position)
    if lost.size:
        shown = ", ".join(names[index] for index in lost[:8].tolist())
        more = f" and {lost.size - 8} more" if lost.size > 8 else ""
        refuse(
            "not-determined",
            where,
            f"nothing leads to {shown}{more} from a known point: no direction with a distance, no "
            "two lines that meet in one place, and no traverse",
            "add observations, a known point, or its rough position under approximate (where "
            "distances alone leave a station on either side of a line, that chooses the side)",
        )
    _begun(observations, position)


def _begun(observations: Observations, position: FloatArray) -> None:
    """Give parts of rises and vectors that nothing known touches a beginning at 0, carried on."""
    for kind, axis in ((Kind.NORTH, 0), (Kind.EAST, 1), (Kind.UP, 2), (Kind.RISE, 2)):
        starts = observations.i[observations.kind == kind]
        while (open_ := starts[np.isnan(position[starts, axis])]).size:
            position[open_[0], axis] = 0.0
            _carried(observations, position)


def _carried(observations: Observations, position: FloatArray) -> None:
    """Carry coordinates along rises and vectors, as far as they lead."""
    carried = {Kind.RISE: 2, Kind.NORTH: 0, Kind.EAST: 1, Kind.UP: 2}
    kind = observations.kind
    axis = np.zeros(len(kind), dtype=np.int64)
    for what, one in carried.items():
        axis[kind == what] = one
    rows = np.flatnonzero(np.isin(kind, list(carried)))
    while rows.size:
        i, j, which = observations.i[rows], observations.j[rows], axis[rows]
        here, there = np.isfinite(position[i, which]), np.isfinite(position[j, which])
        on, off = here & ~there, there & ~here
        if not (on.any() or off.any()):
            break
        value = observations.value[rows]
        position[j[on], which[on]] = position[i[on], which[on]] + value[on]
        position[i[off], which[off]] = position[j[off], which[off]] - value[off]
        rows = rows[~(here & there)]


def _lost(observations: Observations, position: FloatArray) -> np.typing.NDArray[np.int64]:
    """Return the stations of observations of plan whose place is not known yet."""
    plan = np.isin(observations.kind, PLAN)
    used = np.zeros(len(position), dtype=np.bool_)
    used[observations.i[plan]] = used[observations.j[plan]] = True
    used[observations.k[observations.kind == Kind.ANGLE]] = True
    return np.flatnonzero(used & np.isnan(position[:, :2]).any(axis=1))


# ---------------------------------------------------------------- what is not determined


_NOUNS = {
    Kind.DISTANCE: "distance",
    Kind.AZIMUTH: "azimuth",
    Kind.ANGLE: "angle",
    Kind.DIRECTION: "direction",
    Kind.RISE: "rise",
    Kind.NORTH: "vector",
    Kind.N: "weight",
    Kind.E: "weight",
    Kind.Z: "weight",
}
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six")


def _hangs(name: str, sightings: list[Sighting], *, heights: bool) -> str:
    """Return on what a station hangs, "one distance (B1 to T4)"."""
    ties = (Kind.RISE, Kind.NORTH, Kind.Z) if heights else (*PLAN, Kind.NORTH, Kind.N, Kind.E)
    touching = [each for each in sightings if name in stations_of(each) and each.kind in ties]
    parts = []
    for kind, count in Counter(_NOUNS[each.kind] for each in touching).items():
        number = _NUMBERS[count] if count < len(_NUMBERS) else str(count)
        parts.append(f"{number} {kind}{'s' if count > 1 else ''}")
    said = " and ".join(parts) if len(parts) < 3 else f"{', '.join(parts[:-1])} and {parts[-1]}"
    shown = ", ".join(f"{each.label}, {each.where}" for each in touching[:4])
    return f"{said} ({shown}{', ...' if len(touching) > 4 else ''})" if touching else "nothing"


def _defect_words(
    moving: FloatArray,
    names: tuple[str, ...],
    sightings: list[Sighting],
    fixed: np.typing.NDArray[np.bool_],
) -> str:
    """Return in words which stations may move, and on what they hang."""
    heights = bool(np.max(np.abs(moving[:, :, 2])) > np.max(np.abs(moving[:, :, :2])))
    size = np.sqrt(np.sum(moving**2, axis=(0, 2)))
    loose = np.flatnonzero(size > 1e-3 * size.max()).tolist()
    shown = ", ".join(names[index] for index in loose[:8])
    more = f" and {len(loose) - 8} more" if len(loose) > 8 else ""
    what = "the elevation" if heights else "the position"
    axes = slice(2, 3) if heights else slice(0, 2)
    others = np.ones(len(names), dtype=np.bool_)
    others[loose] = False
    # A station or a few beside a net that stands: each hangs on what touches it.
    alone = len(loose) <= 3 and (others.any() or fixed[:, axes].any())
    if alone and len(moving) >= len(loose):
        said = [
            f"{what} of {names[index]} is not determined: station {names[index]} hangs on "
            f"{_hangs(names[index], sightings, heights=heights)}"
            for index in loose
        ]
        return "; ".join(said)
    held = fixed[:, axes].any()
    if heights:
        why = "no bench mark holds them together" if not held else "no bench mark reaches them"
        return f"{what}s of {shown}{more} are not determined: {why}"
    ways = "one way" if len(moving) == 1 else f"{len(moving)} ways"
    return (
        f"{what}s of {shown}{more} are not determined: together they can move {ways} (shift or "
        "turn) without any observation changing"
    )
