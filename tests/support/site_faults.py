"""What is done to the sites of `site_folders.py`: every cause of the closed list, or nothing."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from checker.model.arrays import FloatArray
from tests.support.site_folders import FOOT, FRAMES, SURVEY_FOOT, Site, make_site, write_site

SILENT = ("clean", "few-bad")


@dataclass
class Done:
    """What was done. parameter: as in results.json: job's unit, degrees, parts per million."""

    fault: str = ""
    parameter: dict[str, float | str] = field(default_factory=dict)
    ids: tuple[str, ...] = ()
    by: str = "all"
    group: str = ""


def write_trial(seed: int, fault: str, folder: Path, *, hard: bool) -> Done:
    """Write the job folder of a seed and return what was done to it."""
    rng = np.random.default_rng((seed, len(fault), int(hard)))
    site = make_site(rng, fault, hard=hard)
    bad = 0
    if fault == "few-bad":
        bad = int(rng.integers(1, max(2, site.n // 8) + 1))
    elif hard and fault != "clean":
        bad = int(rng.integers(0, max(1, site.n // 15) + 1))
    site.bad = set(rng.permutation(site.n)[: min(bad, site.n - 4)].tolist())
    for row in sorted(site.bad):
        kind = int(rng.integers(3))
        if kind != 1:
            site.seen[row, :2] += site.flat(0.05, 0.8)
        if kind != 0:
            site.seen[row, 2] += site.side() * site.size(0.06, 0.6)
    done = Done() if fault in SILENT else FAULTS[fault](site)
    done.fault = "" if fault in SILENT else fault
    write_site(site, folder)
    return done


def _centroid(site: Site) -> FloatArray:
    return np.asarray(site.design.mean(axis=0))


def _lengths(site: Site, **metres: float) -> dict[str, float | str]:
    return {key: value * site.metre for key, value in metres.items()}


def _whole(site: Site, rows: slice) -> str:
    return "design" if rows.stop < len(site.seen) else ""


def _one_file(site: Site) -> tuple[slice | FloatArray, str, str] | None:
    """Return the rows of one of several files, sometimes."""
    if site.file.max() == 0 or site.rng.random() < 0.4:
        return None
    return np.asarray(site.file == 1), "file", "rover-2.csv"


def _foot(site: Site) -> Done:
    factor = (SURVEY_FOOT / FOOT) ** site.side()
    step = _centroid(site)[:2] * (factor - 1.0)
    facts = {**_lengths(site, dn=step[0], de=step[1]), "ppm": (factor - 1.0) * 1e6}
    rows = site.rows()
    site.seen[rows, :2] *= factor
    return Done(parameter=facts, group=_whole(site, rows))


def _unit(site: Site) -> Done:
    factors = (FOOT, 1 / FOOT, SURVEY_FOOT, 1 / SURVEY_FOOT, 12.0, 1 / 0.0254, 1000.0, 0.001, 100.0)
    factor = float(site.rng.choice(factors))
    tall = bool(site.rng.random() < 0.7)
    times = np.array((factor, factor, factor if tall else 1.0))
    part = _one_file(site)
    if part is not None:
        site.seen[part[0]] *= times
        return Done(parameter={"factor": factor}, by=part[1], group=part[2])
    rows = site.rows()
    site.seen[rows] *= times
    return Done(parameter={"factor": factor}, group=_whole(site, rows))


def _pole(site: Site) -> Done:
    usual = {0.2, -0.2, 2.0 * (1 - FOOT)}
    if not site.poles:
        usual.add(1.8 * (1 - FOOT))
    dz = float(site.rng.choice(sorted(usual)))
    split = next((word for word in ("session", "base") if word in site.columns), "")
    if split and site.session.max() > 0 and site.rng.random() < 0.5:
        here = np.array(site.columns[split]) == site.columns[split][0]
        site.seen[here, 2] += dz
        return Done(parameter=_lengths(site, dz=dz), by=split, group=site.columns[split][0])
    site.seen[:, 2] += dz
    return Done(parameter=_lengths(site, dz=dz))


def _height(site: Site) -> Done:
    while True:
        dz = site.side() * float(site.rng.uniform(0.1, 0.9))
        if all(abs(abs(dz) - step) > 0.05 for step in (0.2, 1.39, 1.25)):
            break
    rows = site.rows()
    site.seen[rows, 2] += dz
    return Done(parameter=_lengths(site, dz=dz), group=_whole(site, rows))


def _geoid(site: Site) -> Done:
    dz = float(site.rng.choice((-1.0, -1.0, 1.0))) * float(site.rng.uniform(15.0, 48.0))
    slope = site.rng.normal(0, 5e-5, 2)
    site.seen[:, 2] += dz + (site.seen - _centroid(site))[:, :2] @ slope
    return Done(parameter=_lengths(site, dz=dz))


def _swapped(site: Site) -> Done:
    part = _one_file(site)
    if part is not None:
        site.seen[part[0]] = site.seen[part[0]][:, [1, 0, 2]]
        return Done(by=part[1], group=part[2])
    rows = site.rows()
    site.seen[rows] = site.seen[rows][:, [1, 0, 2]]
    return Done(group=_whole(site, rows))


def _mirrored(site: Site) -> Done:
    axis = int(site.rng.integers(2))
    at = [0.0, float(_centroid(site)[axis]), float(site.design[0, axis])][int(site.rng.integers(3))]
    facts: dict[str, float | str] = {"axis": "ne"[axis]}
    if len(set(site.layer)) > 1 and site.drawing and site.rng.random() < 0.5:
        here = np.flatnonzero(np.array(site.layer) == "KERB")
        middle = float(site.design[here, axis].mean())
        site.seen[here, axis] = 2 * middle - site.seen[here, axis]
        return Done(parameter=facts, by="layer", group="KERB")
    rows = site.rows(0.3)
    site.seen[rows, axis] = 2 * at - site.seen[rows, axis]
    return Done(parameter=facts, group=_whole(site, rows))


def _scale(site: Site) -> Done:
    arm = float(np.hypot(*(site.design - _centroid(site))[:, :2].T).mean()) * math.sqrt(site.n)
    least = 20e6 * math.hypot(site.sigma[0], 0.012) / arm
    ppm = site.side() * site.size(max(60.0, least), max(450.0, 1.2 * least))
    about = np.zeros(2) if site.rng.random() < 0.5 else _centroid(site)[:2]
    rows = site.rows()
    site.seen[rows, :2] = (site.seen[rows, :2] - about) * (1 + ppm * 1e-6) + about
    return Done(parameter={"scale_ppm": ppm}, group=_whole(site, rows))


def _zone(site: Site) -> Done:
    from pyproj import CRS, Transformer

    a, b = (CRS.from_user_input(code).to_2d() for code in (site.crs, site.other))
    ua, ub = (each.axis_info[0].unit_conversion_factor for each in (a, b))
    rows = slice(0, len(site.seen))
    move = Transformer.from_crs(a, b, always_xy=True)
    e, n = move.transform(site.seen[rows, 1] / ua, site.seen[rows, 0] / ua)
    site.seen[rows, :2] = np.column_stack((np.asarray(n) * ub, np.asarray(e) * ub))
    return Done(parameter={"crs": site.other}, group=_whole(site, rows))


def _turn(site: Site) -> Done:
    arm = float(np.hypot(*(site.design - _centroid(site))[:, :2].T).mean()) * math.sqrt(site.n)
    least = math.degrees(20.0 * math.hypot(site.sigma[0], 0.012) / arm)
    angle = site.side() * site.size(max(0.02, least), max(4.0, 2 * least))
    cos, sin = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    about = _centroid(site)[:2]
    if site.rng.random() < 0.5 and len(site.known):
        about = site.known[0, :2]
    elif site.rng.random() < 0.3:
        about = np.zeros(2)
    rows = site.rows()
    north, east = (site.seen[rows, :2] - about).T
    # Clockwise: a point in the north moves to the east.
    site.seen[rows, :2] = (
        np.column_stack((north * cos - east * sin, north * sin + east * cos)) + about
    )
    return Done(parameter={"angle_deg": angle}, group=_whole(site, rows))


def _frame(site: Site) -> Done:
    from pyproj import CRS, Proj, Transformer

    own, taken = FRAMES[site.crs]
    grid = CRS.from_user_input(site.crs).to_2d()
    unit = grid.axis_info[0].unit_conversion_factor
    lon, lat = site.lonlat
    x, y, h, _ = Transformer.from_crs(own, taken, always_xy=True).transform(
        lon, lat, 100.0, float(site.epoch)
    )
    at, to = Proj(grid)(lon, lat), Proj(grid)(x, y)
    tall = bool(site.rng.random() < 0.7)
    move = site.side() * np.array(
        ((to[1] - at[1]) * unit, (to[0] - at[0]) * unit, (h - 100.0) if tall else 0.0)
    )
    site.seen += move
    dn, de, dz = move.tolist()
    return Done(parameter=_lengths(site, dn=dn, de=de, dz=dz))


def _shift(site: Site) -> Done:
    dn, de = site.flat(0.08, 30.0)
    rows = site.rows()
    site.seen[rows, :2] += (dn, de)
    return Done(parameter=_lengths(site, dn=dn, de=de), group=_whole(site, rows))


def _digits(site: Site) -> Done:
    place = 10.0 ** int(site.rng.integers(4, 6)) / site.metre
    cut = np.floor(_centroid(site)[:2] / place) * place
    if site.rng.random() < 0.4:
        cut[int(site.rng.integers(2))] = 0.0
    if not cut.any():
        cut[:] = np.floor(_centroid(site)[:2] / (1e4 / site.metre)) * (1e4 / site.metre)
    if site.rng.random() < 0.3:
        cut = -np.where(cut != 0, 10.0 ** int(site.rng.integers(6, 8)), 0.0) / site.metre
    rows = site.rows()
    site.seen[rows, :2] -= cut
    return Done(parameter=_lengths(site, dn=-cut[0], de=-cut[1]), group=_whole(site, rows))


def _transposed(site: Site) -> Done:
    while True:
        row, axis = int(site.sound()[0]), int(site.rng.integers(3))
        text = f"{site.seen[row, axis] * site.metre:.{site.decimals}f}"
        whole = text.index(".")
        at = int(site.rng.integers(0, whole - 1)) if whole > 1 else 0
        swapped = text[:at] + text[at + 1] + text[at] + text[at + 2 :]
        if whole > 1 and swapped != text and swapped[0] != "0":
            break
    site.typed[row, axis] = float(swapped)
    facts: dict[str, float | str] = {
        "difference": float(swapped) - float(text),
        "id": site.ids[row],
        "axis": "nez"[axis],
    }
    return Done(parameter=facts, ids=(site.ids[row],))


def _exchanged(site: Site) -> Done:
    apart = 0.0
    while apart < 1.0:
        count = 2 if site.n < 8 or site.rng.random() < 0.8 else 3
        rows = site.sound()[:count]
        apart = float(np.hypot(*(site.design[rows] - site.design[np.roll(rows, 1)])[:, :2].T).min())
    site.seen[rows] = site.seen[np.roll(rows, 1)]
    return Done(ids=tuple(site.ids[row] for row in rows.tolist()))


def _stale(site: Site) -> Done:
    count = int(site.rng.integers(4, max(5, site.n // 3) + 1))
    rows = np.sort(site.sound()[:count])
    dn, de = site.flat(0.25, 6.0)
    dz = float(site.rng.choice((0.0, 0.3, -0.45)))
    if site.rng.random() < 0.25:
        dn, de, dz = 0.0, 0.0, site.side() * site.size(0.25, 1.0)
    if site.rng.random() < 0.3:
        # The older sheet is in the job; some that it moves were set from the present one.
        site.older = site.design.copy()
        site.older[np.concatenate((rows, site.sound()[count : count + 2]))] += (dn, de, dz)
    site.seen[rows] += (dn, de, dz)
    facts = _lengths(site, dn=dn, de=de, dz=dz)
    return Done(parameter=facts, ids=tuple(site.ids[row] for row in rows.tolist()))


def _other_line(site: Site) -> Done:
    assert site.line is not None
    site.line.offset_m = 0.0
    across = site.side() * float(site.rng.choice((0.1524, 0.3, 0.45, 0.6096, 3.6)))
    site.seen[: site.n, :2] += across * site.line.right
    return Done(parameter=_lengths(site, across=across), group="design")


def _other_side(site: Site) -> Done:
    line = site.line
    assert line is not None
    # The stakes stand so far right of their feature, some or all of them left of it.
    site.seen[: site.n, :2] += line.offset_m * line.right
    k = site.n if site.rng.random() < 0.4 else int(site.rng.integers(1, site.n // 2))
    rows = np.sort(np.arange(site.n) if k == site.n else site.sound()[:k])
    site.seen[rows, :2] -= 2.0 * line.offset_m * line.right[rows]
    ids = () if k == site.n else tuple(site.ids[row] for row in rows.tolist())
    return Done(parameter=_lengths(site, across=-2.0 * line.offset_m), ids=ids)


def _base(site: Site) -> Done:
    split = "session" if "session" in site.columns else "base"
    dn, de = site.flat(0.1, 4.0)
    dz = float(site.rng.choice((0.0, 0.35, -0.6)))
    name = f"{'T' if split == 'session' else 'RB'}{int(site.session.max()) + 1}"
    site.seen[np.array(site.columns[split]) == name] += (dn, de, dz)
    return Done(parameter=_lengths(site, dn=dn, de=de, dz=dz), by=split, group=name)


def _mark(site: Site) -> Done:
    which = int(site.rng.integers(len(site.marks)))
    dn, de = site.flat(0.12, 0.9)
    dz = 0.0
    if site.rng.random() < 0.3:
        dn, de, dz = 0.0, 0.0, site.side() * site.size(0.15, 0.8)
    here = site.n + np.flatnonzero(site.mark == which)
    site.seen[here] += (dn, de, dz)
    facts = {**_lengths(site, dn=dn, de=de, dz=dz), "id": site.marks[which]}
    return Done(parameter=facts, ids=(site.marks[which],))


def _no_height(site: Site) -> Done:
    count = site.n if site.rng.random() < 0.4 else int(site.rng.integers(1, site.n // 2 + 1))
    value = float(site.rng.choice((0.0, -9999.0, -99999.0)))
    rows = np.sort(site.rng.permutation(site.n)[:count]).tolist()
    for row in rows:
        site.typed[row, 2] = value
    return Done(parameter={"value": value}, ids=tuple(site.ids[row] for row in rows))


FAULTS: dict[str, Callable[[Site], Done]] = {
    "foot-definition": _foot,
    "unit-factor": _unit,
    "pole-height": _pole,
    "height-constant": _height,
    "geoid-missing": _geoid,
    "axes-swapped": _swapped,
    "mirrored": _mirrored,
    "grid-ground": _scale,
    "wrong-zone": _zone,
    "rotation": _turn,
    "frame-shift": _frame,
    "shift": _shift,
    "dropped-digits": _digits,
    "transposed-digits": _transposed,
    "ids-exchanged": _exchanged,
    "stale-revision": _stale,
    "wrong-line": _other_line,
    "wrong-side": _other_side,
    "base-moved": _base,
    "disturbed-mark": _mark,
    "no-elevation": _no_height,
}
"""Every cause of the closed list."""
