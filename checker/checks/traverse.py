"""Traverses: azimuths, latitudes and departures, how they close, and the rule that shares it out.

Angular misclosure is the sum observed minus the theoretical sum. It is found from the directions:
every angle turns the traverse, so the azimuth computed for the closing line differs from the known
one by just that. All of it is common practice; tests/published/closures names worked examples.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from checker.adjust.least_squares import Kind
from checker.adjust.shares import compass_rule, equally, transit_rule
from checker.checks.blunders import Suspect, settled, suspects
from checker.checks.closing import (
    column,
    find_control,
    item,
    known_points,
    length_text,
    once,
    refuse,
    stripped,
    whole_measure,
)
from checker.checks.heights import Heights, heights
from checker.checks.net import ASSUMED, EXACT_RAD, Net, Sighting, solve
from checker.errors import InputError, Where
from checker.geometry.plane import azimuth_rad, polar, polygon_area, wrap_azimuth, wrap_signed
from checker.model.arrays import BoolArray, FloatArray
from checker.model.books import TraverseBook
from checker.model.inputs import Inputs
from checker.model.job import Adjust, AngleKind, Job, Position, Shape, Sigmas, Traverse
from checker.model.measure import Column, Comparison, Item, Measure, Quantity
from checker.text import azimuth as azimuth_text
from checker.text import dms, fixed, signed
from checker.units import ARCSEC, Formula

NOISE_M = 1e-9
"""A misclosure below a nanometre is binary rounding: it has no ratio and no azimuth."""

_OBSERVED = (AngleKind.AZIMUTH, AngleKind.BEARING)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """The book with its ends known.

    leg_m: brought to grid where the job says how; ground_m: as measured, both horizontal.
    start, close: northing and easting in metres; close None where nothing is to be closed on.
    start_z_m, rise_m: known elevation of the start and rise to the close, NaN where not known.
    legs: number of rows with a distance. turned_first: the first row has an angle.
    closing: the last row turns to a further mark and has no distance.
    """

    section: Traverse
    book: TraverseBook
    at: list[str]
    to: list[str]
    leg_m: FloatArray
    ground_m: FloatArray
    start_z_m: float
    rise_m: float
    start: tuple[float, float]
    close: tuple[float, float] | None
    turned_first: bool
    closing: bool

    @property
    def legs(self) -> int:
        """Number of legs."""
        return self.leg_m.size

    def where(self, row: int) -> Where:
        """Place of a row of the book; -1 for the last."""
        return Where(file=self.book.path, line=int(self.book.line[row]))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Proof:
    """What the angles are closed on.

    known_rad: known azimuth that the computed one is compared with; NaN where nothing proves the
    angles. reversed: compare the back azimuth of the last leg, not the azimuth of the last row.
    counted: shape (rows,), the angles that the comparison proves. says: for the report.
    """

    known_rad: float
    counted: BoolArray
    says: str
    reversed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class _Run:
    """Coordinates computed from one set of azimuths; shape (legs,), metres and radians."""

    azimuth_rad: FloatArray
    latitude_m: FloatArray
    departure_m: FloatArray
    n_m: FloatArray
    e_m: FloatArray
    misclosure_n_m: float
    misclosure_e_m: float


def measure_traverse(section: Traverse, inputs: Inputs, _job: Job | None = None) -> Measure:
    """Return how a traverse closes, and its coordinates before and after the rule.

    One row a leg, named by the station reached. Comparisons: angular (radians; n the number of
    angles that the closure proves), misclosure (metres; n legs, length_m their sum) and ratio
    (misclosure / length). Misclosure is computed minus known. With a rule the angular misclosure is
    shared equally first, and latitudes, coordinates and misclosure_n and _e are after that;
    raw_misclosure_n and _e are before. Raises InputError where book and job do not fit each other.
    """
    line = _line(section, inputs)
    remarks: list[str] = []
    start_rad = _start_azimuth(line, inputs, remarks)
    proof = _proof(line, inputs, start_rad)
    observed = line.book.angle_rad
    angular = _angular(line, proof, observed, start_rad)
    angles = _shared(line, proof, angular, remarks)
    raw = _run(line, _azimuths(line, observed, start_rad))
    run = _run(line, _azimuths(line, angles, start_rad))
    adjusted = _adjusted(line, run, inputs, remarks)
    _say(line, proof, angular, run, inputs, remarks)
    levelled = heights(
        line.book,
        line.legs,
        line.ground_m,
        start_m=line.start_z_m,
        rise_m=line.rise_m,
        refraction=section.refraction,
        share=adjusted is not None,
    )
    remarks += _on_heights(line, levelled)
    remarks += _on_grid(line)
    remarks += _suspected(line, raw, angular)
    on_ground = (
        None
        if section.grid_factor is None
        else _run(line, _azimuths(line, angles, start_rad), line.ground_m)
    )
    misclosure = float(np.hypot(run.misclosure_n_m, run.misclosure_e_m))
    length = float(np.sum(line.leg_m))
    return whole_measure(
        "traverse",
        section,
        row_id=np.array(line.to[: line.legs], dtype=object),
        columns=(
            *_columns(line, run, adjusted, angles),
            *(() if levelled is None else levelled.columns()),
        ),
        summary=(
            *_summary(line, proof, angular, raw, run, adjusted),
            *_ground_items(line, on_ground),
            *(() if levelled is None else levelled.items()),
        ),
        comparisons=_comparisons(line, proof, angular, misclosure, length),
        remarks=remarks,
        undecided=_OPEN if line.close is None else "",
    )


_OPEN = "an open traverse ends on no known point: nothing proves it"


def contribute_traverse(section: Traverse, inputs: Inputs, net: Net, sigmas: Sigmas) -> None:
    """Add a traverse's distances and directions to a net, with where its stations lie roughly.

    Angles go in as turned clockwise from the back station. An angle from or to a direction that the
    job states goes in as the azimuth that it gives; a stated direction that stands alone is held.
    """
    line = _line(section, inputs)
    start_rad = _start_azimuth(line, inputs, [])
    proof = _proof(line, inputs, start_rad)
    run = _run(line, _azimuths(line, line.book.angle_rad, start_rad))
    net.near(line.at[0], *line.start, line.start_z_m)
    for row in range(line.legs):
        net.near(line.to[row], float(run.n_m[row]), float(run.e_m[row]))
    for end, name, place in (
        (section.start, line.at[0], line.start),
        (section.close, line.to[line.legs - 1], line.close),
    ):
        if isinstance(end, Position) and place is not None:
            net.hold(name, (*place, float("nan")))
    distance = sigmas.distance or ASSUMED.distance
    assert distance is not None  # noqa: S101  (one is assumed)
    spread = np.asarray(distance.at(length_m=line.leg_m)) + np.zeros(line.legs)
    for row in range(line.legs):
        net.sightings.append(
            Sighting(
                kind=Kind.DISTANCE,
                i=line.at[row],
                j=line.to[row],
                value=float(line.leg_m[row]),
                sigma=float(spread[row]),
                where=line.where(row),
                label=f"distance {line.at[row]} to {line.to[row]}",
            )
        )
    net.sightings += _directions(line, proof, start_rad, sigmas)


def _directions(line: _Line, proof: _Proof, start_rad: float, sigmas: Sigmas) -> list[Sighting]:
    """Return what was observed of directions, as angles and azimuths."""
    section = line.section
    sigma = _sigma_rad(sigmas.angle or ASSUMED.angle)
    if _is_observed(section):
        own = _sigma_rad(sigmas.azimuth or sigmas.angle or ASSUMED.angle)
        return [
            _azimuth_seen(line, row, (line.at[row], line.to[row]), line.book.angle_rad[row], own)
            for row in range(line.legs)
        ]
    turned = _sense(section) * line.book.angle_rad
    if section.angles is AngleKind.DEFLECTION:
        turned = turned + np.pi
    first, second, last = line.at[0], line.to[0], line.to[line.legs - 1]
    before, mark = line.at[line.legs - 1], line.to[-1]
    found = []
    if not line.turned_first:
        found.append(_azimuth_seen(line, 0, (first, second), start_rad))
    elif section.backsight is not None:
        found.append(_angle_seen(line, 0, section.backsight.strip(), turned, sigma))
    elif proof.reversed:
        found.append(_azimuth_seen(line, 0, (first, before), start_rad))
        found.append(_angle_seen(line, 0, before, turned, sigma))
    else:
        found.append(_azimuth_seen(line, 0, (first, second), start_rad + turned[0], sigma))
    found += [
        _angle_seen(line, row, line.at[row - 1], turned, sigma) for row in range(1, line.legs)
    ]
    named = [each.strip() for each in (section.foresight, section.backsight) if each is not None]
    if line.closing and mark in (second, *named):
        found.append(_angle_seen(line, line.legs, before, turned, sigma))
    elif line.closing and np.isfinite(proof.known_rad):
        # The stated azimuth to the mark less the angle: that of the last leg, looking back.
        back = proof.known_rad - turned[line.legs]
        found.append(_azimuth_seen(line, line.legs, (last, before), back, sigma))
    elif section.close_azimuth_rad is not None and not line.closing:
        found.append(_azimuth_seen(line, -1, (before, last), section.close_azimuth_rad))
    return found


def _azimuth_seen(
    line: _Line, row: int, ends: tuple[str, str], value: float, sigma: float | None = None
) -> Sighting:
    """Return an azimuth as a sighting; sigma None: stated, not observed."""
    i, j = ends
    return Sighting(
        kind=Kind.AZIMUTH,
        i=i,
        j=j,
        value=float(value),
        sigma=EXACT_RAD if sigma is None else sigma,
        where=line.where(row),
        label=f"azimuth {i} to {j}",
        stated=sigma is None,
    )


def _angle_seen(line: _Line, row: int, back: str, turned: FloatArray, sigma: float) -> Sighting:
    """Return the angle of a row as a sighting, clockwise from the back station."""
    at, ahead = line.at[row], line.to[row]
    return Sighting(
        kind=Kind.ANGLE,
        i=at,
        j=back,
        k=ahead,
        value=float(turned[row]),
        sigma=sigma,
        where=line.where(row),
        label=f"angle at {at}, {back} to {ahead}",
    )


def _sigma_rad(formula: Formula | None) -> float:
    assert formula is not None  # noqa: S101  (one is assumed)
    return float(formula.at())


def held_by(section: Traverse) -> list[str]:
    """Return the control ids that a traverse starts from, closes on and sights."""
    ends = (section.start, section.close, section.backsight, section.foresight)
    return [end.strip() for end in ends if isinstance(end, str)]


def hold_control(net: Net, inputs: Inputs, names: Iterable[str]) -> None:
    """Hold control points by their ids, with the coordinates that the control file gives."""
    index, control = known_points(inputs), inputs.control
    for name in names:
        if control is None or name not in index:
            continue
        at = index[name]
        net.hold(
            name,
            (
                float(control.northing_m[at]),
                float(control.easting_m[at]),
                float(control.elevation_m[at]),
            ),
        )


def _by_least_squares(
    line: _Line, inputs: Inputs, remarks: list[str]
) -> tuple[FloatArray, FloatArray] | None:
    """Return adjusted latitudes and departures of the traverse alone.

    None where it cannot be adjusted: a blunder must not keep the closure from being shown.
    """
    section = line.section
    net = Net()
    contribute_traverse(section, inputs, net, section.sigmas)
    hold_control(net, inputs, held_by(section))
    try:
        solved = solve(net, section.where)
    except InputError as fault:
        why = "; ".join(problem.message for problem in fault.problems)
        remarks.append(f"It could not be adjusted by least squares: {why}.")
        return None
    place = {name: index for index, name in enumerate(solved.names)}
    path = [place[line.at[0]], *(place[name] for name in line.to[: line.legs])]
    step = np.diff(solved.adjustment.position_m[path, :2], axis=0)
    angle = section.sigmas.angle or ASSUMED.angle
    distance = section.sigmas.distance or ASSUMED.distance
    assert angle is not None and distance is not None  # noqa: S101, PT018  (assumed)
    assumed = section.sigmas.angle is None or section.sigmas.distance is None
    found = solved.adjustment
    remarks.append(
        f"Least squares: angles {angle.text}, distances {distance.text}"
        f"{', as far as not stated assumed' if assumed else ''}; standard deviation of unit "
        f"weight {fixed(found.sigma0, 2)} with {found.degrees_of_freedom} degrees of freedom."
    )
    return step[:, 0], step[:, 1]


# ---------------------------------------------------------------- the book and its ends


def _line(section: Traverse, inputs: Inputs) -> _Line:
    book = inputs.books[section.name]
    if not isinstance(book, TraverseBook):
        raise TypeError(section.name)
    distance = np.where(
        np.isnan(book.distance_m), book.slope_m * np.sin(book.zenith_rad), book.distance_m
    )
    if len(book) == 0 or not np.isfinite(distance[0]):
        refuse(
            "no-legs",
            Where(file=book.path),
            "the traverse book has no leg: no row with a distance",
            "give one row a leg, with at, to, the direction and the distance",
        )
    at, to = stripped(book.at), stripped(book.to)
    closing = bool(np.isnan(distance[-1]) and np.isnan(book.slope_m[-1]))
    legs = len(book) - closing
    start = _place(section.start, "start", section, inputs)
    start_z = close_z = _elevation(section.start, inputs)
    close: tuple[float, float] | None = None
    if section.shape is Shape.LOOP:
        close = start
    elif section.shape is Shape.LINK:
        if section.close is None:
            refuse(
                "no-close",
                section.where,
                "a link traverse ends on a known point, and the job names none",
                'add close = "the id of the control point", or use shape = "open"',
            )
        close = _place(section.close, "close", section, inputs)
        close_z = _elevation(section.close, inputs)
    else:
        close_z = float("nan")
    ground = np.asarray(distance[:legs], dtype=np.float64)
    line = _Line(
        section=section,
        book=book,
        at=at,
        to=to,
        leg_m=ground if section.grid_factor is None else ground * section.grid_factor,
        ground_m=ground,
        start_z_m=start_z,
        # A loop closes on itself whatever its height.
        rise_m=0.0 if section.shape is Shape.LOOP else close_z - start_z,
        start=start,
        close=close,
        turned_first=bool(np.isfinite(book.angle_rad[0])),
        closing=closing,
    )
    _check_rows(line)
    _check_ends(line)
    return line


def _place(
    end: str | Position, role: str, section: Traverse, inputs: Inputs
) -> tuple[float, float]:
    if isinstance(end, Position):
        return end.northing_m, end.easting_m
    index = find_control(inputs, end, role, section.where)
    assert inputs.control is not None  # noqa: S101  (find_control refused it)
    return float(inputs.control.northing_m[index]), float(inputs.control.easting_m[index])


def _elevation(end: str | Position, inputs: Inputs) -> float:
    """Return the known elevation of an end, NaN where it has none."""
    if isinstance(end, Position):
        return end.elevation_m
    index = known_points(inputs).get(end.strip())
    if inputs.control is None or index is None:
        return float("nan")
    return float(inputs.control.elevation_m[index])


def _check_rows(line: _Line) -> None:
    book = line.book
    for row in np.flatnonzero(~np.isfinite(line.leg_m)).tolist():
        refuse(
            "missing-value",
            line.where(row),
            f"the leg {line.at[row]} to {line.to[row]} has no distance",
            "give its horizontal distance, or slope_distance with zenith",
        )
    later = np.arange(len(book)) > 0
    bare = np.isnan(book.angle_rad) & (later | _is_observed(line.section))
    for row in np.flatnonzero(bare).tolist():
        refuse(
            "missing-value",
            line.where(row),
            f"the row {line.at[row]} to {line.to[row]} has no direction",
            "only the first row may lack its angle: the start azimuth is then that of its leg",
        )
    for row in range(1, len(book)):
        if line.at[row] != line.to[row - 1]:
            refuse(
                "broken-chain",
                line.where(row),
                f'this row stands at "{line.at[row]}", but the row before went to '
                f'"{line.to[row - 1]}"',
                "give the legs in the order walked, each from the station reached before",
            )


def _check_ends(line: _Line) -> None:
    section = line.section
    if isinstance(section.start, str) and line.at[0] != section.start.strip():
        refuse(
            "book-ends",
            line.where(0),
            f'the book begins at "{line.at[0]}", the job says start = "{section.start}"',
            "make the first row stand at the start, or name that station in the job",
        )
    last = line.to[line.legs - 1]
    wanted = ""
    if section.shape is Shape.LOOP:
        wanted = line.at[0]
    elif section.shape is Shape.LINK and isinstance(section.close, str):
        wanted = section.close.strip()
    if wanted and last != wanted:
        says = (
            f'a loop ends where it began, at "{wanted}"'
            if section.shape is Shape.LOOP
            else f'the job says close = "{wanted}"'
        )
        refuse(
            "book-ends",
            line.where(line.legs - 1),
            f'the last leg goes to "{last}", but {says}',
            "add the missing leg, or correct the shape or the end in the job",
        )


def _is_observed(section: Traverse) -> bool:
    return section.angles in _OBSERVED


def _word(section: Traverse) -> str:
    return "directions" if _is_observed(section) else "angles"


# ---------------------------------------------------------------- directions


def _start_azimuth(line: _Line, inputs: Inputs, remarks: list[str]) -> float:
    """Azimuth from the start to the back station, or of the first leg where it has no angle."""
    section = line.section
    if _is_observed(section):
        if section.backsight is not None or section.start_azimuth_rad is not None:
            remarks.append(
                "The book gives the direction of every leg itself: the starting direction of the "
                "job was not used."
            )
        return float("nan")
    if section.backsight is not None:
        if not line.turned_first:
            refuse(
                "backsight",
                line.where(0),
                f'the job names backsight = "{section.backsight}", but the first row has no angle',
                "give the first row the angle from the backsight to the next station, or replace "
                "backsight by start_azimuth, the azimuth of the first leg",
            )
        azimuth = _to_control(line, inputs, line.start, line.at[0], "backsight", section.backsight)
        remarks.append(
            f"Azimuth from {line.at[0]} to the backsight {section.backsight}, from their "
            f"coordinates: {azimuth_text(azimuth, 1)}."
        )
        return azimuth
    if section.start_azimuth_rad is None:
        refuse(
            "no-direction",
            section.where,
            "the traverse has no starting direction",
            "add start_azimuth, or backsight with the id of a control point",
        )
    return section.start_azimuth_rad


def _to_control(
    line: _Line, inputs: Inputs, place: tuple[float, float], station: str, role: str, name: str
) -> float:
    """Azimuth from a known station to a control point."""
    index = find_control(inputs, name, role, line.section.where)
    assert inputs.control is not None  # noqa: S101  (find_control refused it)
    dn = float(inputs.control.northing_m[index]) - place[0]
    de = float(inputs.control.easting_m[index]) - place[1]
    if np.hypot(dn, de) <= NOISE_M:
        refuse(
            role,
            line.section.where,
            f'{role} = "{name}" has the coordinates of the station {station} itself',
            "name the control point that was sighted",
        )
    return float(azimuth_rad(dn, de))


def _azimuths(line: _Line, angles: FloatArray, start_rad: float) -> FloatArray:
    """Azimuths of all rows, not yet brought into the circle; shape (rows,)."""
    section = line.section
    if _is_observed(section):
        return angles
    # A leg leaves on the azimuth of arriving plus the deflection, or plus 180 degrees plus the
    # angle from the back station.
    steps = _sense(section) * angles
    if section.angles is not AngleKind.DEFLECTION:
        steps = steps + np.pi
    # From the back station one arrives at the start on the reverse of the start azimuth.
    steps[0] = steps[0] + start_rad + np.pi if line.turned_first else start_rad
    # Small steps keep the digits of a long sum.
    return np.asarray(np.cumsum(wrap_signed(steps)))


def _sense(section: Traverse) -> float:
    """+1 where the angles grow clockwise, -1 where they grow the other way."""
    if section.angles is AngleKind.LEFT:
        return -1.0
    return -1.0 if section.angles is AngleKind.INTERIOR and section.clockwise else 1.0


def _proof(line: _Line, inputs: Inputs, start_rad: float) -> _Proof:
    """Return what the angles of this book are closed on."""
    section = line.section
    counted = np.isfinite(line.book.angle_rad)
    if section.shape is Shape.OPEN:
        return _unproved(line, "an open traverse closes on no known direction")
    if section.foresight is not None and not line.closing:
        refuse(
            "foresight",
            line.where(-1),
            f'the job names foresight = "{section.foresight}", but the book ends with a leg',
            f"add a last row at {line.to[-1]} to {section.foresight} with the angle and no "
            "distance, or leave foresight out",
        )
    if line.closing:
        return _proof_by_row(line, inputs, start_rad, counted)
    if _is_observed(section):
        return _unproved(
            line, "observed leg by leg, they are closed only by a last row without a distance"
        )
    if section.close_azimuth_rad is not None:
        return _Proof(
            known_rad=section.close_azimuth_rad,
            counted=counted,
            says=f"on the stated azimuth of the last leg, {line.at[-1]} to {line.to[-1]}",
        )
    if section.shape is Shape.LINK:
        return _unproved(line, "no closing azimuth is stated")
    if not line.turned_first:
        return _unproved(line, f"no angle was observed at {line.at[0]}")
    if section.backsight is not None and section.backsight.strip() != line.at[-1]:
        return _unproved(
            line,
            f"the angle at {line.at[0]} is turned from {section.backsight}, and none closes the "
            f"loop; a last row at {line.at[0]} without a distance would",
        )
    return _Proof(
        known_rad=start_rad,
        counted=counted,
        says=f"on themselves: the angle at {line.at[0]} is taken from {line.at[-1]}, the last "
        "station of the loop",
        reversed=True,
    )


def _proof_by_row(line: _Line, inputs: Inputs, start_rad: float, counted: BoolArray) -> _Proof:
    """Proof by a last row that turns to a mark and has no distance."""
    section = line.section
    station, mark = line.at[-1], line.to[-1]
    if section.foresight is not None:
        if mark != section.foresight.strip():
            refuse(
                "foresight",
                line.where(-1),
                f'the closing row turns to "{mark}", the job says foresight = '
                f'"{section.foresight}"',
                "name the mark that was sighted",
            )
        assert line.close is not None  # noqa: S101  (an open traverse does not come here)
        known = _to_control(line, inputs, line.close, station, "foresight", section.foresight)
        says = (
            f"on the azimuth from {station} to {mark}, {azimuth_text(known, 1)} from their "
            "coordinates"
        )
        return _Proof(known_rad=known, counted=counted, says=says)
    if section.close_azimuth_rad is not None:
        return _Proof(
            known_rad=section.close_azimuth_rad,
            counted=counted,
            says=f"on the stated azimuth from {station} to {mark}",
        )
    unknown = (
        f"the last row turns to {mark}, but neither foresight nor close_azimuth says in which "
        "direction that is"
    )
    if section.shape is Shape.LINK or _is_observed(section):
        return _unproved(line, unknown)
    if mark == line.to[0]:
        if not line.turned_first:
            says = f"on the start azimuth, {station} to {mark}"
            return _Proof(known_rad=start_rad, counted=counted, says=says)
        # The first angle only orients the loop: it stands on both sides of the comparison.
        counted = counted.copy()
        counted[0] = False
        first_leg = float(_azimuths(line, line.book.angle_rad, start_rad)[0])
        says = (
            f"on the first leg, {station} to {mark}; the angle that the first row turns from "
            "the backsight is not proved"
        )
        return _Proof(known_rad=first_leg, counted=counted, says=says)
    back = section.backsight.strip() if section.backsight is not None else None
    if line.turned_first and (mark == back if back is not None else mark not in line.at):
        says = f"on the start azimuth, {station} to {mark}"
        return _Proof(known_rad=start_rad, counted=counted, says=says)
    return _unproved(line, unknown)


def _unproved(line: _Line, why: str) -> _Proof:
    return _Proof(
        known_rad=float("nan"), counted=np.isfinite(line.book.angle_rad), says=f"not closed: {why}"
    )


def _angular(line: _Line, proof: _Proof, angles: FloatArray, start_rad: float) -> float:
    """Sum of the angles observed minus the theoretical, radians in (-pi, pi]; NaN: not proved."""
    computed = float(_azimuths(line, angles, start_rad)[-1])
    if proof.reversed:
        computed += np.pi
    return float(wrap_signed(_sense(line.section) * (computed - proof.known_rad)))


def _shared(line: _Line, proof: _Proof, angular: float, remarks: list[str]) -> FloatArray:
    """Return the angles as used: observed, or with the angular misclosure taken out equally."""
    angles = line.book.angle_rad
    if line.section.adjust is Adjust.NONE or np.isnan(angular):
        return angles
    if _is_observed(line.section):
        remarks.append(
            "Directions observed leg by leg do not hang on each other: their misclosure was not "
            "shared out."
        )
        return angles
    count = int(np.count_nonzero(proof.counted))
    angles = angles.copy()
    correction = equally(angular, count)
    angles[proof.counted] += correction
    remarks.append(
        f"Each of the {count} angles was corrected by {signed(correction[0] / ARCSEC, 2)}″ before "
        "latitudes and departures were computed."
    )
    return angles


# ---------------------------------------------------------------- coordinates


def _run(line: _Line, azimuths: FloatArray, leg_m: FloatArray | None = None) -> _Run:
    azimuth = wrap_azimuth(azimuths[: line.legs])
    latitude, departure = polar(azimuth, line.leg_m if leg_m is None else leg_m)
    start_n, start_e = line.start
    misclosure_n = misclosure_e = float("nan")
    if line.close is not None:
        # Sums of differences: large coordinates would cost digits.
        misclosure_n = float(np.sum(latitude)) - (line.close[0] - start_n)
        misclosure_e = float(np.sum(departure)) - (line.close[1] - start_e)
    return _Run(
        azimuth_rad=azimuth,
        latitude_m=latitude,
        departure_m=departure,
        n_m=start_n + np.cumsum(latitude),
        e_m=start_e + np.cumsum(departure),
        misclosure_n_m=misclosure_n,
        misclosure_e_m=misclosure_e,
    )


def _adjusted(line: _Line, run: _Run, inputs: Inputs, remarks: list[str]) -> _Run | None:
    """Return the run after the rule, None where no rule was asked for or nothing closes."""
    adjust = line.section.adjust
    if adjust is Adjust.NONE or line.close is None:
        return None
    if adjust is Adjust.COMPASS:
        corrections = compass_rule(line.leg_m, run.misclosure_n_m, run.misclosure_e_m)
    elif adjust is Adjust.TRANSIT:
        corrections = transit_rule(
            run.latitude_m, run.departure_m, line.leg_m, run.misclosure_n_m, run.misclosure_e_m
        )
    elif adjust is Adjust.LEAST_SQUARES:
        adjusted = _by_least_squares(line, inputs, remarks)
        if adjusted is None:
            return None
        corrections = (adjusted[0] - run.latitude_m, adjusted[1] - run.departure_m)
    else:
        refuse(
            "adjust",
            line.section.where,
            f'adjust = "{adjust}" is not a rule for a traverse',
            'use "none", "compass", "transit" or "least-squares"',
        )
    latitude = run.latitude_m + corrections[0]
    departure = run.departure_m + corrections[1]
    return _Run(
        azimuth_rad=azimuth_rad(latitude, departure),
        latitude_m=latitude,
        departure_m=departure,
        n_m=line.start[0] + np.cumsum(latitude),
        e_m=line.start[1] + np.cumsum(departure),
        misclosure_n_m=0.0,
        misclosure_e_m=0.0,
    )


def _area(line: _Line, run: _Run) -> float:
    if line.section.shape is not Shape.LOOP:
        return float("nan")
    # The stations without the return to the start: one side runs back to it.
    northing = np.concatenate([[line.start[0]], run.n_m[:-1]])
    easting = np.concatenate([[line.start[1]], run.e_m[:-1]])
    return abs(polygon_area(northing, easting))


# ---------------------------------------------------------------- what is handed on


def _columns(
    line: _Line, run: _Run, adjusted: _Run | None, angles: FloatArray
) -> tuple[Column, ...]:
    nothing = np.full(line.legs, np.nan)
    after = adjusted or _Run(
        azimuth_rad=nothing,
        latitude_m=nothing,
        departure_m=nothing,
        n_m=nothing,
        e_m=nothing,
        misclosure_n_m=0.0,
        misclosure_e_m=0.0,
    )
    length = nothing if adjusted is None else np.hypot(after.latitude_m, after.departure_m)
    coordinate, distance, angle = Quantity.COORDINATE, Quantity.DISTANCE, Quantity.ANGLE
    return (
        column("n", "Northing", coordinate, run.n_m),
        column("e", "Easting", coordinate, run.e_m),
        column("adjusted_n", "Adjusted northing", coordinate, after.n_m),
        column("adjusted_e", "Adjusted easting", coordinate, after.e_m),
        column("latitude", "Latitude", distance, run.latitude_m),
        column("departure", "Departure", distance, run.departure_m),
        column("azimuth", "Azimuth", angle, run.azimuth_rad),
        column("distance", "Distance", distance, line.leg_m),
        *(
            ()
            if line.section.grid_factor is None
            else (column("ground_distance", "Distance on ground", distance, line.ground_m),)
        ),
        column(
            "from",
            "From",
            Quantity.TEXT,
            np.array(line.at[: line.legs], dtype=object),
            detail=True,
        ),
        column("angle", "Angle as used", angle, angles[: line.legs], detail=True),
        column(
            "angle_observed", "Angle observed", angle, line.book.angle_rad[: line.legs], detail=True
        ),
        column("adjusted_latitude", "Adjusted latitude", distance, after.latitude_m, detail=True),
        column(
            "adjusted_departure", "Adjusted departure", distance, after.departure_m, detail=True
        ),
        column("adjusted_azimuth", "Adjusted azimuth", angle, after.azimuth_rad, detail=True),
        column("adjusted_distance", "Adjusted distance", distance, length, detail=True),
    )


def _summary(
    line: _Line, proof: _Proof, angular: float, raw: _Run, run: _Run, adjusted: _Run | None
) -> tuple[Item, ...]:
    misclosure = float(np.hypot(run.misclosure_n_m, run.misclosure_e_m))
    length = float(np.sum(line.leg_m))
    noise = not misclosure > NOISE_M
    azimuth = float(azimuth_rad(run.misclosure_n_m, run.misclosure_e_m))
    ratio = float("nan") if noise else length / misclosure
    small = Quantity.LENGTH
    return (
        item("legs", "Legs", Quantity.COUNT, line.legs),
        item("angles", "Angles", Quantity.COUNT, int(np.count_nonzero(proof.counted))),
        item("angular_misclosure_arcsec", "Angular misclosure", Quantity.SMALL_ANGLE, angular),
        item("misclosure_n", "Misclosure in northing", small, run.misclosure_n_m),
        item("misclosure_e", "Misclosure in easting", small, run.misclosure_e_m),
        item("misclosure", "Misclosure", small, misclosure),
        item(
            "misclosure_azimuth",
            "Azimuth of the misclosure",
            Quantity.ANGLE,
            float("nan") if noise else azimuth,
        ),
        item(
            "raw_misclosure_n", "Misclosure in northing, unshared angles", small, raw.misclosure_n_m
        ),
        item(
            "raw_misclosure_e", "Misclosure in easting, unshared angles", small, raw.misclosure_e_m
        ),
        item("length", "Length", Quantity.DISTANCE, length),
        item("ratio", "Closure ratio", Quantity.RATIO, ratio),
        item("area", "Area", Quantity.AREA, _area(line, adjusted or run)),
    )


def _comparisons(
    line: _Line, proof: _Proof, angular: float, misclosure: float, length: float
) -> tuple[Comparison, ...]:
    unknown = _OPEN if line.close is None else ""
    count = float(np.count_nonzero(proof.counted))
    return (
        once(
            "angular",
            "Angular misclosure",
            angular,
            n=count,
            absent=f"the {_word(line.section)} are {proof.says}" if np.isnan(angular) else "",
        ),
        once("misclosure", "Misclosure", misclosure, n=line.legs, length_m=length, absent=unknown),
        once(
            "ratio",
            "Closure ratio",
            misclosure / length,
            n=line.legs,
            length_m=length,
            absent=unknown,
        ),
    )


def _ground_items(line: _Line, on_ground: _Run | None) -> tuple[Item, ...]:
    """Return the closure with the distances as measured, where they were brought to grid."""
    if on_ground is None:
        return ()
    miss = float(np.hypot(on_ground.misclosure_n_m, on_ground.misclosure_e_m))
    length = float(np.sum(line.ground_m))
    ratio = length / miss if miss > NOISE_M else float("nan")
    return (
        item("ground_misclosure", "Misclosure, distances on ground", Quantity.LENGTH, miss),
        item("ground_ratio", "Closure ratio, distances on ground", Quantity.RATIO, ratio),
        item("ground_length", "Length on ground", Quantity.DISTANCE, length),
    )


def _on_grid(line: _Line) -> list[str]:
    factor = line.section.grid_factor
    if factor is None:
        return []
    says = (
        f"Measured distances were brought to grid by the combined factor {factor:.8f}: "
        f"{signed((factor - 1.0) * 1e6, 1)} parts per million. The closure on grid is judged; the "
        "one with distances on ground stands beside it."
    )
    return [says]


def _on_heights(line: _Line, levelled: Heights | None) -> list[str]:
    """Say how the trigonometric heights close; no limit of a traverse judges them."""
    if levelled is None:
        return []
    k = line.section.refraction
    says = "Heights are trigonometric, " + (
        "not corrected for curvature and refraction"
        if k is None
        else f"corrected for curvature and refraction with k = {k:g}"
    )
    lacking = int(np.count_nonzero(np.isnan(levelled.dz_m)))
    if lacking:
        return [f"{says}; {lacking} of {line.legs} legs have none."]
    if np.isnan(levelled.misclosure_m):
        return [f"{says}; nothing known closes them."]
    size = length_text(levelled.misclosure_m, line.section.unit)
    return [f"{says}. They close by {size}, computed minus known; no limit here judges that."]


def _suspected(line: _Line, raw: _Run, angular: float) -> list[str]:
    """Name the one leg or angle that would explain the misclosure, or say that several would."""
    if line.close is None:
        return []
    angles = line.book.angle_rad
    turning = np.isfinite(angles)
    found = suspects(
        latitude_m=raw.latitude_m,
        departure_m=raw.departure_m,
        misclosure_m=(raw.misclosure_n_m, raw.misclosure_e_m),
        turned=np.zeros_like(turning) if _is_observed(line.section) else turning,
        sense=_sense(line.section),
        angular_rad=angular,
    )
    if not found:
        return []
    size = float(np.hypot(raw.misclosure_n_m, raw.misclosure_e_m))
    if settled(found, size):
        rest = length_text(found[0].left_m, line.section.unit, plus=False)
        says = (
            f"One blunder would explain the misclosure: {_cause(line, found[0])}; "
            f"{rest} would be left. Look at it first; nothing was changed."
        )
        return [says]
    listed = "; ".join(_cause(line, each) for each in found[:4])
    more = f"; and {len(found) - 4} more" if len(found) > 4 else ""
    return [f"Each of these alone would explain the misclosure: {listed}{more}."]


def _cause(line: _Line, each: Suspect) -> str:
    at, to = line.at[each.row], line.to[each.row]
    if each.is_angle:
        seconds = each.error / ARCSEC
        size = f"{signed(seconds, 0)}″" if abs(seconds) < 600.0 else dms(each.error, 0)
        return f"the angle at {at} (to {to}), observed minus right {size}"
    size = length_text(each.error, line.section.unit)
    return f"the distance {at} to {to}, observed minus right {size}"


_RULES = {
    Adjust.COMPASS: "Compass rule: latitudes and departures were corrected in proportion to the "
    "lengths of the legs.",
    Adjust.TRANSIT: "Transit rule: latitudes were corrected in proportion to their size, and "
    "departures likewise.",
}


def _say(
    line: _Line, proof: _Proof, angular: float, run: _Run, inputs: Inputs, remarks: list[str]
) -> None:
    """Add how the angles closed, what was left alone, and known points met on the way."""
    section = line.section
    observed = _is_observed(section)
    difference = "observed minus known" if observed else "sum observed minus theoretical"
    if np.isnan(angular):
        remarks.insert(0, f"The {_word(section)} are {proof.says}.")
    else:
        remarks.insert(
            0,
            f"The {_word(section)} close {proof.says}: {difference} "
            f"{signed(angular / ARCSEC, 1)}″.",
        )
    if line.close is None:
        unused = [
            f"{key} = {value}"
            for key, value in (("close", section.close), ("foresight", section.foresight))
            if isinstance(value, str)
        ]
        if unused:
            remarks.append(f"An open traverse does not use {' and '.join(unused)}.")
        if section.adjust is not Adjust.NONE:
            remarks.append("An open traverse leaves nothing to share out: no rule was applied.")
        if line.closing:
            remarks.append(
                f"The last row turns from {line.at[-1]} to {line.to[-1]}; an open traverse does "
                "not use it."
            )
    elif section.adjust in _RULES:
        remarks.append(_RULES[section.adjust])
    control, known = inputs.control, known_points(inputs)
    inner = line.legs - (line.close is not None)
    for row in range(inner):
        index = known.get(line.to[row])
        if control is not None and index is not None and line.to[row] != line.at[0]:
            dn = float(run.n_m[row] - control.northing_m[index])
            de = float(run.e_m[row] - control.easting_m[index])
            remarks.append(
                f"Control point {line.to[row]} on the way: computed minus known "
                f"{length_text(dn, section.unit)} north, {length_text(de, section.unit)} east."
            )
