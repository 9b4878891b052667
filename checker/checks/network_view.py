"""What an adjusted network hands on: its rows, further tables, summary and words."""

from collections.abc import Sequence

import numpy as np

from checker.adjust.observations import ANGULAR, AXES, Kind
from checker.checks.closing import column, item, length_text
from checker.checks.net import ASSUMED, Solved
from checker.checks.network_parts import Assembled
from checker.checks.network_tests import Pairs, Tests, ellipse, names_of
from checker.model.arrays import FloatArray
from checker.model.job import Network, ResidualTest
from checker.model.measure import Column, Comparison, Item, Quantity, Supplement
from checker.text import fixed, signed
from checker.units import ARCSEC, Formula

_LISTED = 6
_AXIS = {Kind.NORTH: " north", Kind.EAST: " east", Kind.UP: " up"}
Named = Sequence[tuple[list[int], float]]
"""Sightings that stand out, one after another, several where they cannot be told apart."""


def row_labels(solved: Solved) -> list[str]:
    """Return what every row of the observations is called; components of vectors by their axis."""
    return [
        solved.sightings[index].label + _AXIS.get(Kind(kind), "")
        for index, kind in zip(solved.row, solved.observations.kind.tolist(), strict=True)
    ]


def columns_of(
    section: Network, solved: Solved, tests: Tests, flagged: set[int]
) -> tuple[Column, ...]:
    """Return the columns: stations first, then observations."""
    found = solved.adjustment
    stations, rows = len(solved.names), len(solved.row)
    major, minor, azimuth = ellipse(found.cofactor_m2)
    plan_free = ~solved.fixed[:, :2].all(axis=1)
    observed = found.column >= 0

    def of_stations(values: FloatArray) -> FloatArray:
        return np.concatenate((values, np.full(rows, np.nan)))

    def of_rows(values: FloatArray) -> FloatArray:
        return np.concatenate((np.full(stations, np.nan), values))

    known = solved.fixed | observed
    place = np.where(known, found.position_m, np.nan)
    moved = np.where(
        observed & np.isfinite(solved.start_m), found.position_m - solved.start_m, np.nan
    )
    unit = unit_weight(section, solved)
    there = plan_free & observed[:, :2].any(axis=1)
    shapes = [np.where(there, each, np.nan) for each in (major, minor, azimuth)]
    spread = np.sqrt(np.maximum(np.diagonal(found.cofactor_m2, axis1=1, axis2=2), 0.0)) * unit
    spread = np.where(observed, spread, np.nan)
    angular = np.isin(solved.observations.kind, list(ANGULAR))
    residual, blunder = found.residual + 0.0, tests.detectable(solved)
    what = np.array(["station"] * stations + ["observation"] * rows, dtype=object)
    named = np.array([""] * stations + row_labels(solved), dtype=object)
    marks = np.array(
        [_mark(solved, index) for index in range(stations)]
        + ["stands out" if index in flagged else "" for index in solved.row],
        dtype=object,
    )
    small, angle, number = Quantity.FINE, Quantity.SMALL_ANGLE, Quantity.NUMBER
    lengths = np.where(angular, np.nan, residual)
    mixed = Column(
        key="residual",
        label="Residual, lengths and angles",
        quantity=small,
        values=of_rows(residual),
        detail=True,
        angular=np.concatenate((np.zeros(stations, dtype=np.bool_), angular)),
    )
    return (
        column("kind", "Row", Quantity.TEXT, what),
        column("mark", "Mark", Quantity.TEXT, marks),
        column("n", "Northing", Quantity.COORDINATE, of_stations(place[:, 0])),
        column("e", "Easting", Quantity.COORDINATE, of_stations(place[:, 1])),
        column("z", "Elevation", Quantity.COORDINATE, of_stations(place[:, 2])),
        column("semi_major", "Semi-major axis", small, of_stations(shapes[0] * tests.scale)),
        column("semi_minor", "Semi-minor axis", small, of_stations(shapes[1] * tests.scale)),
        column("orientation", "Azimuth of major axis", Quantity.ANGLE, of_stations(shapes[2])),
        column("sigma_n", "σ northing", small, of_stations(spread[:, 0]), detail=True),
        column("sigma_e", "σ easting", small, of_stations(spread[:, 1]), detail=True),
        column("sigma_z", "σ elevation", small, of_stations(spread[:, 2])),
        *(
            column(
                f"correction_{axis}",
                f"Moved {word}",
                small,
                of_stations(moved[:, index]),
                detail=True,
            )
            for index, (axis, word) in enumerate((("n", "north"), ("e", "east"), ("z", "up")))
        ),
        column("observation", "Observation", Quantity.TEXT, named, detail=True),
        mixed,
        column("residual_length", "Residual", small, of_rows(lengths)),
        column(
            "residual_arcsec",
            "Residual of an angle",
            angle,
            of_rows(np.where(angular, residual, np.nan)),
        ),
        column("standardized", "Standardized", number, of_rows(found.standardized)),
        *(
            (
                column(
                    "tau", "over σ of unit weight", number, of_rows(found.standardized / tests.unit)
                ),
            )
            if tests.test is ResidualTest.POPE and tests.unit > 0.0
            else ()
        ),
        column("redundancy", "Redundancy", number, of_rows(found.redundancy)),
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


def _mark(solved: Solved, station: int) -> str:
    """Return what holds a station: held, its plan or its height alone, weighted, or nothing."""
    held, used = solved.fixed[station], solved.adjustment.column[station] >= 0
    if held.any():
        plan, height = bool(held[:2].all()), bool(held[2])
        if plan and used[2] and not height:
            return "held in plan"
        return "held in height" if height and used[:2].any() else "held"
    seen = solved.observations
    weights = np.isin(seen.kind, [Kind.N, Kind.E, Kind.Z]) & (seen.i == station)
    return "weighted" if weights.any() else ""


def unit_weight(section: Network, solved: Solved) -> float:
    """Return the standard deviation of unit weight that precisions rest on."""
    found = solved.adjustment
    return 1.0 if section.a_priori or found.degrees_of_freedom < 1 else found.sigma0


def supplements_of(solved: Solved, pairs: Pairs) -> tuple[Supplement, ...]:
    """Return the relative precision of every pair of stations, the poorest first."""
    if not len(pairs.one):
        return ()
    share = pairs.semi_major_m / np.maximum(pairs.length_m, 1e-9)
    order = np.argsort(-pairs.semi_major_m, kind="stable")
    names = np.array(names_of(solved, pairs, order.tolist()), dtype=object)
    stations = np.array(solved.names, dtype=object)
    small = Quantity.FINE
    return (
        Supplement(
            key="pairs",
            title="Relative precision of stations that an observation joins",
            head="Stations",
            id=names,
            columns=(
                column("from", "From", Quantity.TEXT, stations[pairs.one[order]], detail=True),
                column("to", "To", Quantity.TEXT, stations[pairs.other[order]], detail=True),
                column("distance", "Distance", Quantity.DISTANCE, pairs.length_m[order]),
                column("semi_major", "Relative semi-major axis", small, pairs.semi_major_m[order]),
                column("semi_minor", "Relative semi-minor axis", small, pairs.semi_minor_m[order]),
                column("orientation", "Azimuth of it", Quantity.ANGLE, pairs.azimuth_rad[order]),
                column("ppm", "ppm", Quantity.PPM, share[order] * 1e6),
            ),
            note="The ellipse of the difference of two stations, at the stated confidence.",
            comparison=Comparison(
                limit="distance",
                label="Relative precision",
                value=pairs.semi_major_m[order],
                length_m=pairs.length_m[order],
            ),
        ),
    )


def summary_of(
    section: Network, solved: Solved, tests: Tests, pairs: Pairs, worst: int
) -> tuple[Item, ...]:
    """Return the numbers of the whole."""
    found = solved.adjustment
    number, text = Quantity.NUMBER, Quantity.TEXT
    name = names_of(solved, pairs, [worst])[0] if worst >= 0 else None
    size = float(pairs.semi_major_m[worst]) if worst >= 0 else None
    critical = tests.critical if np.isfinite(tests.critical) else float("nan")
    return (
        item("stations", "Stations", Quantity.COUNT, len(solved.names)),
        item("observations", "Observations", Quantity.COUNT, len(solved.row)),
        item("degrees_of_freedom", "Degrees of freedom", Quantity.COUNT, found.degrees_of_freedom),
        item("iterations", "Iterations", Quantity.COUNT, found.steps),
        item("sigma0", "σ of unit weight, a posteriori", number, found.sigma0),
        item("chi2", "Chi-square", number, found.chi2),
        item("chi2_low", "Chi-square at least", number, tests.low),
        item("chi2_high", "Chi-square at most", number, tests.high),
        item("confidence", "Confidence", Quantity.PROBABILITY, section.confidence),
        item("ellipse_factor", "Factor of standard ellipses", number, tests.scale),
        Item(key="test", label="Test of residuals", quantity=text, value=tests.test.value),
        item("critical", "Statistic of a residual at most", number, critical),
        Item(
            key="weakest_pair",
            label="Pair with the poorest relative precision",
            quantity=text,
            value=name,
        ),
        item("relative_semi_major", "Its relative semi-major axis", Quantity.FINE, size),
    )


# ---------------------------------------------------------------- words


def remarks_of(
    section: Network, made: Assembled, solved: Solved, tests: Tests, named: Named
) -> list[str]:
    """Return what must be said, what stands out first."""
    found = solved.adjustment
    percent = fixed(100.0 * section.confidence, 2).rstrip("0").removesuffix(".")
    says = _outliers(section, solved, tests, named)
    if found.degrees_of_freedom > 0 and not tests.passes:
        way = "larger" if found.chi2 > tests.high else "smaller"
        assumed = any(each.assumed for each in solved.sightings)
        what = "assumed" if assumed else "stated"
        then = (
            "state your own; the test makes no verdict here."
            if assumed
            else "a blunder, or standard deviations that are wrong."
            if way == "larger"
            else "they are stated too large, or the observations hang on each other."
        )
        says.append(
            f"The residuals are {way} than the {what} standard deviations let expect (two-sided "
            f"chi-square test at {percent} %): {then}"
        )
    says += _holding(made, solved)
    unchecked = [
        label
        for label, index, w in zip(
            row_labels(solved), solved.row, found.standardized.tolist(), strict=True
        )
        if np.isnan(w) and not solved.sightings[index].stated
    ]
    if unchecked:
        some = ", ".join(unchecked[:_LISTED])
        more = f" and {len(unchecked) - _LISTED} more" if len(unchecked) > _LISTED else ""
        says.append(f"Checked by nothing else, so a blunder in them would not show: {some}{more}.")
    says += made.says
    says.append(_precision_words(section, solved))
    basis = (
        "a priori (chi-square)"
        if section.a_priori or found.degrees_of_freedom < 1
        else "a posteriori (F)"
    )
    says.append(
        f"Ellipses at {percent} %: standard ellipses times {fixed(tests.scale, 3)}, {basis}; "
        "σ of northings, eastings and elevations is one standard deviation."
    )
    if not found.steps:
        return says
    says.append(
        f"It settled after {found.steps} iteration{'s' if found.steps != 1 else ''}; the last one "
        f"moved nothing by more than {_small_text(found.moved_m)}."
    )
    return says


def _small_text(moved: float) -> str:
    return "a nanometre" if moved < 1e-9 else f"{moved * 1e6:.2g} thousandths of a millimetre"


def _outliers(section: Network, solved: Solved, tests: Tests, named: Named) -> list[str]:
    found = solved.adjustment
    says = []
    for number, (alike, size) in enumerate(named):
        labels = [solved.sightings[index] for index in alike[:_LISTED]]
        text = " or ".join(f"{each.label} ({each.where})" for each in labels)
        if len(alike) > 1:
            says.append(f"These cannot be told apart, one of them stands out: {text}.")
        elif number == 0:
            rows = [at for at, index in enumerate(solved.row) if index == alike[0]]
            row = max(rows, key=lambda at: abs(np.nan_to_num(found.standardized[at])))
            says.append(
                f"{text[:1].upper()}{text[1:]} stands out: standardized residual "
                f"{signed(float(found.standardized[row]), 1)}; if it is the blunder, observed "
                f"minus right is about {_blunder_text(solved, row, section)}."
            )
        else:
            says.append(
                f"With that set aside the next to stand out is {text}: {fixed(size, 1)} standard "
                "deviations."
            )
    percent = fixed(100.0 * (1.0 - section.confidence), 2).rstrip("0").removesuffix(".")
    rare = "once" if percent == "1" else f"{percent} times"
    if found.degrees_of_freedom > 0 and np.isfinite(tests.critical):
        lead = "" if named else "No observation stands out. "
        limit = f"passes {fixed(tests.critical, 2)} at most {rare} in a hundred"
        says.append(
            f"{lead}Baarda's test, by the stated standard deviations: in a clean net a "
            f"standardized residual {limit}."
            if tests.test is ResidualTest.BAARDA
            else f"{lead}Pope's test (tau), by the standard deviation of unit weight of the same "
            f"residuals: in a clean net a standardized residual over it {limit}."
        )
    elif found.degrees_of_freedom > 0:
        says.append(
            "With one degree of freedom Pope's test cannot tell one observation from another: no "
            "observation was tested."
        )
    return says


def _holding(made: Assembled, solved: Solved) -> list[str]:
    held = [name for name, fixed_ in zip(solved.names, solved.fixed, strict=True) if fixed_.any()]
    says = []
    if made.weighted:
        names = ", ".join(list(made.weighted)[:12])
        more = " and more" if len(made.weighted) > 12 else ""
        says.append(
            f"Weighted, so that they may give way by their standard deviations: {names}{more}."
        )
    if held:
        says.append(f"Held: {', '.join(held[:12])}{' and more' if len(held) > 12 else ''}.")
    elif made.free:
        says.append(
            "Nothing is held: a free net, which keeps as a whole the place, direction and scale "
            "of its approximate positions (least sum of squares of all shifts from them); its "
            "ellipses count from the middle of the net."
        )
    return says


def _blunder_text(solved: Solved, row: int, section: Network) -> str:
    found = solved.adjustment
    size = -float(found.standardized[row] / found.strength[row])
    if Kind(int(solved.observations.kind[row])) in ANGULAR:
        return f"{signed(size / ARCSEC, 1)}″"
    return length_text(size, section.unit)


def _precision_words(section: Network, solved: Solved) -> str:
    """Say which standard deviations are stated and which are assumed."""
    kinds = {each.kind for each in solved.sightings}
    assumed_kinds = {each.kind for each in solved.sightings if each.assumed}
    sigmas = section.sigmas
    entries: list[tuple[Kind, str, Formula | None, Formula | None]] = [
        (Kind.ANGLE, "angles", sigmas.angle, ASSUMED.angle),
        (Kind.DIRECTION, "directions", sigmas.direction or sigmas.angle, ASSUMED.direction),
        (Kind.AZIMUTH, "azimuths", sigmas.azimuth or sigmas.angle, ASSUMED.angle),
        (Kind.DISTANCE, "distances", sigmas.distance, ASSUMED.distance),
        (Kind.RISE, "rises", sigmas.rise, ASSUMED.rise),
        (AXES[0][0], "vectors without covariances", sigmas.vector, ASSUMED.vector),
    ]
    stated, assumed = [], []
    for kind, what, formula, guess in entries:
        if kind not in kinds:
            continue
        if formula is not None:
            how = formula.text
            if kind is Kind.DIRECTION and sigmas.direction is None:
                how += " / √2, as of an angle's two"
            stated.append(f"{what} {how}")
        elif kind in assumed_kinds and guess is not None:
            more = ", by set-ups 1 mm * sqrt(n), with neither 3 mm" if kind is Kind.RISE else ""
            assumed.append(f"{what} {guess.text}{more}")
        else:
            own = "by their covariances" if kind is AXES[0][0] else "by their rows"
            stated.append(f"{what.removesuffix(' without covariances')} {own}")
    says = "Standard deviations"
    if stated:
        says += f" as stated: {', '.join(stated)}"
    if assumed:
        says += f"{';' if stated else ''} assumed, as none is stated: {', '.join(assumed)}"
    return f"{says}." if stated or assumed else "Standard deviations are those of the weights."
