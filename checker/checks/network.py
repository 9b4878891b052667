"""Networks: traverses, level runs and vectors adjusted together by least squares.

The variance factor is tested two-sided by chi-square; every observation by its standardized
residual at a level that keeps the whole net's at 1 - confidence (Sidak), one at a time: the
largest is set aside, the net adjusted again, and so on. The smallest blunder that such a test finds
with 80 % probability is (z(1 - a/2) + z(0.8)) sigma / sqrt(r) (W. Baarda, 1968, from memory).
Ellipses are scaled by sqrt(2 F(confidence; 2, degrees of freedom)) and the a posteriori standard
deviation of unit weight, or by sqrt(chi-square(confidence, 2)) a priori. Nothing is left out of the
result.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from checker.adjust.least_squares import ANGULAR, Kind
from checker.adjust.reliability import critical_value, minimal_blunder
from checker.checks.closing import column, item, length_text, once, refuse, whole_measure
from checker.checks.levels import contribute_levels
from checker.checks.net import ASSUMED, Net, Sighting, Solved, solve
from checker.checks.traverse import contribute_traverse, held_by, hold_control
from checker.errors import InputError, Where
from checker.model.arrays import FloatArray
from checker.model.books import VectorBook
from checker.model.inputs import Inputs
from checker.model.job import Job, Levels, Network, Traverse, VectorFrame, Vectors
from checker.model.measure import Column, Comparison, Item, Measure, Quantity
from checker.text import fixed, signed
from checker.units import ARCSEC, Formula

MOST_NAMED = 8
"""So many observations at most are set aside one after another."""
SAME = 1e-3
"""Standardized residuals that differ by less cannot be told apart."""
_LISTED = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pair:
    """Two stations joined by an observation. semi_major_m: of their relative ellipse."""

    name: str
    length_m: float
    semi_major_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tests:
    """Tests at the stated confidence.

    low, high: bounds of chi-square. critical: of a standardized residual. scale: of standard
    ellipses. passes: chi-square lies within its bounds.
    """

    low: float
    high: float
    critical: float
    scale: float
    passes: bool


def measure_network(section: Network, inputs: Inputs, job: Job) -> Measure:
    """Return an adjusted network: rows of stations, then rows of observations.

    Comparison: distance, the relative positional precision (semi-major axis of the relative
    ellipse, metres; length_m the distance) of that pair of stations joined by an observation that
    uses most of its limit. Where the variance factor fails its test, or an observation stands out,
    the check is undecided. Raises InputError where the net is not determined.
    """
    net = _assembled(section, inputs, job)
    free = section.fixed == ()
    solved = solve(net, section.where, free=free)
    tests = _tests(section, solved)
    named = _snooped(section, net, solved, tests, free=free)
    pairs = _pairs(solved, tests)
    undecided = _undecided(solved, tests, named)
    return whole_measure(
        "network",
        section,
        row_id=np.array(
            [*solved.names, *(solved.sightings[index].label for index in solved.row)], dtype=object
        ),
        columns=_columns(section, solved, tests, {index for each in named for index in each}),
        summary=_summary(section, solved, tests, pairs),
        comparisons=_comparisons(section, pairs),
        remarks=_remarks(section, solved, tests, named, free=free),
        undecided=undecided,
    )


# ---------------------------------------------------------------- the net


def _assembled(section: Network, inputs: Inputs, job: Job) -> Net:
    """Return the net of the sections that the job names."""
    net = Net()
    used = {each.name: each for each in job.checks}
    held: list[str] = []
    marks: list[str] = []
    for name in section.use:
        each = used.get(name)
        if isinstance(each, Traverse):
            contribute_traverse(each, inputs, net, section.sigmas)
            held += held_by(each)
            marks += [mark.strip() for mark in (each.backsight, each.foresight) if mark]
        elif isinstance(each, Levels):
            contribute_levels(each, inputs, net, section.sigmas)
            held += [end.strip() for end in (each.start, each.close) if isinstance(end, str)]
        elif isinstance(each, Vectors):
            _contribute_vectors(each, inputs, net, section)
        else:
            refuse(
                "unknown-section-name",
                section.where,
                f'use names "{name}", and no [[traverse]], [[levels]] or [[vectors]] has that name',
                "write the names of the sections as they stand under name",
            )
    if section.fixed is None:
        stations = {name for each in net.sightings for name in (each.i, each.j, each.k)}
        held = held or [str(name).strip() for name in _control_ids(inputs) if name in stations]
        hold_control(net, inputs, held)
    else:
        unknown = [name for name in section.fixed if name not in _control_ids(inputs)]
        if unknown:
            refuse(
                "unknown-control",
                section.where,
                f'fixed names "{unknown[0]}", which is not a point of the control file',
                "add the point to the control, or take it out of fixed",
            )
        if not section.fixed:
            net.known.clear()
        hold_control(net, inputs, section.fixed)
        if section.fixed:
            # A mark that is only sighted gives a direction, and is held for that.
            hold_control(net, inputs, _only_sighted(net, marks))
    for name in _control_ids(inputs):
        # Where a control point is not held it still says roughly where the station is.
        spare = Net()
        hold_control(spare, inputs, [name])
        for known, place in spare.known.items():
            net.near(known, *place)
    return net


def _only_sighted(net: Net, marks: Sequence[str]) -> list[str]:
    """Return the marks to which the net has angles and nothing else."""
    reached = {
        name for each in net.sightings if each.kind is not Kind.ANGLE for name in (each.i, each.j)
    } | {each.i for each in net.sightings}
    return [mark for mark in marks if mark not in reached]


def _control_ids(inputs: Inputs) -> list[str]:
    return [] if inputs.control is None else [str(name).strip() for name in inputs.control.id]


def _contribute_vectors(each: Vectors, inputs: Inputs, net: Net, section: Network) -> None:
    """Add vectors in local axes, with their covariances or the stated precision."""
    book = inputs.books[each.name]
    if not isinstance(book, VectorBook):
        raise TypeError(each.name)
    if each.frame is VectorFrame.GEOCENTRIC:
        refuse(
            "vector-frame",
            section.where,
            f'the vectors "{each.name}" are earth-centred, and a network is adjusted on the grid',
            "bring them to east, north, up of the grid first",
        )
    formula = section.sigmas.vector or ASSUMED.vector
    assert formula is not None  # noqa: S101  (one is assumed)
    turned = [1, 0, 2]  # the book's axes are east, north, up
    for row in range(len(book)):
        covariance = book.covariance_m2[row]
        if np.isnan(covariance).any():
            length = float(np.linalg.norm(book.d_m[row]))
            covariance = np.eye(3) * float(formula.at(length_m=length)) ** 2
        start, end = str(book.from_[row]).strip(), str(book.to[row]).strip()
        east, north, up = book.d_m[row].tolist()
        net.sightings.append(
            Sighting(
                kind=Kind.NORTH,
                i=start,
                j=end,
                where=Where(file=book.path, line=int(book.line[row])),
                label=f"vector {start} to {end}",
                vector_m=(north, east, up),
                covariance_m2=covariance[np.ix_(turned, turned)],
            )
        )


# ---------------------------------------------------------------- tests


def _tests(section: Network, solved: Solved) -> _Tests:
    from scipy.stats import chi2, f

    alpha = 1.0 - section.confidence
    found = solved.adjustment
    freedom = found.degrees_of_freedom
    tested = int(np.count_nonzero(np.isfinite(found.standardized)))
    low = high = float("nan")
    if freedom > 0:
        low, high = (float(chi2.ppf(p, freedom)) for p in (alpha / 2.0, 1.0 - alpha / 2.0))
    if section.a_priori or freedom < 1:
        scale = float(np.sqrt(chi2.ppf(section.confidence, 2)))
    else:
        scale = found.sigma0 * float(np.sqrt(2.0 * f.ppf(section.confidence, 2, freedom)))
    return _Tests(
        low=low,
        high=high,
        critical=critical_value(section.confidence, tested),
        scale=scale,
        passes=freedom < 1 or bool(low <= found.chi2 <= high),
    )


def _snooped(
    section: Network, net: Net, solved: Solved, tests: _Tests, *, free: bool
) -> list[list[int]]:
    """Return the sightings that stand out, one after another; several that cannot be told apart.

    After each the net is adjusted again without it; the adjustment that is shown keeps them all.
    """
    named: list[list[int]] = []
    index = list(range(len(net.sightings)))
    now = solved
    while len(named) < MOST_NAMED:
        size = np.abs(np.nan_to_num(now.adjustment.standardized))
        if not size.size or size.max() <= tests.critical:
            break
        rows = np.flatnonzero(size >= size.max() - SAME)
        alike = list(dict.fromkeys(now.row[row] for row in rows.tolist()))
        named.append([index[each] for each in alike])
        if len(alike) > 1:
            break
        index.pop(alike[0])
        rest = Net(
            sightings=[net.sightings[each] for each in index],
            approximate=net.approximate,
            known=net.known,
        )
        try:
            now = solve(rest, section.where, free=free)
        except InputError:  # without it the net no longer settles: nothing more can be told
            break
    return named


def _undecided(solved: Solved, tests: _Tests, named: list[list[int]]) -> str:
    freedom = solved.adjustment.degrees_of_freedom
    if freedom < 1:
        return "no observation is more than needed: nothing proves the network"
    if named:
        first = " or ".join(solved.sightings[index].label for index in named[0][:3])
        return f"an observation stands out: {first}"
    if not tests.passes:
        return (
            "the residuals do not fit the stated standard deviations: chi-square "
            f"{fixed(solved.adjustment.chi2, 1)} is not within {fixed(tests.low, 1)} to "
            f"{fixed(tests.high, 1)}"
        )
    return ""


# ---------------------------------------------------------------- ellipses


def _ellipse(cofactor: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return semi-axes and azimuth of the major one of standard ellipses; shape (stations,).

    cofactor: shape (stations, 3, 3), north first.
    """
    nn, ee, ne = cofactor[:, 0, 0], cofactor[:, 1, 1], cofactor[:, 0, 1]
    half = np.hypot((nn - ee) / 2.0, ne)
    mean = (nn + ee) / 2.0
    major = np.sqrt(np.maximum(mean + half, 0.0))
    minor = np.sqrt(np.maximum(mean - half, 0.0))
    azimuth = np.mod(0.5 * np.arctan2(2.0 * ne, nn - ee), np.pi)
    return major, minor, np.asarray(azimuth)


def _pairs(solved: Solved, tests: _Tests) -> list[_Pair]:
    """Return the pairs of stations joined by an observation of plan, with their precision."""
    found = solved.adjustment
    joined: dict[tuple[int, int], None] = {}
    observations = solved.observations
    plan = np.isin(observations.kind, [Kind.DISTANCE, Kind.AZIMUTH, Kind.NORTH])
    for row in np.flatnonzero(plan).tolist():
        i, j = sorted((int(observations.i[row]), int(observations.j[row])))
        if not (solved.fixed[i, :2].all() and solved.fixed[j, :2].all()):
            joined[i, j] = None
    ends = np.array(list(joined), dtype=np.int64).reshape(-1, 2)
    major, _, _ = _ellipse(found.relative_plan_cofactors(ends[:, 0], ends[:, 1]))
    step = found.position_m[ends[:, 1], :2] - found.position_m[ends[:, 0], :2]
    return [
        _Pair(
            name=f"{solved.names[i]}-{solved.names[j]}",
            length_m=float(length),
            semi_major_m=float(size),
        )
        for (i, j), length, size in zip(
            ends.tolist(), np.hypot(*step.T), major * tests.scale, strict=True
        )
    ]


def _worst(section: Network, pairs: Sequence[_Pair]) -> _Pair | None:
    """Return the pair that uses most of its limit; the largest where there is none."""
    limit = None if section.tolerance is None else section.tolerance.distance

    def use(pair: _Pair) -> float:
        allowed = 1.0 if limit is None else float(limit.at(length_m=pair.length_m))
        return pair.semi_major_m / allowed

    return max(pairs, key=use, default=None)


# ---------------------------------------------------------------- what is handed on


def _comparisons(section: Network, pairs: Sequence[_Pair]) -> tuple[Comparison, ...]:
    worst = _worst(section, pairs)
    if worst is None:
        return (
            once(
                "distance",
                "Relative precision",
                float("nan"),
                length_m=0.0,
                absent="no two stations are joined in plan by an observation",
            ),
        )
    label = f"Relative precision {worst.name}"
    return (once("distance", label, worst.semi_major_m, length_m=worst.length_m),)


def _columns(
    section: Network, solved: Solved, tests: _Tests, flagged: set[int]
) -> tuple[Column, ...]:
    found = solved.adjustment
    stations, rows = len(solved.names), len(solved.row)
    major, minor, azimuth = _ellipse(found.cofactor_m2)
    plan_free = ~solved.fixed[:, :2].all(axis=1)
    observed = found.column >= 0

    def of_stations(values: FloatArray) -> FloatArray:
        return np.concatenate((values, np.full(rows, np.nan)))

    def of_rows(values: FloatArray) -> FloatArray:
        return np.concatenate((np.full(stations, np.nan), values))

    known = solved.fixed | observed
    place = np.where(known, found.position_m, np.nan)
    unit = 1.0 if section.a_priori or found.degrees_of_freedom < 1 else found.sigma0
    there = plan_free & observed[:, :2].any(axis=1)
    ellipse = [np.where(there, each, np.nan) for each in (major, minor, azimuth)]
    sigma_z = np.where(
        observed[:, 2], np.sqrt(np.maximum(found.cofactor_m2[:, 2, 2], 0.0)) * unit, np.nan
    )
    angular = np.isin(solved.observations.kind, list(ANGULAR))
    residual = found.residual
    # What a blunder must be to be found: per observation, in its own unit.
    sigma = np.sqrt(_row_variance(solved))
    with np.errstate(divide="ignore", invalid="ignore"):
        blunder = np.where(
            np.isfinite(found.standardized),
            minimal_blunder(tests.critical, sigma, found.redundancy),
            np.nan,
        )
    what = np.array(["station"] * stations + ["observation"] * rows, dtype=object)
    named = np.array(
        [""] * stations + [solved.sightings[index].label for index in solved.row],
        dtype=object,
    )
    marks = np.array(
        ["held" if held.any() else "" for held in solved.fixed]
        + ["stands out" if index in flagged else "" for index in solved.row],
        dtype=object,
    )
    small, angle = Quantity.LENGTH, Quantity.SMALL_ANGLE
    return (
        column("kind", "Row", Quantity.TEXT, what),
        column("mark", "Mark", Quantity.TEXT, marks),
        column("n", "Northing", Quantity.COORDINATE, of_stations(place[:, 0])),
        column("e", "Easting", Quantity.COORDINATE, of_stations(place[:, 1])),
        column("z", "Elevation", Quantity.COORDINATE, of_stations(place[:, 2])),
        column("semi_major", "Semi-major axis", small, of_stations(ellipse[0] * tests.scale)),
        column("semi_minor", "Semi-minor axis", small, of_stations(ellipse[1] * tests.scale)),
        column("orientation", "Azimuth of major axis", Quantity.ANGLE, of_stations(ellipse[2])),
        column("sigma_z", "σ elevation", small, of_stations(sigma_z)),
        column("observation", "Observation", Quantity.TEXT, named, detail=True),
        column("residual", "Residual", small, of_rows(np.where(angular, np.nan, residual))),
        column(
            "residual_arcsec",
            "Residual of an angle",
            angle,
            of_rows(np.where(angular, residual, np.nan)),
        ),
        column("standardized", "Standardized", Quantity.NUMBER, of_rows(found.standardized)),
        column("redundancy", "Redundancy", Quantity.NUMBER, of_rows(found.redundancy)),
        column(
            "detectable",
            "Detectable blunder",
            small,
            of_rows(np.where(angular, np.nan, blunder)),
            detail=True,
        ),
        column(
            "detectable_arcsec",
            "Detectable blunder of an angle",
            angle,
            of_rows(np.where(angular, blunder, np.nan)),
            detail=True,
        ),
    )


def _row_variance(solved: Solved) -> FloatArray:
    return np.asarray(solved.observations.sigma**2)


def _summary(
    section: Network, solved: Solved, tests: _Tests, pairs: Sequence[_Pair]
) -> tuple[Item, ...]:
    found = solved.adjustment
    worst = _worst(section, pairs)
    number = Quantity.NUMBER
    return (
        item("stations", "Stations", Quantity.COUNT, len(solved.names)),
        item("observations", "Observations", Quantity.COUNT, len(solved.row)),
        item("degrees_of_freedom", "Degrees of freedom", Quantity.COUNT, found.degrees_of_freedom),
        item("sigma0", "σ of unit weight, a posteriori", number, found.sigma0),
        item("chi2", "Chi-square", number, found.chi2),
        item("chi2_low", "Chi-square at least", number, tests.low),
        item("chi2_high", "Chi-square at most", number, tests.high),
        item("confidence", "Confidence", Quantity.PROBABILITY, section.confidence),
        item("ellipse_factor", "Factor of standard ellipses", number, tests.scale),
        item("critical", "Standardized residual at most", number, tests.critical),
        Item(
            key="weakest_pair",
            label="Pair with the poorest relative precision",
            quantity=Quantity.TEXT,
            value=None if worst is None else worst.name,
        ),
        item(
            "relative_semi_major",
            "its relative semi-major axis",
            Quantity.LENGTH,
            None if worst is None else worst.semi_major_m,
        ),
    )


def _remarks(
    section: Network,
    solved: Solved,
    tests: _Tests,
    named: list[list[int]],
    *,
    free: bool,
) -> list[str]:
    found = solved.adjustment
    percent = fixed(100.0 * section.confidence, 1).removesuffix(".0")
    says = []
    for number, alike in enumerate(named):
        labels = [solved.sightings[index] for index in alike[:_LISTED]]
        text = " or ".join(f"{each.label} ({each.where})" for each in labels)
        if len(alike) > 1:
            says.append(f"These cannot be told apart, one of them stands out: {text}.")
        elif number == 0:
            row = solved.row.index(alike[0])
            rows = [at for at, index in enumerate(solved.row) if index == alike[0]]
            row = max(rows, key=lambda at: abs(np.nan_to_num(found.standardized[at])))
            says.append(
                f"{text[:1].upper()}{text[1:]} stands out: standardized residual "
                f"{signed(float(found.standardized[row]), 1)}; if it is the blunder, observed "
                f"minus right is about {_blunder_text(solved, row, section)}."
            )
        else:
            says.append(f"With that set aside the next to stand out is {text}.")
    if not named and found.degrees_of_freedom > 0:
        rare = fixed(100.0 * (1.0 - section.confidence), 2).rstrip("0").removesuffix(".")
        says.append(
            "No observation stands out: no standardized residual is over "
            f"{fixed(tests.critical, 2)}, which in a clean net one is {rare} times in a hundred."
        )
    if found.degrees_of_freedom > 0 and not tests.passes:
        way = "larger" if found.chi2 > tests.high else "smaller"
        says.append(
            f"The residuals are {way} than the stated standard deviations let expect (two-sided "
            f"chi-square test at {percent} %): a blunder, or standard deviations that are wrong."
        )
    held = [name for name, fixed_ in zip(solved.names, solved.fixed, strict=True) if fixed_.any()]
    if free:
        says.append(
            "Nothing is held: a free net, which keeps its approximate place, direction and scale "
            "as a whole."
        )
    else:
        says.append(f"Held: {', '.join(held[:12])}{' and more' if len(held) > 12 else ''}.")
    unchecked = [
        solved.sightings[index].label
        for row, index in enumerate(solved.row)
        if np.isnan(found.standardized[row]) and not solved.sightings[index].stated
    ]
    if unchecked:
        some = ", ".join(unchecked[:_LISTED])
        more = f" and {len(unchecked) - _LISTED} more" if len(unchecked) > _LISTED else ""
        says.append(f"Checked by nothing else, so a blunder in them would not show: {some}{more}.")
    says.append(_precision_words(section, solved))
    basis = (
        "a priori (chi-square)"
        if section.a_priori or found.degrees_of_freedom < 1
        else "a posteriori (F)"
    )
    says.append(
        f"Ellipses at {percent} %: standard ellipses times {fixed(tests.scale, 3)}, {basis}; "
        "σ of elevations is one standard deviation."
    )
    return says


def _blunder_text(solved: Solved, row: int, section: Network) -> str:
    found = solved.adjustment
    size = -float(found.residual[row] / found.redundancy[row])
    if Kind(int(solved.observations.kind[row])) in ANGULAR:
        return f"{signed(size / ARCSEC, 1)}″"
    return length_text(size, section.unit)


def _precision_words(section: Network, solved: Solved) -> str:
    kinds = set(solved.observations.kind.tolist())
    angle = section.sigmas.angle
    entries: list[tuple[bool, str, Formula | None, Formula | None]] = [
        (Kind.ANGLE in kinds, "angles", angle, ASSUMED.angle),
        (Kind.AZIMUTH in kinds, "azimuths", section.sigmas.azimuth or angle, ASSUMED.angle),
        (Kind.DISTANCE in kinds, "distances", section.sigmas.distance, ASSUMED.distance),
        (Kind.RISE in kinds, "rises", section.sigmas.rise, ASSUMED.rise),
        (
            Kind.NORTH in kinds,
            "vectors without covariances",
            section.sigmas.vector,
            ASSUMED.vector,
        ),
    ]
    stated = [f"{what} {s.text}" for there, what, s, _ in entries if there and s is not None]
    assumed = [
        f"{what} {a.text}" for there, what, s, a in entries if there and s is None and a is not None
    ]
    says = "Standard deviations"
    if stated:
        says += f" as stated: {', '.join(stated)}"
    if assumed:
        says += f"{';' if stated else ''} assumed, as none is stated: {', '.join(assumed)}"
    return f"{says}."
