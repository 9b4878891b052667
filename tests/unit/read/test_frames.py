"""Points brought from one frame to another; what is too vague is refused."""

from pathlib import Path

import numpy as np
import pytest

from checker.errors import InputError, Where
from checker.model.finding import Results
from checker.read.files import Source
from checker.read.frames import grid_m, other_grid_m
from checker.read.points import read_points
from checker.run import check
from checker.units import LengthUnit

WHERE = Where(file="shots.csv", line=1)


def read(text: str, **options: object) -> tuple[list[float], list[str]]:
    points, notices = read_points(
        [Source(path="shots.csv", data=text.encode())],
        unit=options.pop("unit", LengthUnit.METRE),  # type: ignore[arg-type]
        columns={},
        role="as-measured",
        unique=False,
        **options,  # type: ignore[arg-type]
    )
    place = [points.northing_m[0], points.easting_m[0], points.elevation_m[0]]
    return [float(value) for value in place], [n.slug for n in notices]


def test_neighbouring_zones_meet_where_the_register_says() -> None:
    """A place on the 78th meridian lies as far east in zone 17 as west in zone 18.

    The two zones are one projection about 81 and 75 degrees west, scale 0.9996, false easting
    500,000 m: the definition of UTM (common practice, no source).
    """
    latitude, longitude = np.array([40.0]), np.array([-78.0])
    north, east, _ = grid_m(latitude, longitude, "EPSG:4326", "EPSG:32617", WHERE)
    there_n, there_e, said = other_grid_m(north, east, "EPSG:32617", "EPSG:32618", WHERE)
    assert there_n[0] == pytest.approx(north[0], abs=1e-5)
    assert there_e[0] - 500_000.0 == pytest.approx(-(east[0] - 500_000.0), abs=1e-5)
    assert said.slug == "projected"
    assert "stated accuracy 0 m" in said.message


@pytest.mark.parametrize("seed", range(5))
def test_there_and_back(seed: int) -> None:
    noise = np.random.default_rng(seed)
    north = noise.uniform(4.40e6, 4.43e6, 20)
    east = noise.uniform(560e3, 600e3, 20)
    there = other_grid_m(north, east, "EPSG:6347", "EPSG:6527", WHERE)
    back = other_grid_m(there[0], there[1], "EPSG:6527", "EPSG:6347", WHERE)
    assert np.allclose(back[0], north, rtol=0.0, atol=1e-5)
    assert np.allclose(back[1], east, rtol=0.0, atol=1e-5)


def test_a_table_on_another_grid_is_brought_over_and_keeps_its_elevations() -> None:
    text = "id,n,e,z\n1,4420000,580000,12.5\n"
    place, slugs = read(text, crs_from="EPSG:6347", crs_to="EPSG:6527")
    wanted = other_grid_m(
        np.array([4_420_000.0]), np.array([580_000.0]), "EPSG:6347", "EPSG:6527", WHERE
    )
    assert place[:2] == [wanted[0][0], wanted[1][0]]
    assert place[2] == 12.5
    assert slugs == ["projected"]


def test_the_files_own_unit_counts_not_that_of_its_grid() -> None:
    feet = f"id,n,e\n1,{4_420_000 / 0.3048!r},{580_000 / 0.3048!r}\n"
    place, slugs = read(feet, crs_from="EPSG:6347", crs_to="EPSG:6527", unit=LengthUnit.FOOT)
    same, _ = read("id,n,e\n1,4420000,580000\n", crs_from="EPSG:6347", crs_to="EPSG:6527")
    assert place[:2] == pytest.approx(same[:2], abs=1e-6)
    assert slugs == ["grid-unit", "projected"]


@pytest.mark.parametrize("crs", ["EPSG:6527", "epsg: 6527", "the mine's own grid"])
def test_one_frame_under_one_name_moves_nothing(crs: str) -> None:
    wanted = crs if crs.startswith("the") else "EPSG:6527"
    place, slugs = read("id,n,e\n1,100,200\n", crs_from=crs, crs_to=wanted)
    assert place[:2] == [100.0, 200.0]
    assert slugs == []


def test_grid_coordinates_beside_longitude_and_latitude_are_the_jobs() -> None:
    text = "id,n,e,lat,lon\n1,100,200,40,-75\n"
    place, slugs = read(text, crs_from="EPSG:6318", crs_to="EPSG:6527")
    assert place[:2] == [100.0, 200.0]
    assert {"grid-as-read", "degrees-differ"} <= set(slugs)


@pytest.mark.parametrize(("off", "said"), [(0.0, False), (0.01, False), (0.3, True)])
def test_degrees_beside_grid_coordinates_are_compared_with_them(off: float, said: bool) -> None:
    north, east, _ = grid_m(np.array([40.0]), np.array([-75.0]), "EPSG:6318", "EPSG:6347", WHERE)
    text = f"id,n,e,lat,lon\n1,{float(north[0]) + off!r},{float(east[0])!r},40N,75-00-00W\n"
    _, slugs = read(text, crs_from="EPSG:6318", crs_to="EPSG:6347")
    assert ("degrees-differ" in slugs) is said


def test_a_vague_transformation_is_refused_and_says_what_to_do() -> None:
    """WGS 84 to NAD83(2011) is known to 2 m (EPSG register, through PROJ)."""
    with pytest.raises(InputError) as caught:
        read("id,lat,lon\n1,40,-74.5\n", crs_from="EPSG:4326", crs_to="EPSG:6527")
    (problem,) = caught.value.problems
    assert problem.slug == "vague-transformation"
    assert "only to 2 m" in problem.message
    assert "[measured] crs" in problem.hint
    assert read("id,lat,lon\n1,40,-74.5\n", crs_from="EPSG:6318", crs_to="EPSG:6527")[1] == [
        "projected"
    ]


def test_a_transformation_must_be_as_good_as_the_tightest_tolerance() -> None:
    """GDA94 to GDA2020 is stated to 0.01 m (EPSG register, through PROJ)."""
    options = {"crs_from": "EPSG:28355", "crs_to": "EPSG:7855"}
    text = "id,n,e\n1,5800000,320000\n"
    assert read(text, vaguest_m=0.02, **options)[1] == ["projected"]
    with pytest.raises(InputError, match=r"0\.005 m or better"):
        read(text, vaguest_m=0.005, **options)


def test_a_missing_grid_file_is_named() -> None:
    """The datum shift of Great Britain needs a grid file that is no part of the library."""
    with pytest.raises(InputError) as caught:
        read("id,n,e\n1,180000,530000\n", crs_from="EPSG:27700", crs_to="EPSG:25830")
    (problem,) = caught.value.problems
    assert problem.slug in ("no-transformation", "vague-transformation")
    assert "needs a grid file that is not here" in problem.message


def test_a_geojson_on_another_grid_is_moved_only_where_the_job_says_so() -> None:
    text = (
        '{"type": "FeatureCollection", "crs": {"type": "name", "properties": {"name": '
        '"urn:ogc:def:crs:EPSG::6347"}}, "features": [{"type": "Feature", "properties": '
        '{"name": "A1"}, "geometry": {"type": "Point", "coordinates": [580000, 4420000]}}]}'
    )
    with pytest.raises(InputError, match="frame-contradiction") as caught:
        read(text, crs_to="EPSG:6527")
    assert '[measured] crs = "urn:ogc:def:crs:EPSG::6347"' in caught.value.problems[0].hint
    place, _ = read(text, crs_from="EPSG:6347", crs_to="EPSG:6527")
    same, _ = read("id,n,e\n1,4420000,580000\n", crs_from="EPSG:6347", crs_to="EPSG:6527")
    assert place[:2] == same[:2]
    with pytest.raises(InputError, match="the file says that it is in"):
        read(text, crs_from="EPSG:6348", crs_to="EPSG:6527")


JOB = """\
[job]
title = "Invented"
unit = "us-survey-foot"
[reference]
crs = "EPSG:6527"
[design]
points = "design.csv"
[measured]
file = "shots.csv"
crs = "{crs}"
{unit}
[[stakeout]]
tolerance = {{ horizontal = "{limit}", source = "invented" }}
"""


def job(folder: Path, crs: str, shots: str, *, limit: str = "0.05 ft", unit: str = "") -> Results:
    """Return the outcome of a job whose one stake stands at N 500,000, E 500,000 US survey feet."""
    (folder / "design.csv").write_text("id,n,e\n1,500000,500000\n")
    (folder / "shots.csv").write_text(shots)
    (folder / "job.toml").write_text(JOB.format(crs=crs, limit=limit, unit=unit))
    return check(folder)


def test_a_job_takes_shots_in_degrees_and_on_another_grid(tmp_path: Path) -> None:
    """The stake is brought from the job's grid to degrees and to UTM by pyproj itself."""
    from pyproj import Transformer

    there = Transformer.from_crs("EPSG:6527", "EPSG:6318", always_xy=True)
    lon, lat = there.transform(500_000.0, 500_000.0)
    results = job(tmp_path, "EPSG:6318", f"id,lat,lon\n1,{lat:.10f},{lon:.10f}\n")
    assert results.verdict.word == "within"
    (notice,) = [each for each in results.inputs.notices if each.slug == "projected"]
    assert "NAD83(2011) / New Jersey (ftUS)" in notice.message
    utm = Transformer.from_crs("EPSG:6527", "EPSG:6347", always_xy=True)
    east, north = utm.transform(500_000.0, 500_000.0)
    shots = f"id,n,e\n1,{north:.4f},{east:.4f}\n"
    assert job(tmp_path, "EPSG:6347", shots, unit='unit = "metre"').verdict.word == "within"


def test_a_job_refuses_a_way_that_is_vaguer_than_its_tolerance(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="vague-transformation") as caught:
        job(tmp_path, "EPSG:4326", "id,lat,lon\n1,40.2,-74.5\n", limit="0.02 ft")
    assert "the job needs 0.0061 m or better" in caught.value.problems[0].message
