"""Directions of a traverse: from the first to the last, what closes them, how they are shared."""

from dataclasses import dataclass

import numpy as np

from checker.adjust.shares import equally
from checker.checks.closing import find_control, refuse
from checker.checks.traverse_line import NOISE_M, Line, is_observed
from checker.geometry.plane import azimuth_rad, wrap_signed
from checker.model.arrays import BoolArray, FloatArray
from checker.model.inputs import Inputs
from checker.model.job import Adjust, AngleKind, Shape, Traverse
from checker.text import azimuth as azimuth_text
from checker.text import signed, with_signs
from checker.units import ARCSEC


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """What the angles are closed on.

    known_rad: known azimuth that the computed one is compared with; NaN where nothing proves the
    angles. reversed: compare the back azimuth of the last leg, not the azimuth of the last row.
    counted: shape (rows,), the angles that the comparison proves. says: for the report.
    """

    known_rad: float
    counted: BoolArray
    says: str
    reversed: bool = False


def start_azimuth(line: Line, inputs: Inputs, remarks: list[str]) -> float:
    """Return the azimuth from the start to the back station; of the first leg without an angle."""
    section = line.section
    if is_observed(section):
        if section.backsight is not None or line.start_azimuth_rad is not None:
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
        azimuth = to_control(line, inputs, line.start, line.at[0], "backsight", section.backsight)
        remarks.append(
            f"Azimuth from {line.at[0]} to the backsight {section.backsight}, from their "
            f"coordinates: {with_signs(azimuth_text(azimuth, 1))}."
        )
        return azimuth
    if line.start_azimuth_rad is None:
        refuse(
            "no-direction",
            section.where,
            "the traverse has no starting direction",
            "add start_azimuth, or backsight with the id of a control point",
        )
    return line.start_azimuth_rad


def to_control(
    line: Line, inputs: Inputs, place: tuple[float, float], station: str, role: str, name: str
) -> float:
    """Return the azimuth from a known station to a control point."""
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


def azimuths(line: Line, angles: FloatArray, start_rad: float) -> FloatArray:
    """Return the azimuths of all rows, not yet brought into the circle; shape (rows,)."""
    section = line.section
    if is_observed(section):
        return angles
    # A leg leaves on the azimuth of arriving plus the deflection, or plus 180 degrees plus the
    # angle from the back station.
    steps = sense(section) * angles
    if section.angles is not AngleKind.DEFLECTION:
        steps = steps + np.pi
    # From the back station one arrives at the start on the reverse of the start azimuth.
    steps[0] = steps[0] + start_rad + np.pi if line.turned_first else start_rad
    # Small steps keep the digits of a long sum.
    return np.asarray(np.cumsum(wrap_signed(steps)))


def sense(section: Traverse) -> float:
    """Return +1 where the angles grow clockwise, -1 where they grow the other way."""
    if section.angles is AngleKind.LEFT:
        return -1.0
    return -1.0 if section.angles is AngleKind.INTERIOR and section.clockwise else 1.0


def proof_of(line: Line, inputs: Inputs, start_rad: float) -> Proof:
    """Return what the angles of this book are closed on."""
    section = line.section
    counted = np.isfinite(line.angle_rad)
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
    if is_observed(section):
        return _unproved(
            line, "observed leg by leg, they are closed only by a last row without a distance"
        )
    if line.close_azimuth_rad is not None:
        return Proof(
            known_rad=line.close_azimuth_rad,
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
    return Proof(
        known_rad=start_rad,
        counted=counted,
        says=f"on themselves: the angle at {line.at[0]} is taken from {line.at[-1]}, the last "
        "station of the loop",
        reversed=True,
    )


def _proof_by_row(line: Line, inputs: Inputs, start_rad: float, counted: BoolArray) -> Proof:
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
        known = to_control(line, inputs, line.close, station, "foresight", section.foresight)
        says = (
            f"on the azimuth from {station} to {mark}, {with_signs(azimuth_text(known, 1))} from "
            "their coordinates"
        )
        return Proof(known_rad=known, counted=counted, says=says)
    if line.close_azimuth_rad is not None:
        return Proof(
            known_rad=line.close_azimuth_rad,
            counted=counted,
            says=f"on the stated azimuth from {station} to {mark}",
        )
    unknown = (
        f"the last row turns to {mark}, but neither foresight nor close_azimuth says in which "
        "direction that is"
    )
    if section.shape is Shape.LINK or is_observed(section):
        return _unproved(line, unknown)
    if mark == line.to[0]:
        if not line.turned_first:
            says = f"on the start azimuth, {station} to {mark}"
            return Proof(known_rad=start_rad, counted=counted, says=says)
        # The first angle only orients the loop: it stands on both sides of the comparison.
        counted = counted.copy()
        counted[0] = False
        first_leg = float(azimuths(line, line.angle_rad, start_rad)[0])
        says = (
            f"on the first leg, {station} to {mark}; the angle that the first row turns from "
            "the backsight is not proved"
        )
        return Proof(known_rad=first_leg, counted=counted, says=says)
    back = section.backsight.strip() if section.backsight is not None else None
    if line.turned_first and (mark == back if back is not None else mark not in line.at):
        says = f"on the start azimuth, {station} to {mark}"
        return Proof(known_rad=start_rad, counted=counted, says=says)
    return _unproved(line, unknown)


def _unproved(line: Line, why: str) -> Proof:
    return Proof(
        known_rad=float("nan"), counted=np.isfinite(line.angle_rad), says=f"not closed: {why}"
    )


def angular_misclosure(line: Line, proof: Proof, angles: FloatArray, start_rad: float) -> float:
    """Return the sum of the angles observed minus the theoretical, radians; NaN: not proved."""
    computed = float(azimuths(line, angles, start_rad)[-1])
    if proof.reversed:
        computed += np.pi
    return float(wrap_signed(sense(line.section) * (computed - proof.known_rad)))


def shared(line: Line, proof: Proof, angular: float, remarks: list[str]) -> FloatArray:
    """Return the angles as used: observed, or with the angular misclosure taken out equally."""
    angles = line.angle_rad
    if line.section.adjust is Adjust.NONE or np.isnan(angular):
        return angles
    if is_observed(line.section):
        remarks.append(
            "Directions observed leg by leg do not hang on each other: their misclosure was not "
            "shared out."
        )
        return angles
    count = int(np.count_nonzero(proof.counted))
    if count == 0:
        remarks.append("No angle was observed that the misclosure could be shared out over.")
        return angles
    angles = angles.copy()
    correction = equally(angular, count)
    angles[proof.counted] += correction
    remarks.append(
        f"Each of the {count} angles was corrected by {signed(correction[0] / ARCSEC, 2)}″ before "
        "latitudes and departures were computed."
    )
    return angles
