"""Odd but legal job folders, each with one known blunder, two, or none: a third maker of trials.

Where `blunders.py` and `site_folders.py` make the usual job, this one makes the others: two
blunders at once, one that befell a single day, file, base, session, pole, layer or check, heights
without plan and plan without heights, no standard deviations and no sessions, six stakes, five
thousand, a job of check shots alone. All is drawn from a seed.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from checker.model.arrays import BoolArray, FloatArray, IntArray

Rng = np.random.Generator

UNITS = {"metre": 1.0, "foot": 0.3048, "us-survey-foot": 1200.0 / 3937.0}
_PLACES = ((820.0, 1340.0), (5_000.0, 5_000.0), (312_600.0, 724_100.0), (4_431_000.0, 388_200.0))
_SPLITS = ("session", "base", "day", "file", "pole", "layer", "check")


@dataclass
class Told:
    """What was done. slugs: names that are right for it. parameter: as results.json has it."""

    slugs: tuple[str, ...]
    parameter: dict[str, float] = field(default_factory=dict)
    by: str = "all"
    group: str = ""
    ids: tuple[str, ...] = ()


@dataclass
class Odd:
    """A job before it is written, metres. seen: stakes, then check shots. text: what splits them.

    plan, tall: whether coordinates in plan, heights, carry a limit and are worth looking at.
    """

    rng: Rng
    unit: str
    design: FloatArray
    ids: list[str]
    known: FloatArray
    marks: list[str]
    mark: IntArray
    seen: FloatArray
    sigma: tuple[float, float]
    shown: float
    text: dict[str, list[str]] = field(default_factory=dict)
    file: list[str] = field(default_factory=list)
    layer: list[str] = field(default_factory=list)
    tall: bool = True
    plan: bool = True

    @property
    def n(self) -> int:
        return len(self.design)

    @property
    def per_metre(self) -> float:
        return 1.0 / UNITS[self.unit]

    @property
    def all(self) -> BoolArray:
        return np.ones(len(self.seen), dtype=np.bool_)

    @property
    def stakes(self) -> BoolArray:
        return np.asarray(np.arange(len(self.seen)) < self.n)

    def side(self) -> float:
        return float(self.rng.choice((-1.0, 1.0)))

    def flat(self, low: float, high: float) -> tuple[float, float]:
        size = low * (high / low) ** self.rng.random()
        turn = 2.0 * math.pi * self.rng.random()
        return size * math.cos(turn), size * math.sin(turn)

    def lengths(self, **metres: float) -> dict[str, float]:
        return {key: value * self.per_metre for key, value in metres.items()}


def _odd(
    rng: Rng,
    *,
    n: int = 0,
    marks: int = -1,
    shown: float = -1.0,
    large: bool = False,
    wide: float = 0.0,
) -> Odd:
    """Return a job without a blunder."""
    unit = str(rng.choice(list(UNITS)))
    step = UNITS[unit]
    north, east = _PLACES[int(rng.integers(2 if large else 0, 4))]
    n = n or int(rng.integers(14, 70))
    marks = int(rng.choice((0, 3, 5))) if marks < 0 else marks
    wide = wide or float(rng.uniform(90.0, 420.0))

    def places(count: int, low: float) -> FloatArray:
        at = rng.uniform(0.0, 1.0, (count, 3)) * (wide, wide * 0.7, 3.0) + (north, east, low)
        return np.asarray(np.round(at / step, 3) * step)

    low = float(rng.choice((14.0, 130.0, 870.0)))
    design, known = places(n, low), places(marks, low)
    mark = np.tile(np.arange(marks), 2)
    sigma = float(rng.uniform(0.005, 0.010))
    tall = sigma * float(rng.uniform(1.4, 2.0))
    seen = np.vstack((design, known[mark]))
    seen = seen + rng.normal(0.0, 1.0, seen.shape) * (sigma, sigma, tall)
    seen[:n] += rng.normal(0.0, float(rng.uniform(0.0, 0.008)), (n, 3))
    start = int(rng.choice((1, 101, 2001)))
    return Odd(
        rng=rng,
        unit=unit,
        design=design,
        ids=[str(start + i) for i in range(n)],
        known=known,
        marks=[f"K{i + 1}" for i in range(marks)],
        mark=mark,
        seen=seen,
        sigma=(sigma, tall),
        shown=float(rng.choice((1.0, 1.0 / 1.6, 0.0))) if shown < 0.0 else shown,
        file=["shots.csv"] * len(seen),
        layer=["STAKE"] * n,
    )


def _parted(job: Odd, by: str) -> tuple[BoolArray, str]:
    """Split a job by a column, in blocks or in turns; return the rows of one group, its value."""
    rows, k = len(job.seen), int(job.rng.integers(2, 4))
    code = np.arange(rows) * k // rows if job.rng.random() < 0.5 else np.arange(rows) % k
    code[job.n :] = np.arange(rows - job.n) % k
    pick = int(np.argmax(np.bincount(code[: job.n], minlength=k)))
    here = np.asarray(code == pick)
    if by in ("layer", "check"):
        here &= job.stakes
        names = [f"{'LINE' if by == 'layer' else 'Part'}-{c + 1}" for c in code.tolist()]
        job.layer = names[: job.n]
    elif by == "file":
        job.file = [f"shots-{c + 1}.csv" for c in code.tolist()]
        names = job.file
    elif by == "day":
        job.text["time"] = [
            f"2031-05-{11 + c:02d}T{7 + i % 9:02d}:{i % 60:02d}:00Z"
            for i, c in enumerate(code.tolist())
        ]
        names = [text[:10] for text in job.text["time"]]
    elif by == "pole":
        lengths = (2.0, 1.8, 1.5)
        job.text["pole"] = [f"{lengths[c] * job.per_metre:.3f}" for c in code.tolist()]
        names = [f"{round(float(t), 4):g}" for t in job.text["pole"]]
    else:
        job.text[by] = [f"{by[0].upper()}{c + 1}" for c in code.tolist()]
        names = job.text[by]
    return here, names[int(np.argmax(here))]


# ---------------------------------------------------------------- blunders


def _pole(job: Odd, here: BoolArray) -> Told:
    dz = job.side() * 0.2 if job.rng.random() < 0.6 else 2.0 * (1.0 - 0.3048)
    job.seen[here, 2] += dz
    return Told(("pole-height",), job.lengths(dz=dz))


def _height(job: Odd, here: BoolArray) -> Told:
    dz = job.side() * float(job.rng.choice((0.31, 0.42, 0.66, 0.95)))
    job.seen[here, 2] += dz
    return Told(("height-constant",), job.lengths(dz=dz))


def _step(job: Odd, here: BoolArray) -> Told:
    dn, de = job.flat(0.12, 2.0)
    job.seen[here, :2] += (dn, de)
    return Told(("shift",), job.lengths(dn=dn, de=de))


def _turn(job: Odd, here: BoolArray) -> Told:
    angle = job.side() * float(job.rng.uniform(0.05, 2.0))
    about = job.seen[here, :2].mean(axis=0)
    cos, sin = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    north, east = (job.seen[here, :2] - about).T
    job.seen[here, :2] = np.column_stack((north * cos - east * sin, north * sin + east * cos))
    job.seen[here, :2] += about
    return Told(("rotation",), {"angle_deg": angle})


def _scale(job: Odd, here: BoolArray) -> Told:
    ppm = job.side() * float(job.rng.uniform(500.0, 900.0))
    about = job.seen[here, :2].mean(axis=0) if job.rng.random() < 0.5 else np.zeros(2)
    job.seen[here, :2] = about + (job.seen[here, :2] - about) * (1.0 + ppm * 1e-6)
    return Told(("grid-ground",), {"scale_ppm": ppm})


def _foot(job: Odd, here: BoolArray) -> Told:
    factor = (UNITS["us-survey-foot"] / UNITS["foot"]) ** job.side()
    job.seen[here, :2] *= factor
    return Told(("foot-definition",), {"ppm": (factor - 1.0) * 1e6})


def _unit(job: Odd, here: BoolArray) -> Told:
    factor = float(job.rng.choice((0.3048, 1.0 / 0.3048, 1000.0, 12.0, 0.01)))
    job.seen[here] *= factor
    return Told(("unit-factor",), {"factor": factor})


def _swap(job: Odd, here: BoolArray) -> Told:
    job.seen[here] = job.seen[here][:, [1, 0, 2]]
    return Told(("axes-swapped",))


def _mirror(job: Odd, here: BoolArray) -> Told:
    axis = int(job.rng.integers(2))
    middle = float(job.seen[here, axis].mean())
    job.seen[here, axis] = 2.0 * middle - job.seen[here, axis]
    return Told(("mirrored",))


def _digits(job: Odd, here: BoolArray) -> Told:
    axis = int(job.rng.integers(2))
    value = job.seen[here, axis] * job.per_metre
    cut = math.floor(float(value.mean()) / 1e5) * 1e5 or math.floor(float(value.mean()) / 1e3) * 1e3
    job.seen[here, axis] -= cut / job.per_metre
    return Told(("dropped-digits",), {"dn" if axis == 0 else "de": -cut})


def _exchanged(job: Odd, free: IntArray) -> Told:
    for rows in (job.rng.permutation(free)[:2] for _ in range(50)):
        if np.hypot(*(job.design[rows[0]] - job.design[rows[1]])[:2]) > 4.0:
            job.seen[rows] = job.seen[rows[::-1]]
            return Told(("ids-exchanged",), ids=tuple(job.ids[row] for row in rows.tolist()))
    raise AssertionError


def _transposed(job: Odd, free: IntArray) -> Told:
    for row in job.rng.permutation(free).tolist():
        axis = int(job.rng.integers(2))
        value = job.seen[row, axis] * job.per_metre
        text = f"{value:.3f}"
        at = int(job.rng.integers(len(text) - 5))
        new = text[:at] + text[at + 1] + text[at] + text[at + 2 :]
        if abs(float(new) - value) > 5.0 and new[0] != "0":
            job.seen[row, axis] += (float(new) - value) / job.per_metre
            return Told(("transposed-digits",), {"difference": float(new) - value})
    raise AssertionError


def _stale(job: Odd, free: IntArray) -> Told:
    rows = np.sort(job.rng.permutation(free)[: max(4, job.n // 5)])
    dn, de = job.flat(0.3, 3.0)
    job.seen[rows, :2] += (dn, de)
    names = tuple(job.ids[row] for row in rows.tolist())
    return Told(("stale-revision",), job.lengths(dn=dn, de=de), ids=names)


def _disturbed(job: Odd) -> Told:
    which = int(job.rng.integers(len(job.marks)))
    dn, de = job.flat(0.15, 0.6)
    job.seen[job.n + np.flatnonzero(job.mark == which), :2] += (dn, de)
    return Told(("disturbed-mark",), job.lengths(dn=dn, de=de), ids=(job.marks[which],))


def _bad(job: Odd, share: float = 0.1) -> None:
    """Set a few stakes badly."""
    for row in job.rng.permutation(job.n)[: max(1, int(share * job.n))].tolist():
        if job.rng.random() < 0.7:
            job.seen[row, :2] += job.flat(0.05, 0.5)
        else:
            job.seen[row, 2] += job.side() * float(job.rng.uniform(0.06, 0.4))


_STEPPED = ("shift", "base-moved", "stale-revision")
_RAISED = ("height-constant", "base-moved", "stale-revision")
WHOLE: dict[str, Callable[[Odd, BoolArray], Told]] = {
    "pole": _pole,
    "height": _height,
    "step": _step,
    "turn": _turn,
    "scale": _scale,
    "foot": _foot,
    "unit": _unit,
    "swap": _swap,
    "mirror": _mirror,
    "digits": _digits,
}
LARGE = ("foot", "digits")


def _of_group(told: Told, by: str, group: str) -> Told:
    """Return a blunder of one group: what is a shift of all points has other names there."""
    told.by, told.group = by, group
    if told.slugs == ("shift",):
        told.slugs = _STEPPED
    if told.slugs == ("height-constant",):
        told.slugs = _RAISED
    return told


# ---------------------------------------------------------------- situations


def _one_group(rng: Rng, by: str) -> tuple[Odd, list[Told]]:
    drawn = by in ("layer", "check")
    kinds = [
        kind
        for kind in WHOLE
        if not (drawn and kind in ("pole", "foot", "digits", "unit"))
        and not (not drawn and kind in ("mirror", "scale"))
    ]
    kind = "pole" if by == "pole" else str(rng.choice(kinds))
    job = _odd(rng, n=int(rng.integers(20, 80)), large=kind in LARGE, wide=220.0)
    here, group = _parted(job, by)
    told = _of_group(WHOLE[kind](job, here), by, group if by != "check" else "")
    if rng.random() < 0.5:
        _bad(job, 0.05)
    return job, [told]


def _two(rng: Rng, _: str) -> tuple[Odd, list[Told]]:
    large = bool(rng.random() < 0.5)
    job = _odd(rng, n=int(rng.integers(24, 80)), marks=5, large=large, wide=260.0)
    kind = int(rng.integers(8))
    every = np.arange(job.n)
    if kind == 0:
        here, group = _parted(job, "session")
        return job, [_of_group(_pole(job, here), "session", group), _exchanged(job, every)]
    if kind == 1:
        return job, [_turn(job, job.all), _pole(job, job.all)]
    if kind == 2:
        here, group = _parted(job, "base")
        return job, [_of_group(_step(job, here), "base", group), _transposed(job, every)]
    if kind == 3:
        here, group = _parted(job, "file")
        pole = _pole(job, job.all)
        return job, [_of_group(_swap(job, here), "file", group), pole]
    if kind == 4:
        return job, [_stale(job, every), _height(job, job.all)]
    if kind == 5:
        return job, [_disturbed(job), _pole(job, job.all)]
    if kind == 6:
        here, group = _parted(job, "session")
        return job, [_scale(job, job.stakes), _of_group(_pole(job, here), "session", group)]
    here, group = _parted(job, "session")
    other = np.array(job.text["session"]) != group
    name = next(t for t in job.text["session"] if t != group)
    there = other & (np.array(job.text["session"]) == name)
    raised = _of_group(_height(job, there), "session", name)
    return job, [_of_group(_step(job, here), "session", group), raised]


def _heights_only(rng: Rng, kind: str) -> tuple[Odd, list[Told]]:
    """Grade stakes: set anywhere near the point, only their heights count."""
    job = _odd(rng)
    job.plan = False
    job.seen[: job.n, :2] += rng.normal(0.0, 0.25, (job.n, 2))
    if kind == "silent":
        return job, []
    return job, [WHOLE[str(rng.choice(("pole", "height")))](job, job.all)]


def _plan_only(rng: Rng, kind: str) -> tuple[Odd, list[Told]]:
    what = str(rng.choice(("step", "turn", "foot", "unit", "swap", "mirror", "digits")))
    job = _odd(rng, large=what in LARGE)
    job.tall = False
    return job, [] if kind == "silent" else [WHOLE[what](job, job.all)]


def _bare(rng: Rng, kind: str) -> tuple[Odd, list[Told]]:
    """No standard deviations, no sessions, no check shots: number and coordinates alone."""
    what = str(rng.choice(list(WHOLE)))
    job = _odd(rng, marks=0, shown=0.0, large=what in LARGE, wide=300.0)
    if kind == "silent":
        _bad(job)
        return job, []
    return job, [WHOLE[what](job, job.all)]


def _six(rng: Rng, kind: str) -> tuple[Odd, list[Told]]:
    what = str(rng.choice([each for each in WHOLE if each != "scale"]))
    job = _odd(rng, n=6, large=what in LARGE, wide=200.0)
    if kind == "silent":
        _bad(job, 0.2)
        return job, []
    return job, [WHOLE[what](job, job.all)]


def _many(rng: Rng, kind: str) -> tuple[Odd, list[Told]]:
    what = str(rng.choice([*WHOLE, "exchanged", "transposed", "stale"]))
    job = _odd(rng, n=5000, large=what in LARGE, wide=900.0)
    _bad(job, 0.01)
    sound = np.flatnonzero(np.hypot(*(job.seen[: job.n] - job.design)[:, :2].T) < 0.05)
    if kind == "silent":
        return job, []
    if what in WHOLE:
        return job, [WHOLE[what](job, job.all)]
    single = {"exchanged": _exchanged, "transposed": _transposed, "stale": _stale}[what]
    return job, [single(job, sound)]


def _control_only(rng: Rng, kind: str) -> tuple[Odd, list[Told]]:
    what = str(rng.choice(("pole", "height", "step", "turn", "foot", "unit", "swap", "disturbed")))
    job = _odd(rng, n=1, marks=6, large=what in LARGE, wide=500.0)
    job.design, job.ids, job.layer = job.design[:0], [], []
    job.seen, job.file = job.seen[1:], job.file[1:]
    if kind == "silent":
        return job, []
    return job, [_disturbed(job) if what == "disturbed" else WHOLE[what](job, job.all)]


SITUATIONS: dict[str, tuple[Callable[[Rng, str], tuple[Odd, list[Told]]], str]] = {
    **{f"one-{by}": (_one_group, by) for by in _SPLITS},
    "two-causes": (_two, ""),
    "heights-only": (_heights_only, ""),
    "plan-only": (_plan_only, ""),
    "bare": (_bare, ""),
    "six-stakes": (_six, ""),
    "many-stakes": (_many, ""),
    "control-only": (_control_only, ""),
    **{
        f"{name}-silent": (make, "silent")
        for name, make in (
            ("heights-only", _heights_only),
            ("plan-only", _plan_only),
            ("bare", _bare),
            ("six-stakes", _six),
            ("many-stakes", _many),
            ("control-only", _control_only),
        )
    },
}
"""Every odd situation: what makes it, and how."""


def write_odd(seed: int, situation: str, folder: Path) -> list[Told]:
    """Write the job folder of a seed and return what was done to it."""
    make, how = SITUATIONS[situation]
    job, told = make(np.random.default_rng((seed, len(situation))), how)
    _write(job, folder, by_check=situation == "one-check")
    return told


# ---------------------------------------------------------------- writing


def _write(job: Odd, folder: Path, *, by_check: bool) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    rng = job.rng
    comma = bool(rng.random() < 0.25)
    mark = ";" if comma else str(rng.choice((",", "\t", ";")))
    heads = [["P", "N", "E", "Z"], ["Point", "Northing", "Easting", "Elevation"]]
    names = heads[int(rng.integers(2))]
    turned = bool(rng.random() < 0.3)

    def table(path: str, cells: list[list[str]]) -> None:
        order = list(range(len(cells[0])))
        if turned:
            order[1:3] = [2, 1]
        if not job.tall:
            order.remove(3)
        lines = [mark.join(row[i] for i in order) for row in cells]
        text = "\n".join(lines) + "\n"
        (folder / path).write_text(text.replace(".", ",") if comma else text, encoding="utf-8")

    text = ['[job]\ntitle = "Invented, odd"', f'unit = "{job.unit}"', "date = 2031-05-11"]
    layers = sorted(set(job.layer))
    if job.n:
        text.append("[design]")
        if len(layers) > 1:
            text.append('drawing = "plan.dxf"')
            _draw(job, folder / "plan.dxf")
        else:
            text.append('points = "plan.csv"')
            table("plan.csv", [names, *_rows(job, job.design, job.ids)])
    extra, cells = _shots(job)
    files = sorted(set(job.file))
    for name in files:
        own = [row for i, row in enumerate(cells) if job.file[i] == name]
        table(name, [[*names, *extra], *own])
    text += ["[measured]", f"files = [{_quoted(files)}]"]
    if len(job.known):
        table("known.csv", [names, *_rows(job, job.known, job.marks)])
        text += ["[control]", 'file = "known.csv"', 'tolerance = "w"']
    text.append("[tolerance.w]")
    text += ['horizontal = "25 mm"'] if job.plan else []
    text += ['vertical = "35 mm"'] if job.tall else []
    text += _stakeouts(layers, by_check=by_check) if job.n else []
    (folder / "job.toml").write_text("\n".join(text) + "\n", encoding="utf-8")


def _quoted(names: list[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)


def _rows(job: Odd, at: FloatArray, ids: list[str]) -> list[list[str]]:
    values = (at * job.per_metre).tolist()
    return [[name, *(f"{v:.4f}" for v in place)] for name, place in zip(ids, values, strict=True)]


def _shots(job: Odd) -> tuple[list[str], list[list[str]]]:
    """Return the heads beside the coordinates', and the cells of all shots."""
    extra, tail = list(job.text), []
    if job.shown:
        extra += ["sigma_h", "sigma_z"][: 1 + job.tall]
        stored = (job.sigma[0] * math.sqrt(2.0), job.sigma[1])
        tail = [f"{s * job.shown * job.per_metre:.4f}" for s in stored][: 1 + job.tall]
    names = [*job.ids, *(job.marks[k] for k in job.mark.tolist())]
    return extra, [
        [*row, *(job.text[key][i] for key in job.text), *tail]
        for i, row in enumerate(_rows(job, job.seen, names))
    ]


def _stakeouts(layers: list[str], *, by_check: bool) -> list[str]:
    """Return the sections of job.toml that ask for the checks."""
    if len(layers) > 1 and not by_check:
        text = ["[[stakeout]]", 'name = "All"', 'tolerance = "w"']
        return [*text, f"design = {{ layer = [{_quoted(layers)}] }}"]
    text = []
    for layer in layers:
        text += ["[[stakeout]]", f'name = "{layer}"', 'tolerance = "w"']
        text += [f'design = {{ layer = "{layer}" }}'] if len(layers) > 1 else []
    return text


def _draw(job: Odd, path: Path) -> None:
    from ezdxf.filemanagement import new

    drawing = new("R2010")
    drawing.header["$INSUNITS"] = {"metre": 6, "foot": 2, "us-survey-foot": 21}[job.unit]
    space = drawing.modelspace()
    values = (job.design * job.per_metre).tolist()
    for name, layer, (n, e, z) in zip(job.ids, job.layer, values, strict=True):
        space.add_point((e, n, z), dxfattribs={"layer": layer})
        space.add_text(name, height=0.2, dxfattribs={"layer": layer}).set_placement((e, n))
    drawing.saveas(path)
