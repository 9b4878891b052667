"""The files beside the pages, for every kind of check that the demonstration has."""

import csv
import io
import json
from pathlib import Path

import pytest
from ezdxf.filemanagement import read

from checker.model.finding import Results
from checker.report.render import render
from checker.report.single import LIMIT
from checker.run import check
from tests.unit.report.test_render import broken_links

DEMO = Path(__file__).parents[3] / "demo_job"


@pytest.fixture(scope="module")
def results() -> Results:
    return check(DEMO)


@pytest.fixture(scope="module")
def files(results: Results) -> dict[str, bytes]:
    return render(results)


def test_no_link_is_dead_and_every_tag_is_closed(files: dict[str, bytes], results: Results) -> None:
    assert broken_links(files) == []
    single = render(results, single_file=True)
    assert broken_links(single) == []
    assert len(single["index.html"]) < LIMIT


def test_the_drawing_opens_with_nothing_to_mend(files: dict[str, bytes]) -> None:
    document = read(io.StringIO(files["deltas.dxf"].decode("utf-8")))
    audit = document.audit()
    assert not audit.errors
    assert not audit.fixes
    layers = {entity.dxf.layer for entity in document.modelspace()}
    assert layers
    assert all(layer.startswith("CHECKED-") for layer in layers)
    assert document.header["$INSUNITS"] in (2, 6, 21)


def test_the_map_is_a_collection_of_points_on_the_globe(files: dict[str, bytes]) -> None:
    document = json.loads(files["results.geojson"])
    assert document["type"] == "FeatureCollection"
    assert len(document["features"]) > 100
    for feature in document["features"]:
        assert feature["type"] == "Feature"
        geometry = feature["geometry"]
        assert geometry["type"] in ("Point", "LineString")
        places = [geometry["coordinates"]]
        if geometry["type"] == "LineString":
            places = geometry["coordinates"]
        for place in places:
            assert -180 <= place[0] <= 180
            assert -90 <= place[1] <= 90


def test_the_table_has_every_row_and_no_cell_that_a_spreadsheet_would_run(
    files: dict[str, bytes],
) -> None:
    document = json.loads(files["results.json"])
    rows = list(csv.DictReader(io.StringIO(files["results.csv"].decode("utf-8-sig"))))
    assert len(rows) == sum(len(each["rows"]) for each in document["checks"])
    for row in rows:
        for cell in row.values():
            begins = (cell or "")[:1]
            assert begins not in ("=", "@", "\t", "\r")
            if begins in ("+", "-"):
                float(cell)
