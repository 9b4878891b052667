"""Tables that nobody here wrote, where they are at hand: beside the repository, in shared/tables.

Sources, licences and oddities are listed in the index beside the tables; nothing of them is kept
in the project. Without them the tests are skipped.
"""

import contextlib
from pathlib import Path

import numpy as np
import pytest

from checker.errors import InputError
from checker.model.books import RiseBook
from checker.model.points import Points
from checker.read.files import Source
from checker.read.level_book import read_level_book
from checker.read.points import read_points
from checker.units import LengthUnit

TABLES = Path(__file__).resolve().parents[4] / "shared" / "tables"


def source(name: str) -> Source:
    if not (TABLES / name).is_file():
        pytest.skip(f"{name} is not beside the repository, in shared/tables")
    return Source(path=name, data=(TABLES / name).read_bytes())


def points(
    name: str,
    columns: dict[str, str] | None = None,
    *,
    unique: bool = False,
    crs: tuple[str | None, str | None] = (None, None),
) -> tuple[Points, list[str]]:
    read, notices = read_points(
        [source(name)],
        unit=LengthUnit.METRE,
        columns=columns or {},
        role="design",
        unique=unique,
        crs_from=crs[0],
        crs_to=crs[1],
    )
    return read, [notice.slug for notice in notices]


PLACES = {"id": "1", "easting": "2", "northing": "3", "elevation": "4"}


@pytest.mark.parametrize(
    ("name", "columns", "rows", "first"),
    [
        ("bme_coo_list.csv", PLACES, 161, ("base_1", 271801.865, 667568.278, 252.176)),
        ("bme_gomb.csv", PLACES, 164, ("111", 99.674, 102.167, 58.389)),
        ("bme_monitoring.csv", {**PLACES, "time": "5"}, 690, ("0", 528.9096, -19.9386, 15.4809)),
        (
            "bme_test32.csv",
            {"id": "1", "easting": "1", "northing": "2", "elevation": "3"},
            0,
            None,
        ),
        (
            "mjb_trampling_points.csv",
            {},
            287,
            ("3588", 5016.785579, 4986.49877, 100.523934),
        ),
        ("mjb_refit_points.csv", {}, 1657, ("33", 5011.026, 5000.227, 98.585)),
        ("usgs_corebx_test_profile.csv", {}, 1024, ("1", 3870008.949, 392586.480, 5.618)),
        (
            "pier_01_schedule.csv",
            {"id": "PIER NO."},
            866,
            ("P26-01", 1518291.037, 688741.458, np.nan),
        ),
    ],
)
def test_plane_coordinates(
    name: str,
    columns: dict[str, str],
    rows: int,
    first: tuple[str, float, float, float] | None,
) -> None:
    if first is None:  # a table without numbers of its points: one column cannot be two fields
        with pytest.raises(InputError) as caught:
            points(name, columns)
        assert [p.slug for p in caught.value.problems] == ["ambiguous-column"]
        return
    read, _ = points(name, columns)
    assert len(read) == rows
    found = (read.id[0], read.northing_m[0], read.easting_m[0], read.elevation_m[0])
    assert found[0] == first[0]
    assert np.array_equal(np.array(found[1:], dtype=float), np.array(first[1:]), equal_nan=True)


def test_times_of_a_monitoring_run() -> None:
    read, slugs = points("bme_monitoring.csv", {**PLACES, "time": "5"})
    assert read.quality.time is not None
    assert read.quality.time[0] == np.datetime64("2013-06-04T08:35:13", "ms")
    assert not np.isnat(read.quality.time).any()
    assert "time-as-utc" in slugs


@pytest.mark.parametrize("name", ["bme_coo_list.csv", "bme_gomb.csv", "bme_e1000.txt"])
def test_tables_without_header_say_how_to_go_on(name: str) -> None:
    with pytest.raises(InputError) as caught:
        points(name)
    assert [p.slug for p in caught.value.problems] == ["no-header"]
    assert "columns = {" in caught.value.problems[0].hint


@pytest.mark.parametrize(("release", "count"), [("2024.1", 49), ("2024.2", 50)])
def test_marks_in_geojson(release: str, count: int) -> None:
    read, _ = points(f"rmbl_{release}_mark-points.geojson", crs=(None, "EPSG:32613"))
    assert len(read) == count
    assert read.id[0] == "Bellview Base"
    assert read.easting_m[0] == pytest.approx(324799.8735, abs=1e-4)
    assert read.quality.solution is not None
    assert set(read.quality.solution) == {"FIX", "SINGLE", ""}  # "" where the file has null


def test_the_grid_of_the_marks_agrees_with_their_degrees() -> None:
    """The file's own two kinds of coordinates check the projection against each other."""
    import json

    document = json.loads(source("rmbl_2024.1_mark-points.geojson").data)
    shown = [feature["properties"] for feature in document["features"]]
    text = "id,latitude,longitude\n" + "".join(
        f'"{entry["name"]}",{entry["lat_dd"]},{entry["lon_dd"]}\n' for entry in shown
    )
    grid, _ = points("rmbl_2024.1_mark-points.geojson")
    read, _ = read_points(
        [Source(path="degrees.csv", data=text.encode())],
        unit=LengthUnit.METRE,
        columns={},
        role="design",
        unique=False,
        crs_from="EPSG:4326",
        crs_to="EPSG:32613",
    )
    # Eight decimals of a degree are 1 mm; the digits of the file allow half of that.
    assert np.abs(read.northing_m - grid.northing_m).max() < 0.001
    assert np.abs(read.easting_m - grid.easting_m).max() < 0.001


@pytest.mark.parametrize("name", ["geonet_sites.csv", "geonet_marks.csv"])
def test_longitude_and_latitude_are_recognised(name: str) -> None:
    with pytest.raises(InputError) as caught:
        points(name)
    assert [p.slug for p in caught.value.problems] == ["no-frame"]


@pytest.mark.parametrize(
    ("name", "columns"),
    [
        ("bme_hu_obs.txt", {"from": "1", "to": "2", "rise": "3", "distance": "4"}),
        ("bme_hu_test.csv", {"from": "1", "to": "2", "rise": "4", "distance": "3"}),
    ],
)
def test_differences_of_elevation(name: str, columns: dict[str, str]) -> None:
    book = read_level_book(source(name), unit=LengthUnit.METRE, columns=columns)
    assert isinstance(book, RiseBook)
    assert np.isfinite(book.rise_m).all()
    assert np.isfinite(book.distance_m).all()


def test_no_table_breaks_the_readers() -> None:
    if not TABLES.is_dir():
        pytest.skip("shared/tables is not beside the repository")
    for path in sorted(TABLES.iterdir()):
        with contextlib.suppress(InputError):
            points(path.name)
