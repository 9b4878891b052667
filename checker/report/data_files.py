"""results.json, results.csv and the map, written side by side: each row is made into text once."""

from contextlib import ExitStack

from checker.model.finding import Results
from checker.report.exports import csv_head, csv_keys, csv_part
from checker.report.geojson import END as MAP_END
from checker.report.geojson import NAME as MAP_FILE
from checker.report.geojson import MapFile
from checker.report.numbers import Outside
from checker.report.outlet import Outlet
from checker.report.results_json import exported, json_frame, json_part


def write_data(results: Results, on_map: MapFile, outlet: Outlet) -> None:
    """Write the files that hold every row, part by part."""
    outside = Outside(unit=results.job.unit)
    keys = csv_keys(results)
    begin, end = json_frame(results)
    with ExitStack() as files:
        to_json = files.enter_context(outlet.file("results.json"))
        to_csv = files.enter_context(outlet.file("results.csv"))
        to_map = None if on_map.head is None else files.enter_context(outlet.file(MAP_FILE))
        to_json(begin)
        to_csv(csv_head(keys))
        if to_map is not None:
            to_map(on_map.head or "")
        for part in exported(results):
            to_json(json_part(part, outside))
            to_csv(csv_part(part, keys, results.job.unit.value))
            if to_map is not None:
                to_map(on_map.part(part))
        to_json(end)
        if to_map is not None:
            to_map(MAP_END)
