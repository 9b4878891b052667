"""Invented sites, written as a surveyor's job folders: the stage of `site_faults.py`.

A second maker of trial jobs beside `blunders.py`, with which it shares nothing: it writes job.toml,
CSV and DXF in the job's own unit and spelling, and receivers' noise is scaled, turned and cut off
together with the numbers. Everything is drawn from a seed.
"""

from __future__ import annotations

import io
import math
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from checker.model.arrays import FloatArray, IntArray

Rng = np.random.Generator

FOOT, SURVEY_FOOT = 0.3048, 1200.0 / 3937.0
UNITS = {"metre": 1.0, "foot": FOOT, "us-survey-foot": SURVEY_FOOT}
GRIDS = (
    ("EPSG:6346", -82.1, 35.2, "EPSG:6345"),
    ("EPSG:6543", -79.4, 35.7, ""),
    ("EPSG:26910", -122.3, 45.3, "EPSG:26911"),
    ("EPSG:6539", -73.6, 40.8, "EPSG:6347"),
    ("EPSG:6588", -97.4, 31.4, "EPSG:6584"),
    ("EPSG:32632", 9.6, 47.1, "EPSG:32633"),
    ("EPSG:25833", 13.1, 52.1, "EPSG:25832"),
    ("EPSG:2958", -80.6, 43.6, "EPSG:2959"),
    ("EPSG:7855", 145.2, -37.9, "EPSG:7856"),
    ("EPSG:2193", 172.6, -43.5, "EPSG:32759"),
)
"""Grids of the EPSG register, where each is used, and another that may be taken for it."""
FRAMES = {
    "EPSG:6346": ("EPSG:6319", "EPSG:7912"),
    "EPSG:6539": ("EPSG:6319", "EPSG:9989"),
    "EPSG:6588": ("EPSG:6319", "EPSG:7912"),
    "EPSG:7855": ("EPSG:7843", "EPSG:7912"),
    "EPSG:25833": ("EPSG:4937", "EPSG:7912"),
}
"""Grids with the datum's realization, in three dimensions, and one that may be taken for it."""
LOCAL = (
    (500.0, 1500.0),
    (5000.0, 5000.0),
    (201_400.0, 633_900.0),
    (4_215_000.0, 541_000.0),
)
LARGE = ("foot-definition", "dropped-digits")
"""Faults that only large coordinates show."""


@dataclass
class Line:
    """A bent line with the stations of its stakes, metres. right: (n, 2), north and east."""

    corners: FloatArray
    station: FloatArray
    right: FloatArray
    offset_m: float
    by_table: bool


@dataclass
class Site:
    """A job before it is written; metres. The as-measured rows are the stakes, then check shots.

    design: (n, 3). known: (marks, 3). mark: the mark of every check shot. seen: as-measured, with
    noise. session: a number for every row. columns: what the file carries beside coordinates.
    shown: stored standard deviations against true ones, 0 where none are stored. typed: cells that
    are written as they stand, by row and axis, in the job's unit.
    """

    rng: Rng
    unit: str
    crs: str
    other: str
    lonlat: tuple[float, float]
    epoch: str
    design: FloatArray
    layer: list[str]
    ids: list[str]
    known: FloatArray
    marks: list[str]
    mark: IntArray
    line: Line | None
    decimals: int
    session: IntArray
    seen: FloatArray
    file: IntArray
    columns: dict[str, list[str]]
    poles: tuple[float, ...]
    shown: float
    sigma: FloatArray
    drawing: bool
    older: FloatArray | None = None
    typed: dict[tuple[int, int], float] = field(default_factory=dict)
    bad: set[int] = field(default_factory=set)

    @property
    def n(self) -> int:
        return len(self.design)

    @property
    def metre(self) -> float:
        """How many of the job's units a metre is."""
        return 1.0 / UNITS[self.unit]

    def side(self) -> float:
        return float(self.rng.choice((-1.0, 1.0)))

    def size(self, low: float, high: float) -> float:
        return float(low * (high / low) ** self.rng.random())

    def flat(self, low: float, high: float) -> tuple[float, float]:
        length, turn = self.size(low, high), 2.0 * math.pi * self.rng.random()
        return length * math.cos(turn), length * math.sin(turn)

    def sound(self) -> IntArray:
        """Return the stakes that are not badly set, in a random order."""
        order: list[int] = self.rng.permutation(self.n).tolist()
        return np.array([row for row in order if row not in self.bad])

    def rows(self, measuring: float = 0.6) -> slice:
        """Return all rows, or the stakes alone, as where the drawing is at fault."""
        drawn = len(self.mark) > 0 and self.rng.random() > measuring
        return slice(0, self.n) if drawn else slice(0, len(self.seen))


def _place(rng: Rng, fault: str) -> tuple[float, float, str, str, tuple[float, float], str]:
    """Return where a site lies: northing, easting, grid, another, longitude/latitude, epoch."""
    if fault not in ("wrong-zone", "frame-shift") and rng.random() > 0.35:
        places = LOCAL[2:] if fault in LARGE else LOCAL
        n, e = places[int(rng.integers(len(places)))]
        return n + rng.uniform(0, 300), e + rng.uniform(0, 300), "", "", (0.0, 0.0), ""
    from pyproj import CRS, Proj

    fit = [
        each
        for each in GRIDS
        if (fault != "wrong-zone" or each[3]) and (fault != "frame-shift" or each[0] in FRAMES)
    ]
    crs, lon, lat, other = fit[int(rng.integers(len(fit)))]
    lon, lat = lon + rng.uniform(-0.3, 0.3), lat + rng.uniform(-0.2, 0.2)
    grid = CRS.from_user_input(crs).to_2d()
    e, n = Proj(grid)(lon, lat)
    metres = grid.axis_info[0].unit_conversion_factor
    return n * metres, e * metres, crs, other, (lon, lat), f"{rng.uniform(2023.0, 2031.0):.2f}"


def _plan(rng: Rng, count: int, across: float) -> FloatArray:
    """Return places in plan: a grid of columns, strewn, along a road, in clusters."""
    kind = int(rng.integers(4))
    if kind == 0:
        side = math.ceil(math.sqrt(count))
        at = np.array([divmod(i, side) for i in range(count)], float) * (across / side)
        turn = rng.uniform(0, math.pi)
        cos, sin = math.cos(turn), math.sin(turn)
        return np.asarray(at @ np.array(((cos, sin), (-sin, cos))))
    if kind == 1:
        return rng.uniform(0, 1, (count, 2)) * (across, across * rng.uniform(0.3, 1.0))
    if kind == 2:
        s = np.linspace(0, across, count)
        bend = across * 0.15 * np.sin(s / across * rng.uniform(1, 4))
        return np.column_stack((s, bend + rng.choice((-6.0, 6.0), count)))
    centres = rng.uniform(0, across, (max(2, count // 8), 2))
    picked = centres[np.arange(count) % len(centres)]
    return np.asarray(picked + rng.uniform(-12, 12, (count, 2)))


def _line(rng: Rng, n: int, north: float, east: float) -> tuple[Line, FloatArray]:
    """Return a bent line and the stakes along it, shape (n, 2)."""
    spacing = float(rng.choice((5.0, 10.0, 20.0)))
    length = spacing * (n + 4) + 40.0
    headings = rng.uniform(0, 2 * math.pi) + np.array((0.0, rng.uniform(-0.8, 0.8)))
    legs = np.array((0.45, 0.55)) * length
    steps = legs[:, None] * np.column_stack((np.cos(headings), np.sin(headings)))
    start = np.array((north, east))
    corners = np.round(np.vstack((start, start + steps[0], start + steps.sum(axis=0))), 6)
    station = spacing * (1 + np.arange(n + 4))
    # Beside the bend itself a stake has two lines.
    station = station[np.abs(station - legs[0]) > 15.0][:n]
    on = (station > legs[0]).astype(int)
    unit = steps / legs[:, None]
    right = np.column_stack((-unit[:, 1], unit[:, 0]))[on]
    foot = corners[on] + (station - on * legs[0])[:, None] * unit[on]
    line = Line(
        corners=corners,
        station=station,
        right=right,
        offset_m=float(rng.choice((3.0, -4.0, 6.0))),
        by_table=bool(rng.random() < 0.5),
    )
    return line, foot


def make_site(rng: Rng, fault: str, *, hard: bool) -> Site:
    """Return a site with its noise and staking errors.

    hard: standard deviations missing or 1.7 times too small, and stakes set less well.
    """
    north, east, crs, other, lonlat, epoch = _place(rng, fault)
    least = {
        "stale-revision": 12,
        "grid-ground": 12,
        "wrong-side": 10,
        "wrong-line": 6,
        "base-moved": 12,
    }
    low = least.get(fault, 5)
    count = round(low * (300 / low) ** float(rng.random()))
    across = 40.0 * (1500.0 / 40.0) ** float(rng.random())
    if fault == "grid-ground":
        across = max(across, 250.0)
    ground = float(rng.choice((12.0, 95.0, 310.0, 1580.0)))
    line = None
    if fault in ("wrong-line", "wrong-side"):
        line, at = _line(rng, count, north, east)
        count = len(at)
    else:
        at = _plan(rng, count, across) + np.array((north, east))
    z = ground + (at - at[0]) @ rng.normal(0, 0.01, 2) + rng.uniform(-1.0, 1.0, count)
    unit = str(rng.choice(list(UNITS)))
    decimals = 3 if unit == "metre" else int(rng.choice((3, 4)))
    step = UNITS[unit]
    design = np.column_stack((at, z))
    if line is None:
        design = np.round(design / step, decimals) * step
    marks = int(rng.choice((0, 2, 3, 4, 6)))
    if fault == "disturbed-mark":
        marks = int(rng.integers(4, 8))
    box = at.min(axis=0) - 20.0, at.max(axis=0) + 20.0
    spots = rng.uniform(0, 1, (marks, 2)) * (box[1] - box[0]) + box[0]
    known = np.column_stack((spots, ground + rng.uniform(-2, 2, marks)))
    known = np.round(known / step, decimals) * step
    mark = np.tile(np.arange(marks), int(rng.integers(1, 4)))
    rows = count + len(mark)
    sessions = int(rng.integers(2 if fault == "base-moved" else 1, 5))
    session = np.resize(np.arange(sessions), rows)
    if rng.random() < 0.5:
        session[:count] = np.arange(count) * sessions // count
    columns, file = _columns(rng, fault, session)
    poles: tuple[float, ...] = ()
    if rng.random() < 0.4:
        columns["pole"] = [f"{2.0 / step:.3f}"] * rows
        poles = (2.0,)
    style = int(rng.integers(3))
    numbers = [(str(1001 + i), f"S-{i + 1}", f"{'ABCD'[i % 4]}{i // 4 + 1}") for i in range(count)]
    layer = ["STAKES"] * count
    if line is None and rng.random() < 0.4:
        layer[count // 2 :] = ["KERB"] * (count - count // 2)
    shown = float(rng.choice((1.0, 1 / 1.7, 0.0) if hard else (1.0, 1.0, 0.0)))
    sigma = np.array((0.005, 0.0085)) * 2.0 ** float(rng.uniform(0.0, 1.3))
    seen = np.vstack((design, known[mark]))
    seen = seen + rng.normal(0, 1, (rows, 3)) * (sigma[0], sigma[0], sigma[1])
    seen += (rng.normal(0, 1, (sessions, 3)) * (0.002, 0.002, 0.003))[session]
    staking = float(rng.uniform(0.004, 0.016) if hard else rng.uniform(0.0, 0.006))
    seen[:count] += rng.normal(0, staking, (count, 3))
    return Site(
        rng=rng,
        unit=unit,
        crs=crs,
        other=other,
        lonlat=lonlat,
        epoch=epoch,
        design=design,
        layer=layer,
        ids=[each[style] for each in numbers],
        known=known,
        marks=[f"{('CP', 'BM', 'M')[style]}{i + 1}" for i in range(marks)],
        mark=mark,
        line=line,
        decimals=decimals,
        session=session,
        seen=seen,
        file=file,
        columns=columns,
        poles=poles,
        shown=shown,
        sigma=sigma,
        drawing=line is not None or bool(rng.random() < 0.3),
    )


def _columns(rng: Rng, fault: str, session: IntArray) -> tuple[dict[str, list[str]], IntArray]:
    """Return what splits the shots: a session or base column, times, files."""
    columns: dict[str, list[str]] = {}
    if rng.random() < 0.7 or fault == "base-moved":
        word = str(rng.choice(("session", "base")))
        start = "RB" if word == "base" else "T"
        columns[word] = [f"{start}{k + 1}" for k in session.tolist()]
    if rng.random() < 0.4:
        columns["time"] = [
            f"2031-04-{10 + k:02d}T{8 + i % 8:02d}:{i % 60:02d}:00Z"
            for i, k in enumerate(session.tolist())
        ]
    split = rng.random() < 0.3
    return columns, session % 2 if split else np.zeros(len(session), dtype=np.int64)


# ---------------------------------------------------------------- writing


def write_site(site: Site, folder: Path) -> Path:
    """Write a site as a job folder and return it."""
    folder.mkdir(parents=True, exist_ok=True)
    text = ['[job]\ntitle = "Invented"', f'unit = "{site.unit}"', "date = 2031-04-18"]
    if site.crs:
        text += ["[reference]", f'crs = "{site.crs}"', f'epoch = "{site.epoch}"']
    text.append("[design]")
    if site.drawing:
        text.append('drawing = "plan.dxf"')
        (folder / "plan.dxf").write_text(_dxf(site), encoding="utf-8")
    else:
        text.append('points = "plan.csv"')
        cells = _cells(site, site.design, site.ids)
        _write(folder / "plan.csv", ["Pt", "N", "E", "Z"], cells)
    if site.older is not None:
        text.append('older = ["plan-a.csv"]')
        _write(folder / "plan-a.csv", ["Pt", "N", "E", "Z"], _cells(site, site.older, site.ids))
    names = _measured(site, folder)
    text += ["[measured]", f"files = [{', '.join(f'{chr(34)}{n}{chr(34)}' for n in names)}]"]
    if len(site.mark):
        cells = _cells(site, site.known, site.marks)
        _write(folder / "control.csv", ["id", "northing", "easting", "elevation"], cells)
        text += ["[control]", 'file = "control.csv"', 'tolerance = "t"']
    text += ["[tolerance.t]", 'horizontal = "30 mm"', 'vertical = "40 mm"']
    if site.line is not None:
        text += ["[alignment.CL]", 'layer = "CL"']
        _stakes(site, site.line, folder)
    text += _stakeouts(site)
    (folder / "job.toml").write_text("\n".join(text) + "\n", encoding="utf-8")
    return folder


def _stakes(site: Site, line: Line, folder: Path) -> None:
    """Write the table of stakes by station and offset."""
    if line.by_table:
        stations, heights = line.station * site.metre, site.design[:, 2] * site.metre
        rows = [
            [name, f"{s:.4f}", "0.0", f"{z:.4f}"]
            for name, s, z in zip(site.ids, stations.tolist(), heights.tolist(), strict=True)
        ]
        _write(folder / "stakes.csv", ["id", "station", "offset", "elevation"], rows)


def _stakeouts(site: Site) -> list[str]:
    """Return the sections of job.toml that ask for the checks."""
    text: list[str] = []
    on_line = site.line is not None and site.line.by_table
    for layer in sorted(set(site.layer)):
        text += ["[[stakeout]]", f'name = "{layer.title()}"', 'tolerance = "t"']
        if site.drawing and not on_line:
            text.append(f'design = {{ layer = "{layer}" }}')
        if on_line:
            text.append('design = { stakes = "stakes.csv" }')
        if site.line is not None:
            text.append('alignment = "CL"')
            if site.line.offset_m:
                side = "right" if site.line.offset_m > 0 else "left"
                size = abs(site.line.offset_m)
                text.append(f'stake_offset = {{ offset = "{size:g} m", side = "{side}" }}')
        if not site.drawing:
            break
    return text


def _cells(site: Site, at: FloatArray, names: list[str]) -> list[list[str]]:
    out = []
    for name, place in zip(names, (at * site.metre).tolist(), strict=True):
        out.append([name, *("" if math.isnan(v) else f"{v:.{site.decimals}f}" for v in place)])
    return out


def _measured(site: Site, folder: Path) -> list[str]:
    cells = _cells(site, site.seen, site.ids + [site.marks[k] for k in site.mark.tolist()])
    for (row, axis), value in site.typed.items():
        cells[row][1 + axis] = f"{value:.{site.decimals}f}"
    heads = ["Pt", "Northing", "Easting", "Elevation", *site.columns]
    if site.shown:
        stored = site.sigma * site.shown * site.metre
        heads += ["sigma_h", "sigma_z"]
        tail = [f"{stored[0] * math.sqrt(2):.4f}", f"{stored[1]:.4f}"]
    cells = [
        [*row, *(column[i] for column in site.columns.values()), *(tail if site.shown else ())]
        for i, row in enumerate(cells)
    ]
    names = []
    for k in np.unique(site.file).tolist():
        names.append(f"rover-{k + 1}.csv")
        _write(folder / names[-1], heads, [row for i, row in enumerate(cells) if site.file[i] == k])
    return names


def _write(path: Path, heads: list[str], rows: list[list[str]]) -> None:
    path.write_text("\n".join(",".join(row) for row in [heads, *rows]) + "\n", encoding="utf-8")


def _dxf(site: Site) -> str:
    from ezdxf.filemanagement import new

    drawing = new("R2010")
    drawing.header["$INSUNITS"] = {"metre": 6, "foot": 2, "us-survey-foot": 21}[site.unit]
    space = drawing.modelspace()
    if site.line is not None:
        at = (site.line.corners * site.metre).tolist()
        space.add_lwpolyline([(e, n) for n, e in at], dxfattribs={"layer": "CL"})
    if site.line is None or not site.line.by_table:
        for name, layer, (n, e, z) in zip(
            site.ids, site.layer, (site.design * site.metre).tolist(), strict=True
        ):
            space.add_point((e, n, z), dxfattribs={"layer": layer})
            text = space.add_text(name, height=0.3, dxfattribs={"layer": layer})
            text.set_placement((e, n))
    out = io.StringIO()
    drawing.write(out)
    return out.getvalue()
