"""Level lines that make a net: how its loops close, and all of them by least squares.

A book of differences of elevation whose rows do not follow each other is a net where the job asks
for least squares. Every control point with an elevation that a line touches is held. A loop's
misclosure is the sum of its rises, run one way round; bench marks count as one mark, less what is
known between them, so that lines from one to another close too. Variances are in proportion to
distance, or to set-ups where a distance is missing, or equal (common practice;
tests/published/closures/ls-level-* are worked examples).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from checker.adjust.least_squares import Kind
from checker.adjust.loops import Step, independent_loops
from checker.checks.closing import column, item, length_text, once, refuse, stripped, whole_measure
from checker.checks.net import Net, Sighting, Solved, solve
from checker.errors import Where
from checker.model.arrays import FloatArray
from checker.model.books import RiseBook
from checker.model.inputs import Inputs
from checker.model.job import Adjust, Levels
from checker.model.measure import Comparison, Measure, Quantity, Supplement
from checker.text import fixed

_UNIT_M = 1e-3
"""Standard deviation of a line of one kilometre, of one set-up, or of a line as such."""
_LEAST, _MOST = 1e-6, 1e9
"""Lines weigh as if they were no shorter and no longer, kilometres or set-ups: beyond that there is
nothing to measure, and the equations would be left without digits."""


def is_net(section: Levels, inputs: Inputs) -> bool:
    """Tell whether a book's lines are to be adjusted as a net."""
    book = inputs.books[section.name]
    if section.adjust is not Adjust.LEAST_SQUARES or not isinstance(book, RiseBook):
        return False
    start, end = stripped(book.from_), stripped(book.to)
    return any(one != other for one, other in zip(start[1:], end[:-1], strict=True)) and not all(
        {start[row], end[row]} == {start[row - 1], end[row - 1]} or start[row] == end[row - 1]
        for row in range(1, len(start))
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Lines:
    """The lines of the net. known: elevation of every held mark. weight: by what they are."""

    book: RiseBook
    start: list[str]
    end: list[str]
    marks: list[str]
    known: dict[str, float]
    sigma_m: FloatArray
    weight: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Loops:
    """Loops and lines between bench marks; shape (loops,). n: their lines."""

    names: list[str]
    misclosure_m: FloatArray
    length_m: FloatArray
    setups: FloatArray
    n: FloatArray


def measure_level_net(section: Levels, inputs: Inputs) -> Measure:
    """Return how a net of level lines closes, and its elevations by least squares.

    One row a mark. Comparison: misclosure of the loop or line that uses most of its limit (metres,
    signed; n set-ups, length_m the distance); the supplement `loops` has them all.
    """
    lines = _lines(section, inputs)
    solved = _adjusted(lines, section)
    loops = _loops(lines)
    raw = _carried(lines)
    found = solved.adjustment
    place = {name: index for index, name in enumerate(solved.names)}
    order = np.array([place[name] for name in lines.marks])
    adjusted = found.position_m[order, 2]
    unit = found.sigma0 if found.degrees_of_freedom > 0 else float("nan")
    spread = np.sqrt(np.maximum(found.cofactor_m2[order, 2, 2], 0.0)) * unit
    before = np.array([raw[name] for name in lines.marks])
    held = np.array([name in lines.known for name in lines.marks])
    worst = _worst(section, loops)
    quantity, fine = Quantity.COORDINATE, Quantity.FINE
    unproved = "no loop and no second bench mark: nothing proves these elevations"
    total = float(np.sum(lines.book.distance_m))
    return whole_measure(
        "levels",
        section,
        row_id=np.array(lines.marks, dtype=object),
        columns=(
            column("elevation", "Elevation", quantity, before),
            column("adjusted_elevation", "Adjusted elevation", quantity, adjusted),
            column("correction", "Correction", fine, adjusted - before),
            column("sigma_z", "σ elevation", fine, np.where(held, np.nan, spread)),
            column(
                "mark",
                "Mark",
                Quantity.TEXT,
                np.where(held, "held", "").astype(object),
            ),
        ),
        summary=(
            item(
                "misclosure",
                "Misclosure",
                Quantity.LENGTH,
                float(loops.misclosure_m[worst]) if worst >= 0 else None,
            ),
            item("distance", "Distance levelled", Quantity.DISTANCE, total),
            item("setups", "Set-ups", Quantity.COUNT, float(np.sum(lines.book.setups))),
            item("lines", "Lines", Quantity.COUNT, len(lines.start)),
            item("loops", "Loops and lines between bench marks", Quantity.COUNT, len(loops.names)),
            item(
                "degrees_of_freedom",
                "Degrees of freedom",
                Quantity.COUNT,
                found.degrees_of_freedom,
            ),
            item("sigma0", "σ of unit weight, a posteriori", fine, found.sigma0 * _UNIT_M),
        ),
        comparisons=(_comparison(section, loops, worst, unproved),),
        remarks=_remarks(section, lines, solved, loops, worst),
        undecided=unproved if worst < 0 else "",
        supplements=_supplements(section, lines, solved, loops),
    )


def contribute_lines(
    section: Levels, inputs: Inputs, net: Net, sigma_of: Callable[[float, float], float]
) -> None:
    """Add the lines to a net. sigma_of: standard deviation by length and number of set-ups."""
    lines = _lines(section, inputs)
    for row, (length, setups) in enumerate(
        zip(lines.book.distance_m.tolist(), lines.book.setups.tolist(), strict=True)
    ):
        net.sightings.append(_sighting(lines, row, sigma_of(length, setups)))
    for end, mark in ((section.start, lines.start[0]), (section.close, lines.end[-1])):
        if end is not None and not isinstance(end, str):
            net.hold(mark, (float("nan"), float("nan"), end))


def _sighting(lines: _Lines, row: int, sigma_m: float) -> Sighting:
    return Sighting(
        kind=Kind.RISE,
        i=lines.start[row],
        j=lines.end[row],
        value=float(lines.book.rise_m[row]),
        sigma=sigma_m,
        where=Where(file=lines.book.path, line=int(lines.book.line[row])),
        label=f"rise {lines.start[row]} to {lines.end[row]}",
    )


# ---------------------------------------------------------------- the net


def _lines(section: Levels, inputs: Inputs) -> _Lines:
    book = inputs.books[section.name]
    assert isinstance(book, RiseBook)  # noqa: S101  (asked before)
    start, end = stripped(book.from_), stripped(book.to)
    marks = list(dict.fromkeys(name for pair in zip(start, end, strict=True) for name in pair))
    known = _known(section, inputs, marks, start[0], end[-1])
    weight, size = "equal", np.ones(len(start))
    if np.isfinite(book.distance_m).all():
        weight, size = "in proportion to distance", book.distance_m / 1000.0
    elif np.isfinite(book.setups).all():
        weight, size = "in proportion to the number of set-ups", book.setups
    return _Lines(
        book=book,
        start=start,
        end=end,
        marks=marks,
        known=known,
        sigma_m=_UNIT_M * np.sqrt(np.clip(size, _LEAST, _MOST)),
        weight=weight,
    )


def _known(
    section: Levels, inputs: Inputs, marks: list[str], first: str, last: str
) -> dict[str, float]:
    """Return the elevations of the marks that are held."""
    known: dict[str, float] = {}
    control = inputs.control
    if control is not None:
        for row, name in enumerate(stripped(control.id)):
            if name in marks and np.isfinite(control.elevation_m[row]):
                known.setdefault(name, float(control.elevation_m[row]))
    for role, end, mark in (("start", section.start, first), ("close", section.close, last)):
        if end is None:
            continue
        if not isinstance(end, str):
            known[mark] = end
        elif end.strip() not in known:
            refuse(
                "unknown-control",
                section.where,
                f'{role} = "{end}": no line of {section.file} touches a control point of that id '
                "with an elevation",
                "name a bench mark that the lines begin or end at",
            )
    return known


def _adjusted(lines: _Lines, section: Levels) -> Solved:
    net = Net(sightings=[_sighting(lines, row, float(s)) for row, s in enumerate(lines.sigma_m)])
    for name, height in lines.known.items():
        net.hold(name, (float("nan"), float("nan"), height))
    return solve(net, section.where)


def _carried(lines: _Lines) -> dict[str, float]:
    """Return elevations carried along the lines as booked, from the held marks on."""
    height = dict(lines.known)
    while True:
        before = len(height)
        for one, other, rise in zip(
            lines.start, lines.end, lines.book.rise_m.tolist(), strict=True
        ):
            if one in height:
                height.setdefault(other, height[one] + rise)
            elif other in height:
                height.setdefault(one, height[other] - rise)
        if len(height) == before:
            return height


def _loops(lines: _Lines) -> _Loops:
    """Return the independent loops, bench marks taken as one mark."""
    free = [name for name in lines.marks if name not in lines.known]
    number = {name: index for index, name in enumerate(free, 1)}
    ends = [
        (number.get(one, 0), number.get(other, 0))
        for one, other in zip(lines.start, lines.end, strict=True)
    ]
    first: dict[tuple[int, int], int] = {}
    closed: list[list[Step]] = []
    for line, (one, other) in enumerate(ends):
        key = (min(one, other), max(one, other))
        if one == other:
            closed.append([(line, 1)])
        elif key in first:
            before = first[key]
            same = ends[before] == (one, other)
            closed.append([(line, 1), (before, -1 if same else 1)])
        else:
            first[key] = line
    kept = sorted(first.values())
    closed += [
        [(kept[line], way) for line, way in steps]
        for steps in independent_loops([ends[line] for line in kept], len(free) + 1)
    ]
    book, known = lines.book, lines.known
    reduced = np.array(
        [
            rise + known.get(one, 0.0) - known.get(other, 0.0)
            for one, other, rise in zip(lines.start, lines.end, book.rise_m.tolist(), strict=True)
        ]
    )
    names, miss, length, setups = [], [], [], []
    for steps in closed:
        at = np.array([line for line, _ in steps])
        way = np.array([float(sign) for _, sign in steps])
        miss.append(float(np.sum(reduced[at] * way)))
        length.append(float(np.sum(book.distance_m[at])))
        setups.append(float(np.sum(book.setups[at])))
        names.append(_name(lines, steps))
    return _Loops(
        names=names,
        misclosure_m=np.array(miss),
        length_m=np.array(length),
        setups=np.array(setups),
        n=np.array([float(len(steps)) for steps in closed]),
    )


def _name(lines: _Lines, steps: Sequence[Step]) -> str:
    """Return a loop by its marks; where it passes bench marks it begins at one."""
    runs = [
        (lines.start[line], lines.end[line]) if way > 0 else (lines.end[line], lines.start[line])
        for line, way in steps
    ]
    cut = next((k for k, (one, _) in enumerate(runs) if one in lines.known), 0)
    runs = [*runs[cut:], *runs[:cut]]
    return "-".join([runs[0][0], *(end for _, end in runs)])


def _worst(section: Levels, loops: _Loops) -> int:
    """Return the loop that uses most of its limit; the largest where there is none; -1."""
    if not loops.names:
        return -1
    limit = None if section.tolerance is None else section.tolerance.misclosure
    size = np.abs(loops.misclosure_m)
    if limit is not None and not _lacks(section, loops):
        size = size / np.asarray(limit.at(n=loops.setups, length_m=loops.length_m))
    return int(np.argmax(size))


def _lacks(section: Levels, loops: _Loops) -> str:
    """Return why the tolerance has no value for these lines, or ""."""
    limit = None if section.tolerance is None else section.tolerance.misclosure
    if limit is None:
        return ""
    if limit.needs_length and np.isnan(loops.length_m).any():
        return f'lines have no distance, and the tolerance "{limit.text}" needs it'
    if limit.needs_n and np.isnan(loops.setups).any():
        return f'lines have no number of set-ups, and the tolerance "{limit.text}" needs it'
    return ""


# ---------------------------------------------------------------- what is handed on


def _comparison(section: Levels, loops: _Loops, worst: int, unproved: str) -> Comparison:
    lacks = unproved if worst < 0 else _lacks(section, loops)
    return once(
        "misclosure",
        "Misclosure" if worst < 0 else f"Misclosure {loops.names[worst]}",
        float("nan") if lacks else float(loops.misclosure_m[worst]),
        n=float("nan") if worst < 0 else float(loops.setups[worst]),
        length_m=float("nan") if worst < 0 else float(loops.length_m[worst]),
        absent=lacks,
    )


def _supplements(
    section: Levels, lines: _Lines, solved: Solved, loops: _Loops
) -> tuple[Supplement, ...]:
    found, fine = solved.adjustment, Quantity.FINE
    unit = found.sigma0 if found.degrees_of_freedom > 0 else float("nan")
    names = [f"{one}-{other}" for one, other in zip(lines.start, lines.end, strict=True)]
    length, count = Quantity.DISTANCE, Quantity.COUNT
    made = []
    if loops.names:
        made.append(
            Supplement(
                key="loops",
                title="How the loops close, before any adjustment",
                head="Loop",
                id=np.array(loops.names, dtype=object),
                columns=(
                    column("misclosure", "Misclosure", fine, loops.misclosure_m),
                    column("distance", "Distance", length, loops.length_m),
                    column("setups", "Set-ups", count, loops.setups),
                    column("lines", "Lines", count, loops.n),
                ),
                note="Computed minus known; bench marks count as one mark.",
                comparison=None
                if _lacks(section, loops)
                else Comparison(
                    limit="misclosure",
                    label="Misclosure",
                    value=loops.misclosure_m,
                    n=loops.setups,
                    length_m=loops.length_m,
                ),
            )
        )
    made.append(
        Supplement(
            key="lines",
            title="Lines and their residuals",
            head="Line",
            id=np.array(names, dtype=object),
            columns=(
                column("rise", "Rise", fine, lines.book.rise_m),
                column("residual", "Residual", fine, found.residual),
                column("adjusted_rise", "Adjusted rise", fine, lines.book.rise_m + found.residual),
                column("distance", "Distance", length, lines.book.distance_m),
                column("setups", "Set-ups", count, lines.book.setups),
                column(
                    "standardized",
                    "Residual over its σ",
                    Quantity.NUMBER,
                    found.standardized / unit if unit != 0.0 else 0.0 * found.standardized,
                ),
                column("redundancy", "Redundancy", Quantity.NUMBER, found.redundancy),
            ),
            note="Residual = adjusted − observed; σ a posteriori.",
        )
    )
    return tuple(made)


def _remarks(
    section: Levels, lines: _Lines, solved: Solved, loops: _Loops, worst: int
) -> list[str]:
    unit = {
        "equal": "a line",
        "in proportion to distance": "a kilometre",
        "in proportion to the number of set-ups": "a set-up",
    }[lines.weight]
    found = solved.adjustment
    first = (
        f"The {len(lines.start)} lines do not follow each other: they are a net, adjusted by least "
        f"squares with variances {lines.weight}. Held: {', '.join(lines.known)}."
    )
    says = [first]
    if worst >= 0:
        says.append(
            f"{loops.names[worst]} closes worst: computed minus known "
            f"{length_text(float(loops.misclosure_m[worst]), section.unit)}."
        )
    if found.degrees_of_freedom > 0:
        size = length_text(found.sigma0 * _UNIT_M, section.unit, plus=False)
        says.append(
            f"Standard deviation of {unit} a posteriori: {size} with {found.degrees_of_freedom} "
            "degrees of freedom."
        )
    largest = np.nan_to_num(np.abs(found.standardized))
    if largest.size and found.sigma0 > 0.0:
        row = int(np.argmax(largest))
        says.append(
            f"The largest residual for its standard deviation is that of {lines.start[row]} to "
            f"{lines.end[row]}: {fixed(float(largest[row]) / found.sigma0, 1)} times. A "
            "[[network]] tests every line and shows what would be found."
        )
    return says
