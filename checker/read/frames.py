"""Coordinates from one frame to another; the projections and transformations are PROJ's.

Only the plan is brought over: heights stay as they are. A transformation whose stated accuracy is
unknown or too poor is refused, for a checker may not add metres to what it judges in millimetres.
"""

import warnings
from typing import TYPE_CHECKING, Final

import numpy as np

from checker.errors import InputError, Problem, Where
from checker.model.arrays import FloatArray
from checker.model.drawing import Notice
from checker.model.ways import way_of
from checker.units import exact_metres

if TYPE_CHECKING:
    from pyproj import CRS, Transformer

VAGUEST_M: Final = 0.5
"""A transformation that is known no better than this is refused; common practice, no source."""


def is_geographic(frame: str, where: Where) -> bool:
    """Return whether a frame's coordinates are angles. Raises InputError where it is unknown."""
    return bool(_known(frame, where).is_geographic)


def same_name(one: str | None, other: str | None) -> bool:
    """Return whether two names of frames read the same, blanks and case aside."""
    return one is not None and other is not None and _bare(one) == _bare(other)


def _bare(name: str) -> str:
    return "".join(name.split()).casefold()


def same_frame(one: str, other: str, where: Where) -> bool:
    """Return whether two names mean one horizontal frame. Raises InputError for an unknown one."""
    frames = [_known(frame, where).to_2d() for frame in (one, other)]
    return bool(frames[0].equals(frames[1], ignore_axis_order=True))


def metres_per_unit(frame: str) -> float:
    """Return the metres in one unit of a projected frame's axes."""
    from pyproj import CRS

    axes = CRS.from_user_input(frame).axis_info
    return exact_metres(axes[0].unit_conversion_factor) if axes else 1.0


def grid_m(
    latitude_deg: FloatArray,
    longitude_deg: FloatArray,
    frame: str,
    grid: str,
    where: Where,
    vaguest_m: float = VAGUEST_M,
) -> tuple[FloatArray, FloatArray, Notice]:
    """Return northings and eastings in metres, and what was done in words.

    latitude_deg, longitude_deg: shape (points,), north and east positive, in `frame`. grid: the
    projected frame that is wanted. where: the table's header. Raises InputError where a frame is
    unknown, `frame` is no geographic one, `grid` no projected one, no way between them is known, or
    none that is stated to be at least as accurate as `vaguest_m`.
    """
    source, target = _frames(frame, "geographic", grid, where)
    box = _box(longitude_deg, latitude_deg)
    transformer = _way(source, target, frame, grid, box, where, vaguest_m)
    east, north = _moved(transformer, longitude_deg, latitude_deg, frame, grid, where)
    said = _notice("longitude and latitude in", source, target, transformer, where)
    metres = exact_metres(target.axis_info[0].unit_conversion_factor)
    return north * metres, east * metres, said


def other_grid_m(
    northing_m: FloatArray,
    easting_m: FloatArray,
    frame: str,
    grid: str,
    where: Where,
    vaguest_m: float = VAGUEST_M,
) -> tuple[FloatArray, FloatArray, Notice]:
    """Return northings and eastings on another grid, in metres, and what was done in words.

    northing_m, easting_m: shape (points,), in the projected `frame`, whatever its own unit. Raises
    InputError as `grid_m` does, and where `frame` is no projected one.
    """
    from pyproj import Transformer

    source, target = _frames(frame, "projected", grid, where)
    metres = exact_metres(source.axis_info[0].unit_conversion_factor)
    x, y = easting_m / metres, northing_m / metres
    geodetic = source.geodetic_crs
    assert geodetic is not None  # noqa: S101 - every projected frame has one
    degrees = Transformer.from_crs(source, geodetic.to_2d(), always_xy=True)
    longitude, latitude = _moved(degrees, x, y, frame, grid, where)
    box = _box(longitude, latitude)
    transformer = _way(source, target, frame, grid, box, where, vaguest_m)
    east, north = _moved(transformer, x, y, frame, grid, where)
    said = _notice("northings and eastings on", source, target, transformer, where)
    metres = exact_metres(target.axis_info[0].unit_conversion_factor)
    return north * metres, east * metres, said


def _box(longitude_deg: FloatArray, latitude_deg: FloatArray) -> tuple[float, float, float, float]:
    """Return west, south, east and north of places."""
    return (
        float(np.min(longitude_deg)),
        float(np.min(latitude_deg)),
        float(np.max(longitude_deg)),
        float(np.max(latitude_deg)),
    )


def _known(frame: str, where: Where) -> "CRS":
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        return CRS.from_user_input(frame)
    except CRSError:
        raise InputError([_unknown(frame, where)]) from None


def _frames(frame: str, kind: str, grid: str, where: Where) -> tuple["CRS", "CRS"]:
    """Return both frames in the plan; InputError where one is unknown or of the wrong kind."""
    problems: list[Problem] = []
    parsed: list[CRS] = []
    for name, wanted in ((frame, kind), (grid, "projected")):
        try:
            crs = _known(name, where).to_2d()
        except InputError as fault:
            problems.extend(fault.problems)
            continue
        parsed.append(crs)
        if not (crs.is_geographic if wanted == "geographic" else crs.is_projected):
            problems.append(
                Problem(
                    slug="wrong-frame",
                    where=where,
                    message=f'"{name}" ({crs.name}) is not a {wanted} frame',
                    hint="[measured] crs is the frame of the file: of longitude and latitude, or "
                    "the grid of its northings and eastings; [reference] crs is the grid of the "
                    "job",
                )
            )
    if problems:
        raise InputError(problems)
    return parsed[0], parsed[1]


Box = tuple[float, float, float, float]
"""West, south, east, north, in degrees."""


def _way(
    source: "CRS",
    target: "CRS",
    frame: str,
    grid: str,
    box: Box,
    where: Where,
    vaguest_m: float,
) -> "Transformer":
    """Return the best transformation for the place of the points, if it is good enough."""
    from pyproj.exceptions import ProjError
    from pyproj.transformer import AreaOfInterest, TransformerGroup

    west, south, east, north = box
    area = None
    if -180.0 <= west <= east <= 180.0 and -90.0 <= south <= north <= 90.0:
        area = AreaOfInterest(west, south, east, north)
    with warnings.catch_warnings():
        # That a better transformation lacks its grid file is said below, in the job's words.
        warnings.simplefilter("ignore", UserWarning)
        try:
            group = TransformerGroup(
                source, target, always_xy=True, allow_ballpark=False, area_of_interest=area
            )
        except ProjError:
            raise _refused(where, f'no way is known from "{frame}" to "{grid}"') from None
    better = group.unavailable_operations[0].name if group.unavailable_operations else ""
    lacking = f'; the better one, "{better}", needs a grid file that is not here' if better else ""
    if not group.transformers:
        raise _refused(where, f'no way is known from "{frame}" to "{grid}"{lacking}')
    best = group.transformers[0]
    way = way_of(best)
    if way.accuracy_m is not None and way.accuracy_m <= vaguest_m:
        return best
    known = "to no stated accuracy" if way.accuracy_m is None else f"only to {way.accuracy_m:g} m"
    raise InputError(
        [
            Problem(
                slug="vague-transformation",
                where=where,
                message=f'the way from "{frame}" to "{grid}" is known {known}, and the job needs '
                f"{vaguest_m:.2g} m or better: {way.steps}{lacking}",
                hint="if the points really are in the datum of the job's grid, as corrections from "
                "its own network give them, state that datum's frame as [measured] crs; else have "
                "them exported as northings and eastings of the grid",
            )
        ]
    )


def _moved(
    transformer: "Transformer", x: FloatArray, y: FloatArray, frame: str, grid: str, where: Where
) -> tuple[FloatArray, FloatArray]:
    from pyproj.exceptions import ProjError

    try:
        east, north = (np.asarray(axis) for axis in transformer.transform(x, y))
    except ProjError:
        east = north = np.full(x.shape, np.inf)
    if not (np.isfinite(east).all() and np.isfinite(north).all()):
        raise _refused(where, f'no way is known from "{frame}" to "{grid}" for all of these points')
    return east, north


def _refused(where: Where, message: str) -> InputError:
    return InputError(
        [
            Problem(
                slug="no-transformation",
                where=where,
                message=message,
                hint="check that the grid is meant for this place, or export northings and "
                "eastings with the software that holds the transformation",
            )
        ]
    )


def _notice(
    what: str, source: "CRS", target: "CRS", transformer: "Transformer", where: Where
) -> Notice:
    way = way_of(transformer)
    return Notice(
        slug="projected",
        where=where,
        message=f"{what} {source.name} were brought to {target.name}: "
        f"{way.steps} ({way.known}); elevations were not touched",
    )


def _unknown(frame: str, where: Where) -> Problem:
    return Problem(
        slug="unknown-frame",
        where=where,
        message=f'"{frame}" is not a coordinate reference system that is known here',
        hint='name it by its code in the EPSG register, such as "EPSG:6527"',
    )
