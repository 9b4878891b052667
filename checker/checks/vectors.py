"""Vectors: how their loops close, and how repeated baselines agree.

A loop's misclosure is the sum of its vectors, run one way round: zero if they were perfect. Parts
per million are of the length of the loop, all its vectors added up (so the closure of a loop is
stated in the source of tests/published/closures/gnss-ratio-army.toml). Where every vector of a
loop has covariances, those of the misclosure are their sum, vectors taken as independent.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from checker.adjust.loops import FULL_SEARCH, Step, independent_loops
from checker.checks.closing import column, item, refuse, stripped
from checker.errors import Where
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
    """A loop or a repeated baseline: the vectors that are added, each with its direction."""

    name: str
    kind: str
    steps: tuple[Step, ...]


def measure_vectors(section: Vectors, inputs: Inputs, job: Job) -> Measure:
    """Return how vectors close: a row a loop, a repeated baseline, or a vector nothing checks.

    Comparison by row: misclosure (metres, never negative; n vectors, length_m their sum; for a
    repeated baseline their mean). Vectors in no found loop are rows that are unchecked. Raises
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
    if section.loops:
        loops = [_given(loop, number, first, ends, section) for loop in section.loops]
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
    return _measure(section, job, book, rows, loose)


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
    section: Vectors, job: Job, book: VectorBook, rows: list[_Loop], loose: list[int]
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
        misclosure[index] = np.sum(book.d_m[line] * way[:, None], axis=0)
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
    turned = _north_east_up(section, misclosure, job)
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
        remarks=tuple(_remarks(section, job, book, rows, loose, names, chi2, turned is None)),
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


def _is_local(section: Vectors, job: Job) -> bool:
    """Tell whether x, y, z are east, north, up: stated, or no frame stated at all."""
    if section.frame is None:
        return job.reference.crs is None
    return section.frame is VectorFrame.LOCAL


def _north_east_up(section: Vectors, misclosure: FloatArray, job: Job) -> FloatArray | None:
    """Return misclosures as north, east, up; None where the axes or the place are not known.

    Rotation of earth-centred axes into the local ones: common practice, no source.
    """
    if _is_local(section, job):
        return misclosure[:, [1, 0, 2]]
    if section.latitude_rad is None or section.longitude_rad is None:
        return None
    sin_lat, cos_lat = np.sin(section.latitude_rad), np.cos(section.latitude_rad)
    sin_lon, cos_lon = np.sin(section.longitude_rad), np.cos(section.longitude_rad)
    turn = np.array(
        [
            [-sin_lat * cos_lon, -sin_lat * sin_lon, cos_lat],
            [-sin_lon, cos_lon, 0.0],
            [cos_lat * cos_lon, cos_lat * sin_lon, sin_lat],
        ]
    )
    return np.asarray(misclosure @ turn.T)


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
    loops = sum(row.kind == "loop" for row in rows)
    return (
        item("loops", "Loops", Quantity.COUNT, loops),
        item("repeats", "Repeated baselines", Quantity.COUNT, len(rows) - loops),
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
    job: Job,
    book: VectorBook,
    rows: list[_Loop],
    loose: list[int],
    names: list[str],
    chi2: FloatArray,
    unturned: bool,  # noqa: FBT001
) -> list[str]:
    from scipy.stats import chi2 as distribution

    loops = sum(row.kind == "loop" for row in rows)
    says = []
    if _is_local(section, job):
        says.append("x, y, z are taken as east, north, up.")
    elif unturned and section.frame is None:
        says.append(
            "The job names a coordinate system and not the axes of the vectors: x, y, z are shown "
            'as booked. frame = "geocentric" with about, or frame = "local", would give north, '
            "east and up too."
        )
    elif unturned:
        says.append(
            "x, y, z are earth-centred; without about = { latitude, longitude } they are not "
            "turned into north, east, up."
        )
    else:
        says.append("x, y, z are earth-centred; north, east and up are at the stated place.")
    if section.loops:
        says.append(f"{loops} loops as the job gives them.")
        if loose:
            says.append(f"In none of these loops: {_listed(book, loose)}.")
    else:
        how = "" if len(book) > FULL_SEARCH else ", the shortest"
        says.append(f"{loops} independent loops were found{how}.")
    if len(rows) > loops:
        says.append(
            "Where a baseline was observed more than once its first vector runs in the loops; "
            "each later one is compared with it, per million of their mean length."
        )
    limit = float(distribution.ppf(_CONFIDENCE, 3))
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
