"""Coordinates of a traverse from its azimuths and distances."""

from dataclasses import dataclass

import numpy as np

from checker.checks.closing import length_text, refuse
from checker.checks.traverse_line import Line
from checker.geometry.plane import azimuth_rad, polar, polygon_area, wrap_azimuth
from checker.model.arrays import FloatArray
from checker.model.job import Shape

APART_M = 1.0
"""A station reached twice so far apart, and by more than `APART` of the way, is two (ours)."""
APART = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Coordinates computed from one set of azimuths; shape (legs,), metres and radians."""

    azimuth_rad: FloatArray
    latitude_m: FloatArray
    departure_m: FloatArray
    n_m: FloatArray
    e_m: FloatArray
    misclosure_n_m: float
    misclosure_e_m: float


def run_of(line: Line, azimuths: FloatArray, leg_m: FloatArray | None = None) -> Run:
    """Return the coordinates that azimuths and distances give; leg_m: other than on grid."""
    azimuth = wrap_azimuth(azimuths[: line.legs])
    latitude, departure = polar(azimuth, line.leg_m if leg_m is None else leg_m)
    start_n, start_e = line.start
    misclosure_n = misclosure_e = float("nan")
    if line.close is not None:
        # Sums of differences: large coordinates would cost digits.
        misclosure_n = float(np.sum(latitude)) - (line.close[0] - start_n)
        misclosure_e = float(np.sum(departure)) - (line.close[1] - start_e)
    return Run(
        azimuth_rad=azimuth,
        latitude_m=latitude,
        departure_m=departure,
        n_m=start_n + np.cumsum(latitude),
        e_m=start_e + np.cumsum(departure),
        misclosure_n_m=misclosure_n,
        misclosure_e_m=misclosure_e,
    )


def moved_to(line: Line, latitude_m: FloatArray, departure_m: FloatArray) -> Run:
    """Return the coordinates that adjusted latitudes and departures give."""
    return Run(
        azimuth_rad=azimuth_rad(latitude_m, departure_m),
        latitude_m=latitude_m,
        departure_m=departure_m,
        n_m=line.start[0] + np.cumsum(latitude_m),
        e_m=line.start[1] + np.cumsum(departure_m),
        misclosure_n_m=0.0,
        misclosure_e_m=0.0,
    )


def area_of(line: Line, run: Run) -> float:
    """Return the area inside a loop, NaN for another shape."""
    if line.section.shape is not Shape.LOOP:
        return float("nan")
    # The stations without the return to the start: one side runs back to it.
    northing = np.concatenate([[line.start[0]], run.n_m[:-1]])
    easting = np.concatenate([[line.start[1]], run.e_m[:-1]])
    return abs(polygon_area(northing, easting))


def repeated(line: Line, run: Run) -> list[str]:
    """Say how far apart a station lies that was reached twice.

    Raises InputError where the two places are so far apart that they are two stations.
    """
    names = [line.at[0], *line.to[: line.legs]]
    n = np.concatenate(([line.start[0]], run.n_m))
    e = np.concatenate(([line.start[1]], run.e_m))
    walked = np.concatenate(([0.0], np.cumsum(line.leg_m)))
    first: dict[str, int] = {}
    says = []
    for index, name in enumerate(names):
        if name not in first:
            first[name] = index
            continue
        before = first[name]
        if before == 0 and index == line.legs:
            continue  # the loop's own end
        dn, de = float(n[index] - n[before]), float(e[index] - e[before])
        apart = float(np.hypot(dn, de))
        if apart > max(APART_M, APART * float(walked[index] - walked[before])):
            refuse(
                "repeated-station",
                line.where(index - 1),
                f'station "{name}" is reached again, '
                f"{length_text(apart, line.section.unit, plus=False)} from where it was before "
                f"(line {line.book.line[max(before - 1, 0)]})",
                "give the two stations names of their own, or find the leg that is wrong",
            )
        says.append(
            f"Station {name} was reached twice: later minus earlier "
            f"{length_text(dn, line.section.unit)} north, {length_text(de, line.section.unit)} "
            "east."
        )
    return says
