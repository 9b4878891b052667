"""results.geojson: the rows with a place, on WGS 84, for a map.

The projection and the transformation are PROJ's; which one was taken, and how well it is known,
stands in the file. It is for finding the stakes on a map: the frames differ by more than the
stakes may, so no coordinate of it is for setting out. Format: RFC 7946.
"""

import json
import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from checker.model.arrays import FloatArray
from checker.model.finding import Results
from checker.model.ways import way_of
from checker.report.escape import in_json
from checker.report.numbers import fixed_column
from checker.report.places import places_of
from checker.report.results_json import Exported, exported
from checker.units import exact_metres

if TYPE_CHECKING:
    from pyproj import CRS, Transformer

NAME = "results.geojson"
_DECIMALS = 8
"""Of a degree: a millimetre."""
_BREAK = ",\n"
_KEYS = (
    *("id", "verdict", "reason", "close", "design_z", "measured_z"),
    *("dn", "de", "dz", "horizontal", "cut_fill", "superseded"),
)
"""What a point tells of itself; the keys of results.json, in its unit."""
_CAUTION = (
    "For a map only. Do not set out from these coordinates: use the grid coordinates of results.csv"
)


END = "\n]}\n"
"""How the file ends."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MapFile:
    """What the file will hold: how it begins, and the places of the checks.

    head: None where the file is left out; said: how it was made, or why not. places: by the number
    of the check, longitude and latitude in degrees, shape (rows, 2), not finite where there is no
    place.
    first: the check and the row with which the features begin.
    """

    said: str
    head: str | None = None
    places: Mapping[int, FloatArray] = field(default_factory=dict)
    first: tuple[int, int] = (0, 0)

    @property
    def there(self) -> bool:
        """True where the file is written."""
        return self.head is not None

    def part(self, part: Exported) -> str:
        """Return the features of a part of a check, with what parts them from those before."""
        if part.number not in self.places:
            return ""
        features = _features(part, self.places[part.number][part.rows.start : part.rows.stop])
        more = features and self.first < (part.number, part.rows.start)
        return (_BREAK if more else "") + _BREAK.join(features)


def map_text(results: Results, on_map: MapFile) -> str | None:
    """Return the whole text of the file, None where it is left out."""
    if on_map.head is None:
        return None
    parts = [on_map.part(part) for part in exported(results)]
    return "".join((on_map.head, *parts, END))


def map_file(results: Results) -> MapFile:
    """Return where the points of all checks lie on a map, or why there is none."""
    name = results.job.reference.crs
    if name is None:
        return MapFile(said='left out: the job names no grid ("crs" under [reference] in job.toml)')
    placed = {
        number: np.where(np.isfinite(p.measured_m[:, :2]), p.measured_m[:, :2], p.design_m[:, :2])
        for number, finding in enumerate(results.findings)
        if (p := places_of(finding)) is not None
    }
    if not placed:
        return MapFile(said="left out: no check compares places")
    from pyproj.exceptions import CRSError, ProjError

    try:
        crs, transformer = _way(name, np.concatenate(list(placed.values())))
    except (CRSError, ProjError) as fault:
        return MapFile(said=f'left out: "{name}" leads to no WGS 84: {fault}')
    way = way_of(transformer)
    known = way.known
    metres = exact_metres(crs.axis_info[0].unit_conversion_factor)
    places = {
        number: np.column_stack(transformer.transform(*(north_east / metres).T[::-1]))
        for number, north_east in placed.items()
    }
    there = {number: np.flatnonzero(np.isfinite(p).all(axis=1)) for number, p in places.items()}
    first = next(((number, int(rows[0])) for number, rows in there.items() if len(rows)), None)
    if first is None:
        return MapFile(said=f'left out: no point lies where "{name}" can be used')
    head = {
        "type": "FeatureCollection",
        "about": _CAUTION,
        "transformation": {
            "from": name,
            "name": crs.name,
            "to": "WGS 84",
            "operation": way.steps,
            "accuracy_m": way.accuracy_m,
        },
        "unit": results.job.unit.value,
    }
    lost = sum(int(np.isfinite(ne).all(axis=1).sum()) for ne in placed.values())
    lost -= sum(map(len, there.values()))
    if lost:
        known += f"; {lost:,} places left out, on which this grid cannot be used"
    return MapFile(
        said=f"{crs.name} to WGS 84 by: {way.steps}; {known}",
        head=in_json(json.dumps(head, ensure_ascii=False))[:-1] + ', "features": [\n',
        places=places,
        first=first,
    )


def _way(name: str, north_east_m: FloatArray) -> "tuple[CRS, Transformer]":
    """Return the grid, and the best transformation to WGS 84 that needs nothing fetched."""
    from pyproj import CRS
    from pyproj.exceptions import ProjError
    from pyproj.transformer import AreaOfInterest, Transformer, TransformerGroup

    crs = CRS.from_user_input(name).to_2d()
    geodetic = crs.geodetic_crs
    if not crs.is_projected or geodetic is None:
        raise ProjError("it is no grid of northings and eastings")
    known = north_east_m[np.isfinite(north_east_m).all(axis=1)]
    scale = exact_metres(crs.axis_info[0].unit_conversion_factor)
    middle = (known.min(axis=0) + known.max(axis=0)) / 2 / scale
    own = Transformer.from_crs(crs, geodetic.to_2d(), always_xy=True)
    longitude, latitude = own.transform(middle[1], middle[0], errcheck=True)
    near = AreaOfInterest(longitude - 0.01, latitude - 0.01, longitude + 0.01, latitude + 0.01)
    with warnings.catch_warnings():
        # It warns where a better way needs a grid file that is not installed; ours is named.
        warnings.simplefilter("ignore", UserWarning)
        group = TransformerGroup(
            crs, "EPSG:4326", always_xy=True, area_of_interest=near, allow_ballpark=False
        )
    if not group.transformers:
        raise ProjError("no transformation is known")
    return crs, group.transformers[0]


def _features(part: Exported, place: FloatArray) -> list[str]:
    """Return one feature a row that has a place, as JSON. place: as in `MapFile`."""
    there = np.flatnonzero(np.isfinite(place).all(axis=1))
    measure = part.finding.measure
    nothing = ["null"] * len(part.rows)
    cells = {
        cell.key: nothing if texts is None else texts
        for cell, texts in zip(part.cells, part.texts, strict=True)
    }
    keys = [key for key in _KEYS if key in cells]
    check = in_json(json.dumps({"check": measure.name, "kind": measure.kind}, ensure_ascii=False))
    begin = check[:-1].replace("%", "%%")
    body = ", ".join(f'"{key}": %s' for key in keys)
    pattern = (
        '{"type": "Feature", "geometry": {"type": "Point", "coordinates": [%s, %s]}, '
        f'"properties": {begin}, {body}}}}}'
    )
    degrees = [fixed_column(place[there, axis], _DECIMALS) for axis in (0, 1)]
    columns = [[cells[key][row] for row in there.tolist()] for key in keys]
    return [pattern % each for each in zip(*degrees, *columns, strict=True)]
