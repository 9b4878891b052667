"""Results made by hand: an invented job that has every kind of check and every verdict."""

import datetime
from dataclasses import replace
from pathlib import Path

import numpy as np

from checker.errors import Where
from checker.formulas import parse_formula
from checker.model.arrays import BoolArray, FloatArray, IntArray, TextArray
from checker.model.drawing import Drawing, EntityCount, Notice, Polyline
from checker.model.finding import Finding, Results
from checker.model.inputs import InputFile, Inputs
from checker.model.job import (
    ControlInput,
    DesignInput,
    Exclusion,
    Gate,
    Job,
    MeasuredInput,
    Reference,
    Rule,
    Status,
    Tolerance,
)
from checker.model.measure import Column, Comparison, Item, Measure, Quantity
from checker.model.points import Points, Quality
from checker.units import LengthUnit
from checker.verdicts.judge import judge
from checker.verdicts.overall import overall

UNIT = LengthUnit.US_SURVEY_FOOT
FT = UNIT.metres


def text_array(*texts: str) -> TextArray:
    return np.array(texts, dtype=object)


def blank(count: int) -> TextArray:
    return np.full(count, "", dtype=object)


def tolerance(
    name: str, *, source: str | None = None, guarded: bool = False, **limits: str
) -> Tolerance:
    ratio = limits.pop("ratio", None)
    angular = limits.pop("angular", None)
    made = Tolerance(
        name=name,
        ratio=float(ratio.split(":")[1]) if ratio else None,
        angular=parse_formula(angular, "angle", UNIT) if angular else None,
        rule=Rule.GUARDED if guarded else Rule.SIMPLE,
        source=source,
    )
    for key, text in limits.items():
        made = replace(made, **{key: parse_formula(text, "length", UNIT)})  # type: ignore[arg-type]
    return made


def points(ids: list[str], n: FloatArray, e: FloatArray, z: FloatArray) -> Points:
    count = len(ids)
    rng = np.random.default_rng(5)
    return Points(
        id=text_array(*ids),
        northing_m=n,
        easting_m=e,
        elevation_m=z,
        description=text_array(*[f"shot {i}" for i in ids]),
        layer=blank(count),
        handle=blank(count),
        file=np.zeros(count, dtype=np.int64),
        line=np.arange(2, count + 2),
        files=("rover-day1.csv",),
        quality=Quality(
            solution=text_array(*["float" if i == 20 else "fixed" for i in range(count)]),
            satellites=rng.integers(9, 17, count).astype(np.float64),
            pdop=rng.uniform(1.2, 3.1, count),
            sigma_h_m=rng.uniform(0.004, 0.009, count),
            sigma_z_m=rng.uniform(0.008, 0.014, count),
            time=(
                np.datetime64("2031-04-17T13:00:00", "ms")
                + (np.arange(count) * 45_000).astype("timedelta64[ms]")
            ),
        ),
    )


def stake_measure(
    name: str,
    limits: Tolerance | None,
    ids: list[str],
    design: tuple[FloatArray, FloatArray, FloatArray],
    shot: tuple[FloatArray, FloatArray, FloatArray],
    shots: IntArray,
    *,
    kind: str = "stakeout",
    sigma_h: float = 0.006,
    sigma_z: float = 0.004,
    descriptions: list[str] | None = None,
    superseded: BoolArray | None = None,
    unchecked: TextArray | None = None,
    said: TextArray | None = None,
) -> Measure:
    count = len(ids)
    dn, de, dz = (b - a for a, b in zip(design, shot, strict=True))
    there = np.isfinite(dn)
    sh = np.where(there, sigma_h, np.nan)
    sz = np.where(np.isfinite(shot[2]), sigma_z, np.nan)
    none = np.full(count, np.nan)
    old = np.zeros(count, dtype=np.bool_) if superseded is None else superseded
    length, place = Quantity.LENGTH, Quantity.COORDINATE
    bearing = np.where(np.hypot(dn, de) > 0, np.arctan2(de, dn) % (2 * np.pi), np.nan)
    columns = (
        Column(key="design_n", label="Design northing", quantity=place, values=design[0]),
        Column(key="design_e", label="Design easting", quantity=place, values=design[1]),
        Column(key="design_z", label="Design elevation", quantity=place, values=design[2]),
        Column(key="measured_n", label="Measured northing", quantity=place, values=shot[0]),
        Column(key="measured_e", label="Measured easting", quantity=place, values=shot[1]),
        Column(key="measured_z", label="Measured elevation", quantity=place, values=shot[2]),
        Column(key="dn", label="ΔN", quantity=length, values=dn),
        Column(key="de", label="ΔE", quantity=length, values=de),
        Column(key="dz", label="ΔZ", quantity=length, values=dz),
        Column(key="horizontal", label="Horizontal", quantity=length, values=np.hypot(dn, de)),
        Column(key="bearing", label="Bearing", quantity=Quantity.ANGLE, values=bearing),
        Column(key="along", label="Along", quantity=length, values=none),
        Column(key="across", label="Across", quantity=length, values=none),
        Column(key="cut_fill", label="Cut / fill", quantity=Quantity.CUT_FILL, values=dz),
        Column(key="station", label="Station", quantity=length, values=none),
        Column(key="offset", label="Offset", quantity=length, values=none),
        Column(key="sigma_h", label="σ horizontal", quantity=length, values=sh),
        Column(key="sigma_z", label="σ height", quantity=length, values=sz),
        Column(key="superseded", label="Superseded", quantity=Quantity.FLAG, values=old),
        Column(
            key="description",
            label="Description",
            quantity=Quantity.TEXT,
            values=text_array(*(descriptions or ["" for _ in ids])),
            detail=True,
        ),
    )
    each = sh / np.sqrt(2)
    why = text_array(*["the design gives no elevation" if np.isnan(z) else "" for z in design[2]])
    comparisons = (
        Comparison(
            limit="horizontal",
            label="horizontal",
            value=np.hypot(dn, de),
            sigma=sh,
            vector=np.stack([dn, de], axis=1),
            vector_sigma=np.stack([each, each], axis=1),
        ),
        Comparison(limit="vertical", label="height", value=dz, sigma=sz, absent=why),
    )
    known = np.hypot(dn, de)[there]
    return Measure(
        kind=kind,
        name=name,
        where=Where(file="job.toml", line=48),
        tolerance=limits,
        id=text_array(*ids),
        columns=columns,
        summary=(
            Item(key="points", label="Design points", quantity=Quantity.COUNT, value=float(count)),
            Item(
                key="staked",
                label="Staked",
                quantity=Quantity.COUNT,
                value=float(np.count_nonzero(there)),
            ),
            Item(key="mean_n", label="Mean ΔN", quantity=length, value=float(np.nanmean(dn))),
            Item(
                key="max_horizontal",
                label="Largest horizontal",
                quantity=length,
                value=float(known.max()),
            ),
            Item(key="mean_z", label="Mean ΔZ", quantity=length, value=None),
        ),
        comparisons=comparisons,
        judged_by_row=True,
        shots=shots.reshape(-1, 1),
        used=shots[shots >= 0],
        unchecked=blank(count) if unchecked is None else unchecked,
        undecided=blank(count),
        said=blank(count) if said is None else said,
        counted=~old,
        remarks=("The re-staked point keeps its first shot as a row that is not counted.",),
    )


def traverse_measure() -> Measure:
    """A loop of five stations on an invented figure; its misclosure is planted."""
    n = (np.array([512300.0, 512420.0, 512250.0, 512080.0, 512100.02]) * FT).astype(np.float64)
    e = (np.array([618260.0, 618540.0, 618700.0, 618480.0, 618200.03]) * FT).astype(np.float64)
    start_n, start_e = 512100.0 * FT, 618200.0 * FT
    latitude, departure = np.diff(n, prepend=start_n), np.diff(e, prepend=start_e)
    legs = np.hypot(latitude, departure)
    off_n, off_e = 0.02 * FT, 0.03 * FT
    size = float(np.hypot(off_n, off_e))
    total = float(legs.sum())
    share = np.cumsum(legs) / total
    place, away = Quantity.COORDINATE, Quantity.DISTANCE
    return Measure(
        kind="traverse",
        name="Control loop",
        where=Where(file="job.toml", line=90),
        tolerance=tolerance(
            "loop", misclosure="0.10 ft", ratio="1:10000", angular="20 arcsec * sqrt(n)"
        ),
        id=text_array("T2", "T3", "T4", "T5", "CP1"),
        columns=(
            Column(key="n", label="Northing", quantity=place, values=n),
            Column(key="e", label="Easting", quantity=place, values=e),
            Column(
                key="adjusted_n",
                label="Adjusted northing",
                quantity=place,
                values=n - share * off_n,
            ),
            Column(
                key="adjusted_e", label="Adjusted easting", quantity=place, values=e - share * off_e
            ),
            Column(key="latitude", label="Latitude", quantity=away, values=latitude),
            Column(key="departure", label="Departure", quantity=away, values=departure),
            Column(
                key="azimuth",
                label="Azimuth",
                quantity=Quantity.ANGLE,
                values=np.arctan2(departure, latitude) % (2 * np.pi),
            ),
            Column(key="distance", label="Distance", quantity=away, values=legs),
        ),
        summary=(
            Item(key="legs", label="Legs", quantity=Quantity.COUNT, value=5.0),
            Item(
                key="angular_misclosure_arcsec",
                label="Angular misclosure",
                quantity=Quantity.SMALL_ANGLE,
                value=float(np.radians(-11.0 / 3600)),
            ),
            Item(
                key="misclosure_n",
                label="Misclosure in northing",
                quantity=Quantity.LENGTH,
                value=off_n,
            ),
            Item(
                key="misclosure_e",
                label="Misclosure in easting",
                quantity=Quantity.LENGTH,
                value=off_e,
            ),
            Item(key="misclosure", label="Misclosure", quantity=Quantity.LENGTH, value=size),
            Item(key="length", label="Length", quantity=away, value=total),
            Item(key="ratio", label="Closure ratio", quantity=Quantity.RATIO, value=total / size),
            Item(key="area", label="Area", quantity=Quantity.AREA, value=11894.5),
        ),
        comparisons=(
            Comparison(
                limit="angular",
                label="angular misclosure",
                value=np.radians([-11.0 / 3600]),
                n=np.array(5.0),
            ),
            Comparison(limit="misclosure", label="misclosure", value=np.array([size])),
            Comparison(limit="ratio", label="closure ratio", value=np.array([size / total])),
        ),
        judged_by_row=False,
        shots=np.full((5, 1), -1),
        used=np.empty(0, dtype=np.int64),
        unchecked=blank(5),
        undecided=blank(5),
        said=blank(5),
        counted=np.ones(5, dtype=np.bool_),
        remarks=("The angles close on the azimuth from CP1 to T5.",),
    )


def level_measure() -> Measure:
    z = np.array([341.210, 343.055, 342.100, 345.332, 342.880, 341.236]) * FT
    count = len(z)
    distance = np.array([np.nan, 210.0, 185.0, 240.0, 230.0, 260.0]) * FT
    off = 0.026 * FT
    return Measure(
        kind="levels",
        name="Bench mark run",
        where=Where(file="job.toml", line=104),
        tolerance=tolerance("levels", misclosure="0.05 ft * sqrt(mi)"),
        id=text_array("BM1", "TP1", "TP2", "BM2", "TP3", "BM1"),
        columns=(
            Column(key="elevation", label="Elevation", quantity=Quantity.COORDINATE, values=z),
            Column(
                key="adjusted_elevation",
                label="Adjusted elevation",
                quantity=Quantity.COORDINATE,
                values=z - np.linspace(0, off, count),
            ),
            Column(
                key="distance",
                label="Distance",
                quantity=Quantity.DISTANCE,
                values=distance,
                detail=True,
            ),
        ),
        summary=(
            Item(key="misclosure", label="Misclosure", quantity=Quantity.LENGTH, value=off),
            Item(
                key="distance",
                label="Distance levelled",
                quantity=Quantity.DISTANCE,
                value=float(np.nansum(distance)),
            ),
            Item(key="setups", label="Set-ups", quantity=Quantity.COUNT, value=5.0),
        ),
        comparisons=(
            Comparison(
                limit="misclosure",
                label="misclosure",
                value=np.array([off]),
                n=np.array(5.0),
                length_m=np.array(float(np.nansum(distance))),
            ),
        ),
        judged_by_row=False,
        shots=np.full((count, 1), -1),
        used=np.empty(0, dtype=np.int64),
        unchecked=blank(count),
        undecided=blank(count),
        said=blank(count),
        counted=np.ones(count, dtype=np.bool_),
    )


def repeat_measure() -> Measure:
    dn = np.array([0.010, -0.012, 0.006, 0.055, 0.004]) * FT
    de = np.array([-0.008, 0.004, 0.011, 0.030, -0.009]) * FT
    dz = np.array([0.018, -0.022, 0.009, 0.071, -0.012]) * FT
    plan = np.hypot(dn, de)
    length = Quantity.LENGTH
    ids = ("104", "109", "121", "133", "140")
    return Measure(
        kind="repeats",
        name="Repeats hours apart",
        where=Where(file="job.toml", line=120),
        tolerance=tolerance("repeat", horizontal="0.05 ft", vertical="0.06 ft"),
        id=text_array(*ids),
        columns=(
            Column(key="count", label="Shots", quantity=Quantity.COUNT, values=np.full(5, 2.0)),
            Column(key="dn", label="ΔN", quantity=length, values=dn),
            Column(key="de", label="ΔE", quantity=length, values=de),
            Column(key="dz", label="ΔZ", quantity=length, values=dz),
            Column(key="horizontal", label="Horizontal", quantity=length, values=plan),
            Column(
                key="apart_h",
                label="Apart",
                quantity=Quantity.HOURS,
                values=np.array([5.2, 5.1, 6.0, 4.4, 4.9]),
            ),
        ),
        summary=(Item(key="repeats", label="Repeats", quantity=Quantity.COUNT, value=5.0),),
        comparisons=(
            Comparison(limit="horizontal", label="horizontal", value=plan),
            Comparison(limit="vertical", label="height", value=dz),
        ),
        judged_by_row=True,
        shots=np.full((5, 1), -1),
        used=np.empty(0, dtype=np.int64),
        unchecked=blank(5),
        undecided=blank(5),
        said=blank(5),
        counted=np.ones(5, dtype=np.bool_),
        remarks=("A stake that was re-set shows up here as a repeat that differs.",),
    )


def _layout() -> tuple[list[str], FloatArray, FloatArray, FloatArray, list[str]]:
    """76 invented stakes: a building, a wet well, a force main and a fence."""
    ids: list[str] = []
    n: list[float] = []
    e: list[float] = []
    z: list[float] = []
    what: list[str] = []

    def add(north: float, east: float, height: float, description: str) -> None:
        ids.append(str(101 + len(ids)))
        n.append(512000.0 + north)
        e.append(618000.0 + east)
        z.append(height)
        what.append(description)

    for i in range(4):
        for j in range(4):
            add(60.0 + 24.0 * i, 40.0 + 30.0 * j, 342.5, "building grid")
    for i in range(12):
        angle = 2 * np.pi * i / 12
        add(100.0 + 9 * np.cos(angle), 190.0 + 9 * np.sin(angle), 338.25, "anchor bolt, wet well")
    for i in range(22):
        add(90.0 - 1.5 * i, 215.0 + 18.0 * i, 336.0 - 0.09 * i, "force main")
    for i in range(26):
        t = i / 26 * 4
        side, f = int(t), t - int(t)
        corner = [(30, 10), (160, 10), (160, 230), (30, 230), (30, 10)]
        a, b = corner[side], corner[side + 1]
        add(a[0] + f * (b[0] - a[0]), a[1] + f * (b[1] - a[1]), np.nan, "fence post")
    return ids, np.array(n) * FT, np.array(e) * FT, np.array(z) * FT, what


def make(
    *,
    title: str = "Fennel Creek lift station (invented)",
    notes: str = "# Notes\n\nAll data of this job are **invented**.\n\n- Wind from the west.\n",
    ids: list[str] | None = None,
    descriptions: list[str] | None = None,
) -> Results:
    """Return results with every verdict; ids and descriptions replace those of the first stakes."""
    names, n, e, z, what = _layout()
    for index, text in enumerate(ids or []):
        names[index] = text
    for index, text in enumerate(descriptions or []):
        what[index] = text
    rng = np.random.default_rng(7)
    count = len(names)
    dn, de = (rng.normal(0, 0.007, count) * FT for _ in range(2))
    dz = rng.normal(0, 0.006, count) * FT
    main = np.array([text == "force main" for text in what])
    fence = np.array([text == "fence post" for text in what])
    dn[fence] *= 6
    de[fence] *= 6
    dz[main] *= 2
    dn[4], de[4] = 0.032 * FT, 0.021 * FT
    dz[30], dz[36] = -0.071 * FT, 0.0504 * FT
    dn[18] = 0.0214 * FT
    shot = (n + dn, e + de, z + dz)
    for each in shot:
        each[60] = np.nan
    shots = np.arange(count)
    shots[60] = -1
    source = "contract 01 71 23, 3.2 (invented)"
    structure = tolerance("structure", horizontal="0.03 ft", vertical="0.02 ft", source=source)
    anchor = tolerance("anchor", horizontal="0.02 ft", vertical="0.02 ft", guarded=True)
    pipe = tolerance("pipe", horizontal="0.10 ft", above="0.05 ft", below="0.05 ft")
    groups = {
        "Building corners": (slice(0, 16), structure),
        "Anchor bolts": (slice(16, 28), anchor),
        "Force main": (slice(28, 50), pipe),
        "Fence": (slice(50, 76), tolerance("fence", horizontal="0.20 ft")),
    }
    measures = []
    for name, (part, limits) in groups.items():
        chosen = names[part]
        measures.append(
            stake_measure(
                name,
                limits,
                chosen,
                (n[part], e[part], z[part]),
                (shot[0][part], shot[1][part], shot[2][part]),
                shots[part],
                descriptions=what[part],
                sigma_h=0.0016,
                sigma_z=0.0013,
                unchecked=text_array(
                    *["not staked" if s < 0 else "" for s in shots[part].tolist()]
                ),
            )
        )
    control_n = np.array([512020.0, 512180.0, 512150.0]) * FT
    control_e = np.array([618000.0, 618020.0, 618420.0]) * FT
    control_z = np.array([341.21, 345.332, 339.9]) * FT
    control = stake_measure(
        "control",
        tolerance("control", horizontal="0.04 ft", vertical="0.05 ft"),
        ["CP1", "BM2", "CP3"],
        (control_n, control_e, control_z),
        (control_n + 0.011 * FT, control_e - 0.006 * FT, control_z + 0.03 * FT),
        np.array([76, 77, 78]),
        kind="control",
    )
    staked = [
        np.where(np.isfinite(axis), axis, base) for axis, base in zip(shot[:2], (n, e), strict=True)
    ]
    measured = points(
        [*names, "CP1", "BM2", "CP3", "topo-1"],
        np.concatenate([staked[0], control_n, [512001.0 * FT]]),
        np.concatenate([staked[1], control_e, [618001.0 * FT]]),
        np.concatenate([shot[2], control_z, [np.nan]]),
    )
    doubts = blank(len(measured))
    doubts[20] = "solution float, fixed asked"
    everything = [control, *measures, traverse_measure(), level_measure(), repeat_measure()]
    findings = tuple(judge(measure, doubts, UNIT) for measure in everything)
    return results_of(findings, measured, doubts, title=title, notes=notes)


def results_of(
    findings: tuple[Finding, ...],
    measured: Points,
    doubts: TextArray,
    *,
    title: str = "Invented",
    notes: str = "",
) -> Results:
    verdict, counts = overall(findings)
    where = Where(file="job.toml", line=1)
    square = np.array([[0.0, 0.0], [90.0, 0.0], [90.0, 72.0], [0.0, 72.0]])
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    ring = np.stack([190 + 12 * np.sin(angle), 100 + 12 * np.cos(angle)], axis=1)
    line = np.array([[215.0 + 18 * i, 90.0 - 1.5 * i] for i in range(22)])
    origin = np.array([618000.0, 512000.0])
    drawing = Drawing(
        path="design.dxf",
        version="AC1027",
        header_unit="US survey feet",
        points=measured,
        linework=tuple(
            Polyline(layer="PLAN", xy_m=(xy + origin) * FT, closed=closed)
            for xy, closed in ((square + np.array([40, 60]), True), (ring, True), (line, False))
        ),
        counts=(
            EntityCount(layer="STAKE-STRUCT", kind="POINT", count=76, used_as="design point"),
            EntityCount(layer="PLAN", kind="LWPOLYLINE", count=3, used_as="linework"),
        ),
        notices=(
            Notice(
                slug="unlabelled-point",
                where=Where(file="design.dxf", part="layer STAKE-STRUCT"),
                message="one point has no label; it is called @2F",
            ),
        ),
    )
    job = Job(
        file="job.toml",
        root=Path("/nowhere"),
        title=title,
        unit=UNIT,
        number="FC-031",
        client="Fennel Creek Sewer District (invented)",
        surveyed_by="A. Party, B. Chief (invented)",
        responsible="C. Responsible, LS 00000 (invented)",
        status=Status.DRAFT,
        date=datetime.date(2031, 4, 17),
        reference=Reference(crs="EPSG:6527", vertical="NAVD 88"),
        design=DesignInput(where=where, drawings=("design.dxf",), unit=UNIT, revision="C"),
        measured=MeasuredInput(
            where=where,
            files=("rover-day1.csv",),
            unit=UNIT,
            exclude=(Exclusion(id="107x", reason="tripod was hit", where=where),),
        ),
        control=ControlInput(where=where, file="control.csv", unit=UNIT),
        gate=Gate(where=where, solution=("fixed",), satellites=6, pdop=4.0, pole_m=(2.0,)),
        tolerances=tuple(f.measure.tolerance for f in findings if f.measure.tolerance)[:4],
    )
    used = np.concatenate([np.empty(0, dtype=np.int64), *(f.measure.used for f in findings)])
    unused: IntArray = np.setdiff1d(np.arange(len(measured)), used)
    return Results(
        job=job,
        inputs=Inputs(
            files=(
                InputFile(path="job.toml", role="job", size=2210, sha256="0" * 64),
                InputFile(path="design.dxf", role="drawing", size=84213, sha256="ab" * 32),
                InputFile(path="rover-day1.csv", role="points", size=6214, sha256="cd" * 32),
            ),
            measured=measured,
            design=measured,
            drawings=(drawing,),
            notes=notes,
            notices=drawing.notices,
        ),
        findings=findings,
        verdict=verdict,
        counts=counts,
        unused=unused,
        doubts=doubts,
    )


def many(count: int) -> Results:
    """Return a job of so many stakes, a few of them outside."""
    rng = np.random.default_rng(11)
    side = int(np.ceil(np.sqrt(count)))
    index = np.arange(count)
    north: FloatArray = np.asarray((512000.0 + 20.0 * (index // side)) * FT, dtype=np.float64)
    east: FloatArray = np.asarray((618000.0 + 20.0 * (index % side)) * FT, dtype=np.float64)
    design = (north, east, rng.uniform(330, 350, count) * FT)
    shot = (
        design[0] + rng.normal(0, 0.008 * FT, count),
        design[1] + rng.normal(0, 0.008 * FT, count),
        design[2] + rng.normal(0, 0.008 * FT, count),
    )
    ids = [f"S{number}" for number in range(1, count + 1)]
    measure = stake_measure(
        "Grid",
        tolerance("grid", horizontal="0.03 ft", vertical="0.03 ft"),
        ids,
        design,
        shot,
        index,
        descriptions=["grid stake"] * count,
    )
    doubts = blank(count)
    finding = judge(measure, doubts, UNIT)
    return results_of((finding,), points(ids, *shot), doubts, title="Many stakes (invented)")


def superseded() -> Results:
    """Return three rows, of which the last is an earlier shot of the first stake."""
    n = np.array([10.0, 20.0, 10.0])
    e = np.array([1.0, 2.0, 1.0])
    z = np.array([5.0, 6.0, 5.0])
    shift = np.array([0.001, 0.002, 0.2])
    old = np.array([False, False, True])
    measure = stake_measure(
        "Few",
        tolerance("t", horizontal="0.03 ft", vertical="0.03 ft"),
        ["1", "2", "1"],
        (n, e, z),
        (n + shift, e, z),
        np.arange(3),
        superseded=old,
    )
    doubts = blank(3)
    finding = judge(measure, doubts, UNIT)
    return results_of((finding,), points(["1", "2", "1"], n + shift, e, z), doubts)
