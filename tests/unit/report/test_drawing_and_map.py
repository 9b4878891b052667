import io
import json
import math
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from ezdxf.document import Drawing
from ezdxf.filemanagement import read
from ezdxf.lldxf.encoding import decode_dxf_unicode
from pyproj import Geod, Transformer

from checker.model.finding import Results
from checker.model.job import Reference
from checker.model.measure import Measure
from checker.report.deltas_dxf import deltas_dxf
from checker.report.geojson import MapFile, map_file, map_text
from checker.report.places import places_of
from checker.report.render import render
from checker.run import check
from checker.units import LengthUnit
from tests.support.jobs import JobFolder
from tests.unit.report import factory


def opened(results: Results) -> Drawing:
    """Return deltas.dxf as ezdxf reads it, and see that there is nothing to mend."""
    data = deltas_dxf(results)
    document = read(io.StringIO(data.decode("ascii")))
    auditor = document.audit()
    assert not auditor.errors
    assert not auditor.fixes
    return document


def stakeout(results: Results, name: str) -> Measure:
    return next(f.measure for f in results.findings if f.measure.name == name)


def on_map(results: Results, crs: str | None) -> MapFile:
    named = replace(results, job=replace(results.job, reference=Reference(crs=crs)))
    return map_file(named)


# --- deltas.dxf -----------------------------------------------------------------------------------


def test_points_and_vectors_lie_where_results_json_says() -> None:
    results = factory.make()
    document = opened(results)
    rows = [
        row
        for check in json.loads(render(results)["results.json"])["checks"]
        for row in check["rows"]
        if row.get("measured_n") is not None and not row["superseded"]
    ]
    assert rows
    expected = sorted({(row["measured_e"], row["measured_n"]) for row in rows})
    found = sorted(
        {
            (point.dxf.location.x, point.dxf.location.y)
            for point in document.modelspace().query("POINT")
            if point.dxf.layer.startswith("CHECKED-MEASURED")
        }
    )
    assert len(found) == len(expected)
    for one, other in zip(found, expected, strict=True):
        assert one == pytest.approx(other, abs=1e-6, rel=0)
    lengths = sorted(
        math.hypot(row["dn"], row["de"])
        for row in rows
        if row["dn"] is not None and row["design_z"] is not None and row["measured_z"] is not None
    )
    drawn = sorted(
        math.hypot(line.dxf.end.x - line.dxf.start.x, line.dxf.end.y - line.dxf.start.y)
        for line in document.modelspace().query("LINE")
        if not line.dxf.layer.endswith("NO-ELEVATION")
    )
    assert drawn == pytest.approx(lengths, abs=2e-6)


def test_what_has_no_elevation_says_so_by_its_layer() -> None:
    document = opened(factory.make())
    for entity in document.modelspace().query("POINT"):
        flat = entity.dxf.layer.endswith("-NO-ELEVATION")
        assert flat == (entity.dxf.location.z == 0.0)


def test_every_layer_is_our_own_and_listed() -> None:
    document = opened(factory.make())
    used = {entity.dxf.layer for entity in document.modelspace()}
    assert all(name.startswith("CHECKED-") for name in used)
    assert used <= {layer.dxf.name for layer in document.layers}


@pytest.mark.parametrize(
    ("unit", "code"),
    # AutoCAD DXF reference, header variable INSUNITS: 2 feet, 6 metres, 21 US survey feet.
    [(LengthUnit.FOOT, 2), (LengthUnit.METRE, 6), (LengthUnit.US_SURVEY_FOOT, 21)],
)
def test_the_unit_is_in_the_header(unit: LengthUnit, code: int) -> None:
    results = factory.make()
    results = replace(results, job=replace(results.job, unit=unit))
    assert opened(results).header["$INSUNITS"] == code


def test_odd_numbers_of_points_survive_as_text() -> None:
    evil = ["é 日本", "50%%d^J", "A\nB\r0\nSECTION", "\\U+0041", "\x00\x1b", "😀"]
    document = opened(factory.make(ids=evil))
    texts = [decode_dxf_unicode(text.dxf.text) for text in document.modelspace().query("TEXT")]
    names = [text.split("  ")[0] for text in texts]
    assert {"é 日本", "50%%%%%%d^ J", "A B 0 SECTION", "\\U+0041", "?"} <= set(names)
    assert not any("\n" in text for text in texts)


def test_an_empty_job_has_a_drawing_that_opens() -> None:
    results = replace(factory.make(), findings=())
    assert len(opened(results).modelspace()) == 0


def test_the_view_shows_what_there_is() -> None:
    document = opened(factory.make())
    views: Any = document.viewports.get("*ACTIVE")
    (view,) = views
    low, high = document.header["$EXTMIN"], document.header["$EXTMAX"]
    assert view.dxf.center.x == pytest.approx((low[0] + high[0]) / 2, abs=0.01)
    for point in document.modelspace().query("POINT"):
        assert low[0] <= point.dxf.location.x <= high[0]
        assert low[1] <= point.dxf.location.y <= high[1]


# --- results.geojson ------------------------------------------------------------------------------


def grid_results() -> Results:
    """Return results whose coordinates are moved to the middle of a real grid's area."""
    from checker.run import check
    from tests.test_demo import DEMO

    return check(DEMO)


def test_the_map_shows_every_place_where_the_projection_puts_it() -> None:
    """Against PROJ's own inverse projection and geodesic: EPSG:6527, New Jersey."""
    results = grid_results()
    made = map_file(results)
    document = json.loads(map_text(results, made) or "")
    assert document["type"] == "FeatureCollection"
    assert "NAD83(2011) to WGS 84" in document["transformation"]["operation"]
    assert document["transformation"]["accuracy_m"] >= 1.0
    assert "stated accuracy" in made.said
    inverse = Transformer.from_crs("EPSG:6527", "EPSG:6318", always_xy=True)
    geod = Geod(ellps="GRS80")
    points = {
        (f["properties"]["check"], f["properties"]["id"]): f["geometry"]["coordinates"]
        for f in document["features"]
        if not f["properties"].get("superseded")
    }
    checked = 0
    for finding in results.findings:
        places = places_of(finding)
        if places is None:
            continue
        best = np.where(
            np.isfinite(places.measured_m[:, :2]),
            places.measured_m[:, :2],
            places.design_m[:, :2],
        ) / (1200 / 3937)
        for row, name in enumerate(finding.measure.id.tolist()):
            key = (finding.measure.name, name)
            again = finding.measure.id.tolist().count(name) > 1
            if again or not np.isfinite(best[row]).all():
                continue
            lon, lat = inverse.transform(best[row, 1], best[row, 0])
            _, _, apart = geod.inv(lon, lat, *points[key])
            # The step between the frames is a null transformation with a stated accuracy.
            assert apart < 0.002, key
            checked += 1
    assert checked > 50


def test_features_keep_to_rfc_7946() -> None:
    results = grid_results()
    text = map_text(results, map_file(results))
    assert text is not None
    assert text == render(results)["results.geojson"].decode()
    for feature in json.loads(text)["features"]:
        assert feature["type"] == "Feature"
        assert feature["geometry"]["type"] == "Point"
        lon, lat = feature["geometry"]["coordinates"]
        assert -180 <= lon <= 180
        assert -90 <= lat <= 90
        assert feature["properties"]["verdict"] in ("within", "outside", "undecided", "unchecked")


@pytest.mark.parametrize(
    ("crs", "words"),
    [
        (None, "names no grid"),
        ("EPSG:99999999", "leads to no WGS 84"),
        ("EPSG:4326", "no grid of northings"),
        ("a grid of our own", "leads to no WGS 84"),
    ],
)
def test_without_a_grid_the_map_is_left_out_and_the_page_says_why(
    crs: str | None, words: str
) -> None:
    results = factory.make()
    results = replace(results, job=replace(results.job, reference=Reference(crs=crs)))
    made = on_map(results, crs)
    assert not made.there
    assert map_text(results, made) is None
    assert words in made.said
    files = render(results)
    assert "results.geojson" not in files
    page = files["inputs.html"].decode()
    assert "left out" in page
    assert b"results.geojson" not in files["index.html"]


def test_places_where_the_grid_cannot_be_used_are_counted() -> None:
    results = factory.make()
    made = on_map(results, "EPSG:6527")
    # The invented coordinates of this job lie far from that grid's area, yet on its plane.
    text = map_text(results, made)
    assert text is None or json.loads(text)["features"]


def test_labels_of_shots_in_one_place_stand_below_each_other(tmp_path: Path) -> None:
    design = [("1", 5000.0, 3000.0, 10.0), ("2", 5060.0, 3100.0, 10.0)]
    control = [("CP1", 5030.0, 3050.0, 9.0)]
    shots = [*design, *(("CP1", 5030.0 + 0.001 * n, 3050.0, 9.0) for n in range(5))]
    folder = JobFolder(design=design, shots=shots, control=control).write(tmp_path)
    drawing = read(io.StringIO(render(check(folder))["deltas.dxf"].decode()))
    texts = [e for e in drawing.modelspace() if e.dxftype() == "TEXT" and "CP1" in e.dxf.text]
    assert len(texts) == 5
    heights = sorted(e.dxf.insert.y for e in texts)
    size = texts[0].dxf.height
    assert all(b - a > 1.2 * size for a, b in pairwise(heights))
