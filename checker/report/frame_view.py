"""The block about the grid on the page of inputs: what a survey statement says of its frame."""

import math

from checker.model.finding import Results
from checker.model.frame import SiteFrame
from checker.report.escape import clean
from checker.report.numbers import Outside
from checker.report.show import MINUS, degrees_text, length, minus
from checker.report.sources import Line
from checker.text import dms, fixed

_UNSTATED = "not stated in the job"


def frame_lines(results: Results) -> tuple[Line, ...]:
    """Return the frame as stated, then what its projection does at the site."""
    reference = results.job.reference
    ground = reference.ground
    lines = [
        ("Grid", reference.crs or _UNSTATED),
        ("Realization", reference.realization or _UNSTATED),
        ("Epoch", reference.epoch or _UNSTATED),
        ("Vertical datum", reference.vertical or _UNSTATED),
        ("Geoid model", reference.geoid or _UNSTATED),
    ]
    if results.frame is not None:
        outside = Outside(unit=results.job.unit)
        lines += _computed(results.frame, outside, stated=ground is not None)
    return tuple(Line(name=name, text=clean(text)) for name, text in lines)


def _computed(frame: SiteFrame, outside: Outside, *, stated: bool) -> list[tuple[str, str]]:
    """Return what was computed at the middle of the points."""
    turn = degrees_text(dms(abs(frame.convergence_rad), 1))
    sign = "+" if frame.convergence_rad >= 0.0 else MINUS
    latitude, longitude = (
        minus(fixed(math.degrees(angle), 6)) for angle in (frame.latitude_rad, frame.longitude_rad)
    )
    low, middle, high = (
        fixed(scale, 8) for scale in (frame.scale_low, frame.scale, frame.scale_high)
    )
    which = "longer" if frame.ground_less_grid_m >= 0.0 else "shorter"
    by = length(abs(frame.ground_less_grid_m), outside)
    across = f"over the {length(frame.extent_m, outside, 0)} from corner to corner of the points"
    combined = fixed(frame.combined_factor, 8)
    known = "" if stated else "; the job takes design and shots to be on one grid"
    lines = [
        ("Projection", f"{frame.title}: {frame.projection}"),
        ("Datum", frame.datum),
        ("Area of the grid", frame.area),
        ("Unit of the grid's coordinates", frame.unit),
        ("Middle of the points", f"latitude {latitude}°, longitude {longitude}°"),
        ("Scale factor of the grid", f"{middle} ({low} to {high} over the site)"),
        ("Convergence", f"{sign}{turn}; grid azimuth = geodetic azimuth − convergence"),
        ("Elevation factor", _of_height(frame, outside)),
        ("Combined factor found", f"{combined}, grid distance over ground distance"),
        ("Ground against grid", f"{across} the ground is {by} {which} than the grid{known}"),
    ]
    if frame.stated_factor is not None:
        off = length(abs(frame.stated_less_found_m), outside)
        text = f"{frame.stated_factor:.10g}; it differs from the one found by {off} {across}"
        lines.append(("Combined factor of the job", text))
    return [*lines, *(("Stands out", text) for text in frame.remarks)]


def _of_height(frame: SiteFrame, outside: Outside) -> str:
    """Return the elevation factor and what it was taken at."""
    if not math.isfinite(frame.elevation_m):
        return "not known: the points have no elevations"
    at = length(frame.elevation_m, outside)
    return (
        f"{fixed(frame.elevation_factor, 8)} at the mean elevation of {at}; the height of the geoid"
        " is left out, 30 m of it are 5 ppm"
    )
