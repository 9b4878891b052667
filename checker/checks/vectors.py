"""Vectors: how their loops close, and how repeated baselines agree.

A loop's misclosure is the sum of its vectors, run one way round: zero if they were perfect. Parts
per million are of the length of the loop, all its vectors added up (so the closure of a loop is
stated in the source of tests/published/closures/gnss-ratio-army.toml). Where every vector of a
loop has covariances, those of the misclosure are their sum, vectors taken as independent.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from checker.adjust.loops import FULL_SEARCH, Step, independent_loops
from checker.checks.closing import column, item, known_points, refuse, stripped
from checker.checks.geocentric import (
    Grid,
    control_places,
    geocentric_by_control,
    grid_of,
    turn_to_local,
)
from checker.errors import Where
from checker.geometry.statistics import chi_square_quantile
from checker.model.arrays import FloatArray
from checker.model.books import VectorBook
from checker.model.inputs import Inputs
from checker.model.job import Job, Rule, VectorFrame, Vectors
from checker.model.measure import Column, Comparison, Item, Measure, Quantity
from checker.text import fixed

_CONFIDENCE = 0.99
"""Level of the test of a misclosure against its covariances."""
_LISTED = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class _Loop:
    """A loop, a link or a repeated baseline: the vectors that are added, each with its direction.

    known_m: what the vectors of a link must add up to, in the book's own axes; 0 otherwise.
    """

    name: str
    kind: str
    steps: tuple[Step, ...]
    known_m: tuple[float, float, float] = (0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Axes:
    """Which axes a book has. local: east, north, up; False: earth-centred, None: not known.

    place: latitude and longitude by which misclosures are turned; None: not known. says: for the
    report.
    """

    local: bool | None
    place: tuple[float, float] | None
    grid: Grid | None
    says: str


def measure_vectors(section: Vectors, inputs: Inputs, job: Job) -> Measure:
    """Return how vectors close: a row a loop, a repeated baseline, or a vector nothing checks.

    Comparison by row: misclosure (metres, never negative; n vectors, length_m their sum; for a
    repeated baseline their mean). A given loop that ends on another mark than it began is a link
    between two control points. Vectors in no found loop are rows that are unchecked. Raises
    InputError where a given loop runs between marks that no vector joins, and where there is no
    loop at all.
    """
    book = inputs.books[section.name]
    if not isinstance(book, VectorBook):
        raise TypeError(section.name)
    start, end = stripped(book.from_), stripped(book.to)
    marks = list(dict.fromkeys(name for pair in zip(start, end, strict=True) for name in pair))
    number = {name: index for index, name in enumerate(marks)}
    ends = [(number[one], number[other]) for one, other in zip(start, end, strict=True)]
    first = _first_bookings(ends)
    repeats = _repeats(ends, first, marks)
    lines = sorted(first.values())
    axes = _axes(section, book, inputs, job)
    if section.loops:
        loops = [_given(loop, number, first, ends, section) for loop in section.loops]
        loops = [
            loop if given[0] == given[-1] else _link(loop, given, section, inputs, axes)
            for loop, given in zip(loops, section.loops, strict=True)
        ]
    else:
        loops = _found(lines, ends, marks)
    rows = [*loops, *repeats]
    if not rows:
        refuse(
            "no-loop",
            Where(file=book.path),
            f"the {len(book)} vectors close no loop and none is repeated: nothing proves them",
            "observe vectors that close loops, each from another session where they can",
        )
    used = {line for row in rows for line, _ in row.steps}
    loose = [line for line in range(len(book)) if line not in used]
    return _measure(section, axes, book, rows, loose)


def _first_bookings(ends: Sequence[tuple[int, int]]) -> dict[tuple[int, int], int]:
    """Return the first vector between every two marks that are joined."""
    first: dict[tuple[int, int], int] = {}
    for line, (one, other) in enumerate(ends):
        first.setdefault((min(one, other), max(one, other)), line)
    return first


def _repeats(
    ends: Sequence[tuple[int, int]], first: dict[tuple[int, int], int], marks: list[str]
) -> list[_Loop]:
    """Return every later vector between two marks against the first one."""
    found = []
    for line, (one, other) in enumerate(ends):
        before = first[min(one, other), max(one, other)]
        if line != before:
            same = ends[before] == (one, other)
            found.append(
                _Loop(
                    name=f"{marks[ends[before][0]]}-{marks[ends[before][1]]}",
                    kind="repeat",
                    steps=((line, 1 if same else -1), (before, -1)),
                )
            )
    return found


def _given(
    loop: tuple[str, ...],
    number: dict[str, int],
    first: dict[tuple[int, int], int],
    ends: Sequence[tuple[int, int]],
    section: Vectors,
) -> _Loop:
    """Return a loop of the job as vectors, the first booking of each."""
    steps = []
    for here, there in pairwise(loop):
        for name in (here, there):
            if name not in number:
                refuse(
                    "unknown-mark",
                    section.where,
                    f'the loop {"-".join(loop)} passes "{name}", which no vector of '
                    f"{section.file} reaches",
                    f"the marks there: {', '.join(list(number)[:12])}",
                )
        one, other = number[here], number[there]
        line = first.get((min(one, other), max(one, other)))
        if line is None:
            refuse(
                "unknown-mark",
                section.where,
                f'the loop {"-".join(loop)} goes from "{here}" to "{there}", and no vector of '
                f"{section.file} joins them",
                "give the marks in the order in which vectors join them",
            )
        steps.append((line, 1 if ends[line][0] == one else -1))
    return _Loop(name="-".join(loop), kind="loop", steps=tuple(steps))


def _link(
    loop: _Loop, given: tuple[str, ...], section: Vectors, inputs: Inputs, axes: _Axes
) -> _Loop:
    """Return a run between two control points, with what lies between them."""
    first, last = given[0], given[-1]
    known = control_places(inputs)
    for name in (first, last):
        if name not in known_points(inputs):
            refuse(
                "open-loop",
                section.where,
                f'the loop {"-".join(given)} does not end where it began, and "{name}" is no '
                "control point on which it could close",
                f'repeat its first id at the end: [..., "{first}"], or add "{name}" to the control',
            )
        if np.isnan(known[name][2]):
            refuse(
                "no-elevation",
                section.where,
                f'the vectors {"-".join(given)} run between control points, and "{name}" has no '
                "elevation",
                "give it its elevation in the control file",
            )
    if axes.local is None or (not axes.local and axes.grid is None):
        refuse(
            "vector-frame",
            section.where,
            f"the vectors {'-'.join(given)} run between control points, and nothing says how their "
            "axes lie to the grid",
            'write frame = "local", or frame = "geocentric" with the grid under [reference] crs',
        )
    places = np.array([known[first], known[last]])
    if axes.local or axes.grid is None:
        step = (places[1] - places[0])[[1, 0, 2]]
    else:
        places[:, 2] += section.geoid_m or 0.0
        step = np.diff(axes.grid.earth(places), axis=0)[0]
    return replace(loop, kind="link", known_m=(float(step[0]), float(step[1]), float(step[2])))


def _found(lines: Sequence[int], ends: Sequence[tuple[int, int]], marks: list[str]) -> list[_Loop]:
    """Return the independent loops of the net."""
    loops = []
    for steps in independent_loops([ends[line] for line in lines], len(marks)):
        run = tuple((lines[line], way) for line, way in steps)
        here = ends[run[0][0]][0 if run[0][1] > 0 else 1]
        names = [marks[here]]
        for line, way in run:
            names.append(marks[ends[line][1 if way > 0 else 0]])
        loops.append(_Loop(name="-".join(names), kind="loop", steps=run))
    return loops


# ---------------------------------------------------------------- what is handed on


def _measure(
    section: Vectors, axes: _Axes, book: VectorBook, rows: list[_Loop], loose: list[int]
) -> Measure:
    lone = [] if section.loops else loose
    count, total = len(rows), len(rows) + len(lone)
    misclosure = np.full((total, 3), np.nan)
    covariance = np.full((total, 3, 3), np.nan)
    length = np.full(total, np.nan)
    size = np.linalg.norm(book.d_m, axis=1)
    for index, row in enumerate(rows):
        line = np.array([step[0] for step in row.steps])
        way = np.array([step[1] for step in row.steps], dtype=np.float64)
        misclosure[index] = np.sum(book.d_m[line] * way[:, None], axis=0) - np.array(row.known_m)
        covariance[index] = np.sum(book.covariance_m2[line], axis=0)
        length[index] = np.mean(size[line]) if row.kind == "repeat" else np.sum(size[line])
    miss = np.linalg.norm(misclosure, axis=1)
    names = [row.name for row in rows]
    names += [f"{book.from_[line]}-{book.to[line]}" for line in lone]
    kinds = [row.kind for row in rows] + ["unproved"] * len(lone)
    vectors = np.array([float(len(row.steps)) for row in rows] + [1.0] * len(lone))
    length[count:] = size[lone]
    unchecked = np.full(total, "", dtype=object)
    unchecked[count:] = "no loop and no repeat passes over this vector: nothing proves it"
    sigma = _sigma(misclosure, miss, covariance)
    # Only the guarded rule needs it: a length is not normal, so no probability is made of it.
    guarded = section.tolerance is not None and section.tolerance.rule is Rule.GUARDED
    # A loop of no length at all has no ratio; marks are at least a millimetre apart, so none has.
    ppm = miss / length * 1e6
    chi2 = _chi2(misclosure, covariance)
    turned = _north_east_up(axes, misclosure)
    columns = _columns(misclosure, miss, length, ppm, turned, covariance, chi2, kinds, vectors)
    worst = int(np.nanargmax(miss))
    return Measure(
        kind="vectors",
        name=section.name,
        where=section.where,
        tolerance=section.tolerance,
        id=np.array(names, dtype=object),
        columns=columns,
        summary=_summary(misclosure, miss, length, ppm, rows, worst, len(lone)),
        comparisons=(
            Comparison(
                limit="misclosure",
                label="Misclosure",
                value=miss,
                sigma=sigma if guarded else None,
                n=vectors,
                length_m=length,
            ),
        ),
        judged_by_row=True,
        shots=np.full((total, 1), -1, dtype=np.int64),
        used=np.empty(0, dtype=np.int64),
        unchecked=unchecked,
        undecided=np.full(total, "", dtype=object),
        said=np.full(total, "", dtype=object),
        counted=np.ones(total, dtype=np.bool_),
        remarks=tuple(_remarks(section, axes, book, rows, loose, names, chi2)),
    )


def _sigma(misclosure: FloatArray, miss: FloatArray, covariance: FloatArray) -> FloatArray:
    """Return one standard deviation of every misclosure's length, in its own direction."""
    with np.errstate(invalid="ignore", divide="ignore"):
        along = np.where(miss[:, None] > 0.0, misclosure / miss[:, None], 1.0 / np.sqrt(3.0))
    variance = np.einsum("ri,rij,rj->r", along, covariance, along)
    return np.asarray(np.sqrt(variance))


def _chi2(misclosure: FloatArray, covariance: FloatArray) -> FloatArray:
    """Return the misclosures' squares weighted by their covariances: chi-square with 3 degrees."""
    value = np.full(len(misclosure), np.nan)
    known = np.isfinite(covariance).all(axis=(1, 2)) & np.isfinite(misclosure).all(axis=1)
    if known.any():
        solved = np.linalg.solve(covariance[known], misclosure[known][:, :, None])[:, :, 0]
        value[known] = np.sum(misclosure[known] * solved, axis=1)
    return value


def _axes(section: Vectors, book: VectorBook, inputs: Inputs, job: Job) -> _Axes:
    """Return which axes a book has: stated, or told by the control, or local without any frame."""
    crs = job.reference.crs
    local: bool | None = None
    says = ""
    if section.frame is not None:
        local = section.frame is VectorFrame.LOCAL
    elif crs is None:
        local = True
    grid = None if local is True or crs is None else grid_of(crs)
    known = control_places(inputs)
    ends = list(zip(stripped(book.from_), stripped(book.to), strict=True))
    geoid = section.geoid_m or 0.0
    if local is None and grid is not None:
        told = geocentric_by_control(ends, book.d_m, known, grid, geoid)
        if told is not None:
            local = not told
            says = "By the control, "
    place = None
    if local is False and section.latitude_rad is not None and section.longitude_rad is not None:
        place = (section.latitude_rad, section.longitude_rad)
        says += "x, y, z are earth-centred; north, east and up are at the stated place."
    elif local is False and grid is not None and known:
        there = {mark for pair in ends for mark in pair}
        near = [at for name, at in known.items() if name in there] or list(known.values())
        place = grid.place(np.nan_to_num(np.array(near)))
        says += (
            "x, y, z are earth-centred; north, east and up are those of the control points, whose "
            f"place the grid {crs} gives."
        )
    elif local is False:
        says += (
            "x, y, z are earth-centred; without about = { latitude, longitude }, or control on a "
            "named grid, they are not turned into north, east, up."
        )
    elif local:
        says += "x, y, z are taken as east, north, up."
    else:
        says = (
            "The job names a coordinate system and not the axes of the vectors: x, y, z are shown "
            'as booked. frame = "geocentric" with about, or frame = "local", would give north, '
            "east and up too."
        )
    return _Axes(local=local, place=place, grid=grid, says=says)


def _north_east_up(axes: _Axes, misclosure: FloatArray) -> FloatArray | None:
    """Return misclosures as north, east, up; None where the axes or the place are not known.

    Rotation of earth-centred axes into the local ones: common practice, no source.
    """
    if axes.local:
        return misclosure[:, [1, 0, 2]]
    if axes.place is None:
        return None
    return np.asarray(misclosure @ turn_to_local(*axes.place).T)


def _columns(  # noqa: PLR0913, PLR0917  (every column of the table)
    misclosure: FloatArray,
    miss: FloatArray,
    length: FloatArray,
    ppm: FloatArray,
    turned: FloatArray | None,
    covariance: FloatArray,
    chi2: FloatArray,
    kinds: list[str],
    vectors: FloatArray,
) -> tuple[Column, ...]:
    small = Quantity.LENGTH
    found = [
        column("kind", "Kind", Quantity.TEXT, np.array(kinds, dtype=object)),
        column("vectors", "Vectors", Quantity.COUNT, vectors),
        column("misclosure_x", "Misclosure x", small, misclosure[:, 0]),
        column("misclosure_y", "Misclosure y", small, misclosure[:, 1]),
        column("misclosure_z", "Misclosure z", small, misclosure[:, 2]),
        column("misclosure", "Misclosure", small, miss),
        column("length", "Length", Quantity.DISTANCE, length),
        column("ppm", "ppm", Quantity.PPM, ppm),
    ]
    if turned is not None:
        found += [
            column("misclosure_n", "Misclosure north", small, turned[:, 0]),
            column("misclosure_e", "Misclosure east", small, turned[:, 1]),
            column("misclosure_u", "Misclosure up", small, turned[:, 2]),
        ]
    if np.isfinite(covariance).any():
        sigma = np.sqrt(np.diagonal(covariance, axis1=1, axis2=2))
        found += [
            column(f"sigma_{axis}", f"Sigma {axis}", small, sigma[:, index], detail=True)
            for index, axis in enumerate("xyz")
        ]
        found.append(
            column("chi2", "Chi-square of the misclosure", Quantity.NUMBER, chi2, detail=True)
        )
    return tuple(found)


def _summary(
    misclosure: FloatArray,
    miss: FloatArray,
    length: FloatArray,
    ppm: FloatArray,
    rows: list[_Loop],
    worst: int,
    unproved: int,
) -> tuple[Item, ...]:
    small = Quantity.LENGTH
    count = {kind: sum(row.kind == kind for row in rows) for kind in ("loop", "link", "repeat")}
    links = item("links", "Links between control points", Quantity.COUNT, count["link"])
    return (
        item("loops", "Loops", Quantity.COUNT, count["loop"]),
        *((links,) if count["link"] else ()),
        item("repeats", "Repeated baselines", Quantity.COUNT, count["repeat"]),
        item("unproved", "Vectors that nothing checks", Quantity.COUNT, unproved),
        Item(key="worst", label="Largest", quantity=Quantity.TEXT, value=rows[worst].name),
        item("misclosure_x", "Misclosure x", small, float(misclosure[worst, 0])),
        item("misclosure_y", "Misclosure y", small, float(misclosure[worst, 1])),
        item("misclosure_z", "Misclosure z", small, float(misclosure[worst, 2])),
        item("misclosure", "Misclosure", small, float(miss[worst])),
        item("length", "Length", Quantity.DISTANCE, float(length[worst])),
        item("ppm", "ppm", Quantity.PPM, float(ppm[worst])),
    )


def _remarks(
    section: Vectors,
    axes: _Axes,
    book: VectorBook,
    rows: list[_Loop],
    loose: list[int],
    names: list[str],
    chi2: FloatArray,
) -> list[str]:
    loops = sum(row.kind == "loop" for row in rows)
    links = sum(row.kind == "link" for row in rows)
    says = [axes.says]
    if section.loops:
        says.append(f"{loops} loop{'s' if loops != 1 else ''} as the job gives them.")
        if links:
            says.append(
                f"{links} of the job's runs {'go' if links > 1 else 'goes'} from one control point "
                "to another: misclosure is the sum less what the control says lies between."
            )
        if loose:
            says.append(f"In none of these loops: {_listed(book, loose)}.")
    else:
        how = "" if len(book) > FULL_SEARCH else ", the shortest"
        says.append(f"{loops} independent loops were found{how}.")
    if len(rows) > loops + links:
        says.append(
            "Where a baseline was observed more than once its first vector runs in the loops; "
            "each later one is compared with it, per million of their mean length."
        )
    limit = chi_square_quantile(_CONFIDENCE, 3)
    beyond = np.flatnonzero(np.nan_to_num(chi2) > limit)
    if np.isfinite(chi2).any():
        says.append(
            f"Against the stated covariances a misclosure's chi-square (3 degrees of freedom) "
            f"passes {fixed(limit, 1)} once in a hundred by chance; here "
            + (
                f"it does in {', '.join(names[row] for row in beyond[:_LISTED].tolist())}"
                + (f" and {len(beyond) - _LISTED} more" if len(beyond) > _LISTED else "")
                + ": a blunder, or covariances that promise too much."
                if len(beyond)
                else "it does in none."
            )
        )
    says += _suspect(rows, book)
    return says


def _listed(book: VectorBook, lines: Sequence[int]) -> str:
    shown = [f"{book.from_[line]}-{book.to[line]} (line {book.line[line]})" for line in lines]
    more = len(shown) - _LISTED
    return ", ".join(shown[:_LISTED]) + (f" and {more} more" if more > 0 else "")


def _suspect(rows: list[_Loop], book: VectorBook) -> list[str]:
    """Name the one vector that would explain all loops that close badly, if there is one.

    Two loops or more that stand out and share just one vector, while every other loop over it
    stands out too: half the largest misclosure and ten times the median are what stands out
    (our choice, no source).
    """
    loops = [row for row in rows if row.kind == "loop"]
    if len(loops) < 3:
        return []
    miss = np.array(
        [np.linalg.norm(sum(book.d_m[line] * way for line, way in row.steps)) for row in loops]
    )
    high = miss > max(float(miss.max()) / 2.0, 10.0 * float(np.median(miss)))
    if high.sum() < 2:
        return []
    shared = set.intersection(
        *({line for line, _ in row.steps} for row, out in zip(loops, high, strict=True) if out)
    )
    shared -= {
        line for row, out in zip(loops, high, strict=True) if not out for line, _ in row.steps
    }
    if len(shared) != 1:
        return []
    (line,) = shared
    says = (
        f"Every loop that closes badly runs over {_listed(book, [line])}, and no other vector is "
        "common to them alone: look at that one first."
    )
    return [says]
