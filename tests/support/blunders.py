"""Invented jobs, each with one known blunder or none: the measure of the diagnoses.

A case is drawn from a seed: a site (small local grid, state plane, large coordinates), a size, a
unit, noise that is shown, not shown or shown too small, ordinary staking errors, a few badly set
stakes, sessions with a bias of a few millimetres, check shots or none. The blunder then moves the
as-measured points ("measuring") or the design ("drawing"), all of them or those of one group.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from checker.model.arrays import FloatArray, IntArray
from checker.model.inputs import Inputs
from checker.model.job import ControlInput, Job, Reference
from checker.units import M_PER_FOOT, M_PER_US_SURVEY_FOOT, LengthUnit
from tests.support.points import HERE, Shot, inputs, job, points, stakeout, texts, tolerance

Rng = np.random.Generator

CLEAN = ("", "few-bad-stakes")
GROUPED = ("base-moved", "pole-height")
"""Causes that may concern one of several sessions."""


@dataclass
class Truth:
    """What was done. parameter: metres, radians, ppm; by, group: as in a diagnosis."""

    blunder: str
    parameter: dict[str, float] = field(default_factory=dict)
    ids: tuple[str, ...] = ()
    by: str = "all"
    group: str = ""


@dataclass
class Case:
    """A job as model objects, with what was done to it."""

    seed: int
    job: Job
    inputs: Inputs
    truth: Truth


_GRIDS = (
    ("EPSG:6527", (-74.5, 40.2)),
    ("EPSG:6346", (-82.4, 35.5)),
    ("EPSG:6543", (-79.1, 35.6)),
    ("EPSG:32618", (-76.2, 40.3)),
    ("EPSG:6428", (-105.2, 39.1)),
)
"""Grids of the EPSG register with a longitude and latitude where each is used."""
_OTHER = {
    "EPSG:6527": "EPSG:32618",
    "EPSG:6346": "EPSG:6345",
    "EPSG:6543": "EPSG:6346",
    "EPSG:32618": "EPSG:32617",
    "EPSG:6428": "EPSG:6430",
}
"""The grid that is taken for each of them."""


@dataclass
class World:
    """A job without noise, to which a blunder is done; arrays in metres.

    design: shape (n, 3). measured: stakes first, then check shots. known: control as listed.
    check: which mark each check shot stands on. size_m: the site's sides.
    """

    rng: Rng
    design: FloatArray
    known: FloatArray
    measured: FloatArray
    check: IntArray
    session: IntArray
    ids: list[str]
    marks: list[str]
    unit: LengthUnit
    crs: str | None

    @property
    def stakes(self) -> int:
        return len(self.design)

    @property
    def centre(self) -> FloatArray:
        middle: list[float] = self.measured.mean(axis=0).tolist()
        return np.array(middle)

    def sign(self) -> float:
        return float(self.rng.choice((-1.0, 1.0)))

    def between(self, low: float, high: float) -> float:
        """Return a size between two, alike at every scale."""
        return float(np.exp(self.rng.uniform(np.log(low), np.log(high))))

    def vector(self, low: float, high: float) -> tuple[float, float]:
        size, turn = self.between(low, high), self.rng.uniform(0, 2 * np.pi)
        return float(size * np.cos(turn)), float(size * np.sin(turn))

    def move(self, change: Callable[[FloatArray], FloatArray], *, measuring: bool = False) -> str:
        """Move all as-measured points; or, as a fault of the drawing does, the stakes alone."""
        drawing = not measuring and bool(self.rng.random() < 0.4) and len(self.check) > 0
        rows = slice(0, self.stakes if drawing else len(self.measured))
        self.measured[rows] = change(self.measured[rows])
        return "design" if drawing else ""


def _origin(rng: Rng, blunder: str) -> tuple[float, float, str | None]:
    """Return where a site lies: northing, easting, and the grid where one is named."""
    if blunder in ("wrong-zone", "frame-shift") or rng.random() < 0.3:
        crs, (lon, lat) = _GRIDS[int(rng.integers(len(_GRIDS)))]
        n, e = _projected(crs, lon + rng.uniform(-0.2, 0.2), lat + rng.uniform(-0.2, 0.2))
        return n, e, crs
    origins = [(1000.0, 2000.0), (150_000.0, 600_000.0), (612_345.0, 1_834_567.0)]
    if blunder in ("foot-definition", "dropped-digits"):
        origins = origins[1:]
    n, e = origins[int(rng.integers(len(origins)))]
    return n + rng.uniform(0, 500), e + rng.uniform(0, 500), None


def _world(rng: Rng, blunder: str, *, control: bool | None) -> World:
    north, east, crs = _origin(rng, blunder)
    n, marks = int(rng.integers(8, 60)), int(rng.integers(3, 7))
    sides = rng.uniform(80.0, 400.0) * np.array((1.0, rng.uniform(0.4, 1.0)))
    low = rng.uniform(80.0, 95.0)

    def places(count: int) -> FloatArray:
        parts = (
            north + rng.uniform(0, sides[0], count),
            east + rng.uniform(0, sides[1], count),
            low + rng.uniform(0, 4.0, count),
        )
        return np.asarray(np.round(np.column_stack(parts), 3), dtype=np.float64)

    design, known = places(n), places(marks)
    proved = bool(rng.random() < 0.8) if control is None else control
    shots = 2 if proved or blunder == "disturbed-mark" else 0
    check = np.repeat(np.arange(marks), shots)
    measured = np.vstack((design, known[check]))
    sessions = int(rng.integers(2, 5)) if blunder in GROUPED else int(rng.integers(1, 4))
    session = rng.integers(0, sessions, len(measured))
    session[: min(3 * sessions, n)] = np.arange(min(3 * sessions, n)) % sessions
    return World(
        rng=rng,
        design=design,
        known=known,
        measured=measured,
        check=check,
        session=session,
        ids=[str(101 + i) for i in range(n)],
        marks=[f"CP{i + 1}" for i in range(marks)],
        unit=list(LengthUnit)[int(rng.integers(3))],
        crs=crs,
    )


def make_case(
    seed: int, blunder: str | None = None, *, hard: bool = False, control: bool | None = None
) -> Case:
    """Return the case of a seed. blunder: None: any.

    hard: sigmas missing or too small, staking errors and bad stakes beside the blunder.
    """
    rng = np.random.default_rng(seed)
    if blunder is None:
        blunder = str(rng.choice(COMMON))
    world = _world(rng, blunder, control=control)
    truth = Truth(blunder="") if blunder in CLEAN else _DONE[blunder](world)
    sigma = float(rng.uniform(0.004, 0.012))
    tall = sigma * float(rng.uniform(1.3, 2.0))
    _add_noise(world, truth, blunder, np.array((sigma, sigma, tall)), hard=hard)
    for name in truth.ids if blunder == "no-elevation" else ():
        world.measured[world.ids.index(name), 2] = truth.parameter["value"]
    shown = str(rng.choice(("right", "small", "none"))) if hard else "right"
    factor = {"right": 1.0, "small": 1.0 / 1.7, "none": 0.0}[shown]
    shown_sigma = None if factor == 0.0 else (sigma * factor, sigma * factor, tall * factor)
    made, data = _as_job(world, shown_sigma)
    return Case(seed=seed, job=made, inputs=data, truth=truth)


def _add_noise(world: World, truth: Truth, blunder: str, sigma: FloatArray, *, hard: bool) -> None:
    """Add what every measurement has, and what a crew leaves beside it."""
    rng, n = world.rng, world.stakes
    staking = rng.uniform(0.004, 0.015) if hard else rng.uniform(0.0, 0.005)
    sessions = int(world.session.max()) + 1
    bias = rng.normal(0.0, 1.0, (sessions, 3)) * np.array((0.0025, 0.0025, 0.004))
    world.measured += rng.normal(0.0, 1.0, world.measured.shape) * sigma + bias[world.session]
    world.measured[:n] += rng.normal(0.0, staking, (n, 3))
    bad = 0
    if blunder == "few-bad-stakes":
        bad = int(rng.integers(1, max(2, n // 8) + 1))
    elif hard:
        bad = int(rng.integers(0, max(1, n // 12) + 1))
    others = [row for row in range(n) if world.ids[row] not in truth.ids]
    for row in rng.permutation(others)[:bad].tolist():
        world.measured[row, :2] += world.vector(0.04, 0.6)


def _as_job(world: World, sigma: tuple[float, float, float] | None) -> tuple[Job, Inputs]:
    def rows(names: list[str], at: FloatArray) -> list[Shot]:
        return [(name, n, e, z) for name, (n, e, z) in zip(names, at.tolist(), strict=True)]

    words = [f"S{number + 1}" for number in world.session.tolist()]
    shots = world.ids + [world.marks[mark] for mark in world.check.tolist()]
    limit = tolerance(horizontal=0.03, vertical=0.03)
    proved = len(world.check) > 0
    control = ControlInput(where=HERE, file="control.csv", unit=world.unit, tolerance=limit)
    made = job(stakeout(limit=limit), unit=world.unit, control=control if proved else None)
    if world.crs is not None:
        made = replace(made, reference=Reference(crs=world.crs, epoch="2026.9"))
    data = inputs(
        design=points(rows(world.ids, world.design)),
        measured=points(rows(shots, world.measured), sigma=sigma, session=texts(words)),
        control=points(rows(world.marks, world.known)) if proved else None,
    )
    return made, data


# ---------------------------------------------------------------- the blunders


def _foot(world: World) -> Truth:
    factor = (M_PER_US_SURVEY_FOOT / M_PER_FOOT) ** world.sign()
    dn, de, _ = world.centre * (factor - 1.0)
    group = world.move(lambda p: p * (factor, factor, 1.0))
    return Truth("foot-definition", {"dn": dn, "de": de, "ppm": (factor - 1) * 1e6}, group=group)


def _unit(world: World) -> Truth:
    factors = (M_PER_FOOT, 1 / M_PER_FOOT, 1000.0, 0.001, 1 / 0.0254, 12.0)
    factor = float(world.rng.choice(factors))
    return Truth("unit-factor", {"factor": factor}, group=world.move(lambda p: p * factor))


def _pole(world: World) -> Truth:
    feet = 1.0 - M_PER_FOOT
    dz = float(world.rng.choice((0.2, -0.2, 2.0 * feet, 1.8 * feet)))
    if world.rng.random() < 0.4 and world.session.max() > 0:
        world.measured[world.session == 0, 2] += dz
        return Truth("pole-height", {"dz": dz}, by="session", group="S1")
    world.measured[:, 2] += dz
    return Truth("pole-height", {"dz": dz})


def _height(world: World) -> Truth:
    dz = world.sign() * float(world.rng.uniform(0.25, 1.0))
    group = world.move(lambda p: p + np.array((0.0, 0.0, dz)))
    return Truth("height-constant", {"dz": dz}, group=group)


def _geoid(world: World) -> Truth:
    dz = -float(world.rng.uniform(18.0, 36.0))
    slope = world.rng.normal(0, 4e-5, 2)
    world.measured[:, 2] += dz + (world.measured - world.centre)[:, :2] @ slope
    return Truth("geoid-missing", {"dz": dz})


def _swapped(world: World) -> Truth:
    return Truth("axes-swapped", group=world.move(lambda p: p[:, [1, 0, 2]]))


def _mirrored(world: World) -> Truth:
    axis = int(world.rng.integers(2))
    flip, base = np.ones(3), np.zeros(3)
    flip[axis] = -1.0
    if world.rng.random() < 0.5:
        base[axis] = 2.0 * round(world.centre[axis] + world.rng.uniform(-300, 300))
    return Truth("mirrored", {"axis": axis}, group=world.move(lambda p: p * flip + base))


def _scaled(world: World) -> Truth:
    ppm = world.sign() * float(world.rng.uniform(250.0, 400.0))
    about = np.zeros(3)
    if world.rng.random() < 0.5:
        about = world.centre + world.rng.normal(0, 150, 3)
    times = np.array((1 + ppm * 1e-6, 1 + ppm * 1e-6, 1.0))
    group = world.move(lambda p: (p - about) * times + about)
    return Truth("grid-ground", {"scale_ppm": ppm}, group=group)


def _turned(world: World) -> Truth:
    angle = world.sign() * world.between(8e-4, 0.05)
    about = world.known[0] if world.rng.random() < 0.5 else np.zeros(3)
    cos, sin = np.cos(angle), np.sin(angle)
    # Clockwise on the map: azimuths grow by the angle.
    turn = np.array(((cos, sin, 0.0), (-sin, cos, 0.0), (0.0, 0.0, 1.0)))
    about = about * (1.0, 1.0, 0.0)
    group = world.move(lambda p: (p - about) @ turn + about)
    return Truth("rotation", {"angle_deg": angle}, group=group)


def _zone(world: World) -> Truth:
    crs = str(world.crs)
    return Truth("wrong-zone", group=world.move(lambda p: _reprojected(p, crs, _OTHER[crs])))


def _frame(world: World) -> Truth:
    move = world.sign() * _frame_vector(str(world.crs), world.centre)
    world.measured += move
    return Truth("frame-shift", {"dn": move[0], "de": move[1], "dz": move[2]})


def _shift(world: World) -> Truth:
    dn, de = world.vector(0.1, 8.0)
    group = world.move(lambda p: p + np.array((dn, de, 0.0)))
    return Truth("shift", {"dn": dn, "de": de}, group=group)


def _cut(world: World) -> Truth:
    step = 10_000.0 * world.unit.metres
    cut = np.floor(world.design.min(axis=0) / step) * step * (1.0, 1.0, 0.0)
    if world.rng.random() < 0.4:
        cut[0] = 0.0
    group = world.move(lambda p: p - cut)
    return Truth("dropped-digits", {"dn": -cut[0], "de": -cut[1]}, group=group)


def _transposed(world: World) -> Truth:
    row, axis = int(world.rng.integers(world.stakes)), int(world.rng.integers(2))
    value = world.design[row, axis] / world.unit.metres
    powers = world.rng.permutation(np.arange(4)).tolist()
    for power in powers:
        high, low = (np.floor(value / 10.0 ** (power + i) + 1e-9) % 10 for i in (1, 0))
        if high != low and value >= 10.0 ** (power + 1):
            change = float((low - high) * 9.0 * 10.0**power * world.unit.metres)
            world.measured[row, axis] += change
            facts = {"difference": change, "axis": axis}
            return Truth("transposed-digits", facts, (world.ids[row],))
    raise ValueError("a coordinate of equal digits")


def _exchanged(world: World) -> Truth:
    one, two = world.rng.permutation(world.stakes)[:2].tolist()
    world.measured[[one, two]] = world.measured[[two, one]]
    return Truth("ids-exchanged", ids=(world.ids[one], world.ids[two]))


def _stale(world: World) -> Truth:
    n = world.stakes
    rows = np.sort(world.rng.permutation(n)[: int(world.rng.integers(4, max(5, n // 2)))])
    dn, de = world.vector(0.3, 5.0)
    dz = float(world.rng.choice((0.0, world.sign() * world.rng.uniform(0.2, 1.0))))
    world.measured[rows] += (dn, de, dz)
    ids = tuple(world.ids[row] for row in rows.tolist())
    return Truth("stale-revision", {"dn": dn, "de": de, "dz": dz}, ids)


def _base(world: World) -> Truth:
    dn, de = world.vector(0.1, 3.0)
    dz = float(world.rng.choice((0.0, world.sign() * world.rng.uniform(0.3, 1.0))))
    world.measured[world.session == 0] += (dn, de, dz)
    return Truth("base-moved", {"dn": dn, "de": de, "dz": dz}, by="session", group="S1")


def _disturbed(world: World) -> Truth:
    dn, de = world.vector(0.12, 0.5)
    world.known[1, :2] -= (dn, de)
    return Truth("disturbed-mark", {"dn": dn, "de": de}, (world.marks[1],))


def _no_height(world: World) -> Truth:
    count = int(world.rng.integers(2, world.stakes + 1))
    rows = np.sort(world.rng.permutation(world.stakes)[:count])
    value = float(world.rng.choice((0.0, -9999.0))) * world.unit.metres
    return Truth("no-elevation", {"value": value}, tuple(world.ids[i] for i in rows.tolist()))


_DONE: dict[str, Callable[[World], Truth]] = {
    "foot-definition": _foot,
    "unit-factor": _unit,
    "pole-height": _pole,
    "height-constant": _height,
    "geoid-missing": _geoid,
    "axes-swapped": _swapped,
    "mirrored": _mirrored,
    "grid-ground": _scaled,
    "wrong-zone": _zone,
    "rotation": _turned,
    "frame-shift": _frame,
    "shift": _shift,
    "dropped-digits": _cut,
    "transposed-digits": _transposed,
    "ids-exchanged": _exchanged,
    "stale-revision": _stale,
    "base-moved": _base,
    "disturbed-mark": _disturbed,
    "no-elevation": _no_height,
}
COMMON = tuple(_DONE)
"""Every cause that the generator makes."""


def _projected(crs: str, lon: float, lat: float) -> tuple[float, float]:
    from pyproj import CRS, Proj

    grid = CRS.from_user_input(crs)
    e, n = Proj(grid)(lon, lat)
    metres = grid.axis_info[0].unit_conversion_factor
    return n * metres, e * metres


def _reprojected(p: FloatArray, from_: str, to: str) -> FloatArray:
    from pyproj import CRS, Transformer

    a, b = CRS.from_user_input(from_), CRS.from_user_input(to)
    ma, mb = a.axis_info[0].unit_conversion_factor, b.axis_info[0].unit_conversion_factor
    e, n = Transformer.from_crs(a, b, always_xy=True).transform(p[:, 1] / ma, p[:, 0] / ma)
    return np.column_stack((np.asarray(n) * mb, np.asarray(e) * mb, p[:, 2]))


def _frame_vector(crs: str, at: FloatArray) -> FloatArray:
    """Return what ITRF2014 at 2026.9 taken for NAD83(2011) moves a point by, from PROJ."""
    from pyproj import CRS, Proj, Transformer

    grid = CRS.from_user_input(crs)
    metres = grid.axis_info[0].unit_conversion_factor
    projection = Proj(grid)
    lon, lat = projection(at[1] / metres, at[0] / metres, inverse=True)
    transformer = Transformer.from_crs("EPSG:6319", "EPSG:7912", always_xy=True)
    x, y, h, _ = transformer.transform(lon, lat, at[2], 2026.9)
    e, n = projection(x, y)
    return np.array((n * metres - at[0], e * metres - at[1], h - at[2]))


def write_case(case: Case, folder: Path) -> Path:
    """Write a case as a job folder, in the job's unit."""
    folder.mkdir(parents=True, exist_ok=True)
    unit = case.job.unit
    head = f'[job]\ntitle = "Invented"\nunit = "{unit.value}"\n'
    reference = case.job.reference
    if reference.crs is not None:
        head += f'[reference]\ncrs = "{reference.crs}"\nepoch = "2026.9"\n'
    head += '[design]\npoints = "design.csv"\n[measured]\nfiles = ["shots.csv"]\n'
    head += '[tolerance.t]\nhorizontal = "30 mm"\nvertical = "30 mm"\n'
    for name, table in (
        ("design.csv", case.inputs.design),
        ("shots.csv", case.inputs.measured),
        ("control.csv", case.inputs.control),
    ):
        if table is None:
            continue
        quality = table.quality
        out = io.StringIO()
        rows = csv.writer(out, lineterminator="\n")
        heads = ["Point", "Northing", "Easting", "Elevation"]
        columns: list[list[str]] = []
        if quality.sigma_h_m is not None and quality.sigma_z_m is not None:
            heads += ["sigma_h", "sigma_z"]
            columns += [
                [repr(v / unit.metres) for v in quality.sigma_h_m.tolist()],
                [repr(v / unit.metres) for v in quality.sigma_z_m.tolist()],
            ]
        if quality.session is not None:
            heads.append("session")
            columns.append(list(quality.session))
        rows.writerow(heads)
        for i, name_of in enumerate(table.id.tolist()):
            place = (table.northing_m[i], table.easting_m[i], table.elevation_m[i])
            cells = [repr(float(v) / unit.metres) for v in place]
            rows.writerow([name_of, *cells, *(column[i] for column in columns)])
        (folder / name).write_text(out.getvalue())
    if case.inputs.control is not None:
        head += '[control]\nfile = "control.csv"\ntolerance = "t"\n'
    head += '[[stakeout]]\nname = "stakes"\ntolerance = "t"\n'
    (folder / "job.toml").write_text(head)
    return folder
