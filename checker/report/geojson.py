"""results.geojson: the rows with a place, on WGS 84, for a map.

The projection and the transformation are PROJ's; which one was taken, and how well it is known,
stands in the file. It is for finding the stakes on a map: the frames differ by more than the
stakes may, so no coordinate of it is for setting out. Format: RFC 7946.
"""

import json
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from checker.model.arrays import FloatArray
from checker.model.finding import Results
from checker.report.numbers import fixed_column
from checker.report.places import places_of
from checker.report.results_json import Exported
from checker.units import exact_metres

if TYPE_CHECKING:
    from pyproj import CRS, Transformer

NAME = "results.geojson"
_DECIMALS = 8
"""Of a degree: a millimetre."""
_KEYS = (
    *("id", "verdict", "reason", "close", "design_z", "measured_z"),
    *("dn", "de", "dz", "horizontal", "cut_fill", "superseded"),
)
"""What a point tells of itself; the keys of results.json, in its unit."""
_CAUTION = (
    "For a map only. Do not set out from these coordinates: use the grid coordinates of results.csv"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class MapFile:
    """The file's content, None where it is left out; said: how it was made, or why not."""

    text: str | None
    said: str


def map_file(results: Results, tables: Sequence[Exported]) -> MapFile:
    """Return the points of all checks as GeoJSON, or why there is none.

    tables: the results' `exported`.
    """
    name = results.job.reference.crs
    if name is None:
        return MapFile(
            text=None, said='left out: the job names no grid ("crs" under [reference] in job.toml)'
        )
    chosen = [(t, p) for t in tables if (p := places_of(t.finding)) is not None]
    placed = [
        (
            finding,
            np.where(np.isfinite(p.measured_m[:, :2]), p.measured_m[:, :2], p.design_m[:, :2]),
        )
        for finding, p in chosen
    ]
    if not placed:
        return MapFile(text=None, said="left out: no check compares places")
    from pyproj.exceptions import CRSError, ProjError

    try:
        crs, transformer = _way(name, np.concatenate([ne for _, ne in placed]))
    except (CRSError, ProjError) as fault:
        return MapFile(text=None, said=f'left out: "{name}" leads to no WGS 84: {fault}')
    how = f"{crs.name} to WGS 84 by: {transformer.description}"
    accuracy = transformer.accuracy if transformer.accuracy >= 0 else None
    known = "stated accuracy unknown" if accuracy is None else f"stated accuracy {accuracy:g} m"
    metres = exact_metres(crs.axis_info[0].unit_conversion_factor)
    features = []
    for table, north_east in placed:
        features += _features(table, north_east / metres, transformer)
    if not features:
        return MapFile(text=None, said=f'left out: no point lies where "{name}" can be used')
    head = {
        "type": "FeatureCollection",
        "about": _CAUTION,
        "transformation": {
            "from": name,
            "name": crs.name,
            "to": "WGS 84",
            "operation": transformer.description,
            "accuracy_m": accuracy,
        },
        "unit": results.job.unit.value,
    }
    begin = json.dumps(head, ensure_ascii=False)[:-1]
    listed = ",\n".join(features)
    lost = sum(int(np.isfinite(ne).all(axis=1).sum()) for _, ne in placed) - len(features)
    if lost:
        known += f"; {lost:,} places left out, on which this grid cannot be used"
    return MapFile(text=f'{begin}, "features": [\n{listed}\n]}}\n', said=f"{how}; {known}")


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


def _features(table: Exported, north_east: FloatArray, transformer: "Transformer") -> list[str]:
    """Return one feature a row that has a place, as JSON. north_east: in the grid's unit."""
    longitude, latitude = transformer.transform(north_east[:, 1], north_east[:, 0])
    there = np.flatnonzero(np.isfinite(longitude) & np.isfinite(latitude))
    measure = table.finding.measure
    cells = {cell.key: texts for cell, texts in zip(table.cells, table.texts, strict=True)}
    keys = [key for key in _KEYS if key in cells]
    check = json.dumps({"check": measure.name, "kind": measure.kind}, ensure_ascii=False)
    begin = check[:-1].replace("%", "%%")
    body = ", ".join(f'"{key}": %s' for key in keys)
    pattern = (
        '{"type": "Feature", "geometry": {"type": "Point", "coordinates": [%s, %s]}, '
        f'"properties": {begin}, {body}}}}}'
    )
    degrees = [fixed_column(each[there], _DECIMALS) for each in (longitude, latitude)]
    columns = [[cells[key][row] for row in there.tolist()] for key in keys]
    return [pattern % each for each in zip(*degrees, *columns, strict=True)]
