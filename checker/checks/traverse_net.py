"""What a traverse contributes to a net, and the traverse alone by least squares."""

from collections.abc import Iterable

import numpy as np

from checker.adjust.least_squares import Kind
from checker.checks.closing import known_points
from checker.checks.net import ASSUMED, EXACT_RAD, Net, Sighting, solve
from checker.checks.traverse_directions import Proof, azimuths, proof_of, sense, start_azimuth
from checker.checks.traverse_line import Line, is_observed, line_of
from checker.checks.traverse_run import run_of
from checker.errors import InputError
from checker.model.arrays import FloatArray
from checker.model.inputs import Inputs
from checker.model.job import AngleKind, Position, Sigmas, Traverse
from checker.text import fixed
from checker.units import Formula


def contribute_traverse(section: Traverse, inputs: Inputs, net: Net, sigmas: Sigmas) -> None:
    """Add a traverse's distances and directions to a net, with where its stations lie roughly.

    Angles go in as turned clockwise from the back station. An angle from or to a direction that the
    job states goes in as the azimuth that it gives; a stated direction that stands alone is held.
    """
    line = line_of(section, inputs)
    start_rad = start_azimuth(line, inputs, [])
    proof = proof_of(line, inputs, start_rad)
    run = run_of(line, azimuths(line, line.angle_rad, start_rad))
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


def _directions(line: Line, proof: Proof, start_rad: float, sigmas: Sigmas) -> list[Sighting]:
    """Return what was observed of directions, as angles and azimuths."""
    section = line.section
    sigma = _sigma_rad(sigmas.angle or ASSUMED.angle)
    if is_observed(section):
        own = _sigma_rad(sigmas.azimuth or sigmas.angle or ASSUMED.angle)
        return [
            _azimuth_seen(line, row, (line.at[row], line.to[row]), line.angle_rad[row], own)
            for row in range(line.legs)
        ]
    turned = sense(section) * line.angle_rad
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
    elif line.close_azimuth_rad is not None and not line.closing:
        found.append(_azimuth_seen(line, -1, (before, last), line.close_azimuth_rad))
    return found


def _azimuth_seen(
    line: Line, row: int, ends: tuple[str, str], value: float, sigma: float | None = None
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


def _angle_seen(line: Line, row: int, back: str, turned: FloatArray, sigma: float) -> Sighting:
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


def by_least_squares(
    line: Line, inputs: Inputs, remarks: list[str]
) -> tuple[FloatArray, FloatArray] | None:
    """Return adjusted latitudes and departures of the traverse alone, and say by what they are.

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
