import numpy as np
import pytest

from checker.errors import InputError, Problem
from checker.model.drawing import Notice
from checker.model.points import Points
from checker.read.files import Source
from checker.read.points import read_points
from checker.units import LengthUnit, SigmaLevel, parse_sigma_level

M = LengthUnit.METRE
HEAD = "id,northing,easting,elevation\n"


def read(
    *texts: str | bytes,
    unit: LengthUnit = M,
    columns: dict[str, str] | None = None,
    sigma_level: SigmaLevel | None = None,
    unique: bool = False,
    crs: tuple[str | None, str | None] = (None, None),
) -> tuple[Points, tuple[Notice, ...]]:
    sources = [
        Source(path=f"p{i}.csv", data=text if isinstance(text, bytes) else text.encode())
        for i, text in enumerate(texts, start=1)
    ]
    return read_points(
        sources,
        unit=unit,
        columns=columns or {},
        role="as-measured",
        sigma_level=sigma_level,
        unique=unique,
        crs_from=crs[0],
        crs_to=crs[1],
    )


def problems(*texts: str | bytes, **options: object) -> tuple[Problem, ...]:
    with pytest.raises(InputError) as caught:
        read(*texts, **options)  # type: ignore[arg-type]
    return caught.value.problems


def test_coordinates_in_metres() -> None:
    points, notices = read(HEAD + "1,10.5,20.25,-3\n2,11,21,\n")
    assert list(points.id) == ["1", "2"]
    assert list(points.northing_m) == [10.5, 11.0]
    assert list(points.easting_m) == [20.25, 21.0]
    assert points.elevation_m[0] == -3.0
    assert np.isnan(points.elevation_m[1])
    assert list(points.line) == [2, 3]
    assert points.files == ("p1.csv",)
    assert list(points.layer) == list(points.handle) == ["", ""]
    assert points.quality.solution is None
    assert notices == ()


# 1 US survey foot = 1200/3937 m and 1 foot = 0.3048 m exactly: NIST and NOAA, 85 FR 62698.
@pytest.mark.parametrize(
    ("unit", "metres"),
    [(LengthUnit.FOOT, 2_000_000 * 0.3048), (LengthUnit.US_SURVEY_FOOT, 2_000_000 * 1200 / 3937)],
)
def test_feet_are_the_jobs_own(unit: LengthUnit, metres: float) -> None:
    points, _ = read(HEAD + "1,2000000,0,0\n", unit=unit)
    assert points.northing_m[0] == pytest.approx(metres, rel=1e-15)


@pytest.mark.parametrize("blank", ["", "-", "n/a", "N/A", "none", "NULL", "--"])
def test_no_elevation_is_nan_never_zero(blank: str) -> None:
    points, _ = read(HEAD + f"1,10,20,{blank}\n2,10,20,0\n")
    assert np.isnan(points.elevation_m[0])
    assert points.elevation_m[1] == 0.0


def test_no_elevation_column_is_nan() -> None:
    points, _ = read("id,n,e\n1,10,20\n")
    assert np.isnan(points.elevation_m).all()


@pytest.mark.parametrize(
    ("cell", "slug"),
    [
        ("12,5", "not-a-number"),
        ("1.234.5", "not-a-number"),
        ("1,234.5", "not-a-number"),
        ("5O00", "not-a-number"),
        ("nan", "not-a-number"),
        ("inf", "not-a-number"),
        ("1_000", "not-a-number"),
        ("٣", "not-a-number"),
        ("1e400", "too-large"),
        ("1e300", "too-large"),
        ("1e11", "too-large"),
        ("", "missing-value"),
        ("n/a", "missing-value"),
    ],
)
def test_what_is_no_northing(cell: str, slug: str) -> None:
    found = problems(HEAD + f'1,10,20,3\n2,"{cell}",20,3\n')
    assert [(p.slug, p.where.line, p.where.part) for p in found] == [(slug, 3, "northing")]
    if cell:
        assert cell in found[0].message


@pytest.mark.parametrize("cell", ["NaN", "inf", "twelve"])
def test_what_is_no_elevation(cell: str) -> None:
    assert [p.slug for p in problems(HEAD + f"1,10,20,{cell}\n")] == ["not-a-number"]


def test_a_blank_id_is_a_fault() -> None:
    found = problems(HEAD + "1,10,20,3\n,11,21,3\n")
    assert [(p.slug, p.where.line) for p in found] == [("missing-value", 3)]


def test_all_faults_of_all_files_at_once() -> None:
    found = problems(HEAD + "1,x,20,3\n2,11,y,3\n", HEAD + "3,10,20,z\n", "nothing here\n")
    assert [(p.where.file, p.where.line) for p in found] == [
        ("p1.csv", 2),
        ("p1.csv", 3),
        ("p2.csv", 2),
        ("p3.csv", 1),
    ]


def test_long_lists_of_faults_are_cut_and_counted() -> None:
    found = problems(HEAD + "1,x,y,z\n" * 1000)
    assert len(found) == 51
    assert found[-1].slug == "more-faults"
    assert "2,950" in found[-1].message
    assert [p.where.line for p in found[:4]] == [2, 2, 2, 3]


@pytest.mark.parametrize("sign", ["-", "−"])
def test_both_minus_signs(sign: str) -> None:
    points, _ = read(HEAD + f"1,{sign}10.5,20,3\n")
    assert points.northing_m[0] == -10.5


def test_decimal_commas() -> None:
    points, notices = read("id;n;e;z;sigma_h\n1;10,5;20,25;;0,012\n2;11;21;3;0,02\n")
    assert list(points.northing_m) == [10.5, 11.0]
    assert points.quality.sigma_h_m is not None
    assert points.quality.sigma_h_m[0] == 0.012
    assert [n.slug for n in notices] == ["dialect"]


def test_points_among_decimal_commas_are_refused() -> None:
    found = problems("id;n;e\n1;10,5;20,5\n2;11,5;21.5\n")
    assert [(p.slug, p.where.line, p.where.part) for p in found] == [("not-a-number", 3, "e")]


def test_a_cell_may_name_its_unit() -> None:
    points, _ = read("id,n,e,z\n1,10 m,20,3.5 ft\n", unit=LengthUnit.US_SURVEY_FOOT)
    assert points.northing_m[0] == 10.0
    assert points.elevation_m[0] == pytest.approx(3.5 * 1200 / 3937, rel=1e-15)


def test_y_and_x_only_together_and_said() -> None:
    points, notices = read("id,x,y,z\n1,20,10,3\n")
    assert (points.northing_m[0], points.easting_m[0]) == (10.0, 20.0)
    assert [n.slug for n in notices] == ["axes-by-letter"]


def test_letters_give_way_to_words() -> None:
    points, notices = read("id,n,e,x,y\n1,10,20,1,2\n")
    assert points.northing_m[0] == 10.0
    assert [n.slug for n in notices] == ["unused-columns"]


def test_y_alone_is_no_northing() -> None:
    assert "missing-column" in [p.slug for p in problems("id,y,e\n1,10,20\n")]


def test_height_is_said() -> None:
    _, notices = read("id,n,e,height\n1,10,20,3\n")
    assert [n.slug for n in notices] == ["height-as-elevation"]


def test_elevation_goes_before_height() -> None:
    points, notices = read("id,n,e,height,elevation\n1,10,20,33,3\n")
    assert points.elevation_m[0] == 3.0
    assert [n.slug for n in notices] == ["unused-columns"]


def test_ellipsoid_height_is_never_the_elevation() -> None:
    points, _ = read("id,n,e,ellipsoid height\n1,10,20,33\n")
    assert np.isnan(points.elevation_m[0])


def test_two_columns_that_claim_one_field() -> None:
    found = problems("id,n,northing,e\n1,10,11,20\n")
    assert [p.slug for p in found] == ["ambiguous-column"]
    assert '"n", "northing"' in found[0].message


def test_a_missing_column_names_headings_and_the_nearest() -> None:
    found = problems("id,northng,easting\n1,10,20\n")
    assert [p.slug for p in found] == ["missing-column"]
    assert 'the nearest is "northng"' in found[0].message


def test_mapping_wins_over_recognition() -> None:
    points, _ = read("id,n,Pt,e\n1,10,A,20\n", columns={"id": "pt"})
    assert list(points.id) == ["A"]


def test_mapping_settles_an_ambiguity() -> None:
    points, _ = read("id,n,northing,e\n1,10,11,20\n", columns={"northing": "northing"})
    assert points.northing_m[0] == 11.0


@pytest.mark.parametrize(
    ("columns", "slug"),
    [
        ({"northing": "Nord"}, "unknown-heading"),
        ({"nothing": "n"}, "unknown-field"),
        ({"northing": "e", "easting": "e"}, "ambiguous-column"),
        ({"northing": "9"}, "unknown-heading"),
    ],
)
def test_bad_mappings(columns: dict[str, str], slug: str) -> None:
    assert slug in [p.slug for p in problems("id,n,e\n1,10,20\n", columns=columns)]


def test_places() -> None:
    columns = {"id": "1", "easting": "2", "northing": "3", "elevation": "4", "description": "5"}
    points, _ = read("7 20.5 10.5 3.5 top of wall\n8 21.5 11.5 4.5 hub\n", columns=columns)
    assert list(points.northing_m) == [10.5, 11.5]
    assert list(points.description) == ["top of wall", "hub"]
    assert list(points.line) == [1, 2]


@pytest.mark.parametrize(
    ("heading", "unit", "slug"),
    [
        ("northing (m)", LengthUnit.FOOT, "unit-contradiction"),
        ("northing (ft)", M, "unit-contradiction"),
        ("northing (mm)", M, "unit-contradiction"),
        ("northing (deg)", M, "unit-contradiction"),
    ],
)
def test_headings_that_contradict_the_unit(heading: str, unit: LengthUnit, slug: str) -> None:
    found = problems(f"id,{heading},e\n1,10,20\n", unit=unit)
    assert [p.slug for p in found] == [slug]


@pytest.mark.parametrize("row", ["(m)", "m"])
def test_a_unit_row_that_contradicts_names_both(row: str) -> None:
    found = problems(f"id,n,e\n,{row},{row}\n1,10,20\n", unit=LengthUnit.US_SURVEY_FOOT)
    assert {(p.slug, p.where.line) for p in found} == {("unit-contradiction", 2)}
    assert '"m"' in found[0].message
    assert "US survey feet" in found[0].message


@pytest.mark.parametrize(
    "line", ["Units: metres", "# unit = m", "# all invented; linear units: meters.", "Units,m"]
)
def test_a_unit_above_the_header_that_contradicts(line: str) -> None:
    text = f"{line}\n{HEAD}1,10,20,3\n"
    found = problems(text, unit=LengthUnit.FOOT)
    assert [(p.slug, p.where.line) for p in found] == [("unit-contradiction", 1)]
    assert len(read(text)[0]) == 1


def test_other_talk_of_units_is_only_said() -> None:
    points, notices = read(f"# unit 3 of the site\n# Units: as the job\n{HEAD}1,10,20,3\n")
    assert len(points) == 1
    assert [n.slug for n in notices] == ["preamble"]


def test_age_may_be_in_minutes() -> None:
    points, _ = read("id,n,e,age (min)\n1,10,20,0.5\n2,10,20,5 s\n")
    assert points.quality.age_s is not None
    assert list(points.quality.age_s) == [30.0, 5.0]


@pytest.mark.parametrize("head", ["age (m)", "elevation mask (gon)"])
def test_quality_headings_that_contradict(head: str) -> None:
    assert [p.slug for p in problems(f"id,n,e,{head}\n1,10,20,5\n")] == ["unit-contradiction"]


@pytest.mark.parametrize(
    ("said", "unit", "slugs"),
    [
        ("ft", LengthUnit.FOOT, []),
        ("ft", LengthUnit.US_SURVEY_FOOT, []),
        ("US ft", LengthUnit.US_SURVEY_FOOT, []),
        ("US ft", LengthUnit.FOOT, ["which-foot"]),
        ("ift", LengthUnit.US_SURVEY_FOOT, ["which-foot"]),
    ],
)
def test_feet_in_headings(said: str, unit: LengthUnit, slugs: list[str]) -> None:
    points, notices = read(f"id,n ({said}),e\n1,10,20\n", unit=unit)
    assert [n.slug for n in notices] == slugs
    assert points.northing_m[0] == pytest.approx(10 * unit.metres)


def test_quality_is_read_in_the_files_unit_unless_said() -> None:
    head = "id,n,e,solution,sats,hdop,vdop,pdop,age,sdn,sde,hrms,vrms,epochs,rod,base,baseline,"
    points, _ = read(
        head + "session,mask\n1,1,2,Fixed,12,0.8,1.1,1.4,1.5,0.01,0.02,0.03,0.012 m,10,2 m,B1,"
        "1200,S1,10\n2,1,2,,,,,,,,,,,,,,,,\n",
        unit=LengthUnit.FOOT,
    )
    q = points.quality
    shown = {
        "satellites": 12,
        "hdop": 0.8,
        "vdop": 1.1,
        "pdop": 1.4,
        "age_s": 1.5,
        "sigma_n_m": 0.01 * 0.3048,
        "sigma_e_m": 0.02 * 0.3048,
        "sigma_h_m": 0.03 * 0.3048,
        "sigma_z_m": 0.012,
        "epochs": 10,
        "pole_m": 2.0,
        "base_distance_m": 1200 * 0.3048,
        "elevation_mask_rad": np.radians(10),
    }
    for name, value in shown.items():
        values = getattr(q, name)
        assert values[0] == pytest.approx(value), name
        assert np.isnan(values[1]), name
    assert q.solution is not None
    assert list(q.solution) == ["Fixed", ""]
    assert q.base is not None
    assert list(q.base) == ["B1", ""]
    assert q.session is not None
    assert list(q.session) == ["S1", ""]
    assert q.time is None


def test_a_quality_heading_may_name_another_unit() -> None:
    points, notices = read("id,n,e,sigma_h (mm)\n1,1,2,12\n", unit=LengthUnit.FOOT)
    assert points.quality.sigma_h_m is not None
    assert points.quality.sigma_h_m[0] == pytest.approx(0.012)
    assert [n.slug for n in notices] == ["heading-unit"]


# 1.959964 and sqrt(-2 ln 0.05) / sqrt(2) are the two-sided normal and the radial Rayleigh quantile
# at 95 %: any table of the normal distribution; common practice.
def test_stored_sigmas_come_at_one_sigma() -> None:
    points, _ = read(
        "id,n,e,sdn,sdh,sdz\n1,1,2,0.0196,0.0245,0.0196\n", sigma_level=parse_sigma_level("95 %")
    )
    q = points.quality
    assert q.sigma_n_m is not None
    assert q.sigma_h_m is not None
    assert q.sigma_z_m is not None
    assert q.sigma_n_m[0] == pytest.approx(0.0196 / 1.959964, rel=1e-6)
    assert q.sigma_h_m[0] == pytest.approx(0.0245 / 1.730818, rel=1e-6)
    assert q.sigma_z_m[0] == q.sigma_n_m[0]


@pytest.mark.parametrize(
    ("field", "cell", "slug"),
    [
        ("satellites", "-3", "not-a-count"),
        ("satellites", "7.5", "not-a-count"),
        ("satellites", "many", "not-a-number"),
        ("pdop", "-1", "negative"),
        ("sigma_h", "-0.01", "negative"),
        ("sigma_h", "nan", "not-a-number"),
        ("time", "03/04/2031 10:15", "bad-time"),
        ("time", "2031-13-17 10:15", "bad-time"),
    ],
)
def test_quality_that_cannot_be(field: str, cell: str, slug: str) -> None:
    assert [p.slug for p in problems(f"id,n,e,{field}\n1,10,20,{cell}\n")] == [slug]


@pytest.mark.parametrize(
    "stamp",
    [
        "2031-04-17T10:15:00Z",
        "2031-04-17 10:15:00",
        "2031-04-17T10:15",
        "2031-04-17T06:15:00-04:00",
        "2031-04-17T10:15:00.000Z",
        "2031/04/17 10:15:00",
        "20310417T101500Z",
        "2031-04-17 10:15:00 UTC",
        "2031-04-17T12:15:00+0200",
    ],
)
@pytest.mark.parametrize("beside", ["", "2031-04-17T23:59:59+14:00"])
def test_times_are_utc(stamp: str, beside: str) -> None:
    points, _ = read(f"id,n,e,time\n1,10,20,{stamp}\n2,10,20,{beside}\n")
    assert points.quality.time is not None
    assert points.quality.time[0] == np.datetime64("2031-04-17T10:15:00", "ms")
    assert np.isnat(points.quality.time[1]) == (not beside)


def test_date_and_time_columns() -> None:
    points, notices = read("id,n,e,date,time\n1,10,20,2031-04-17,9:05:30\n2,10,20,,\n")
    assert points.quality.time is not None
    assert points.quality.time[0] == np.datetime64("2031-04-17T09:05:30", "ms")
    assert np.isnat(points.quality.time[1])
    assert [n.slug for n in notices] == ["time-as-utc"]


@pytest.mark.parametrize("columns", ["time\n1,10,20,10:15:00", "date\n1,10,20,2031-04-17"])
def test_half_a_time_is_said_and_not_used(columns: str) -> None:
    points, notices = read(f"id,n,e,{columns}\n")
    assert points.quality.time is None
    assert [n.slug for n in notices] == ["time-not-used"]


def test_several_files_as_one_table() -> None:
    points, _ = read("id,n,e,pdop\n1,10,20,1.5\n", "id,n,e,session\n1,11,21,S2\n2,12,22,S2\n")
    assert list(points.file) == [0, 1, 1]
    assert list(points.line) == [2, 2, 3]
    assert points.quality.pdop is not None
    assert points.quality.session is not None
    assert points.quality.pdop[0] == 1.5
    assert np.isnan(points.quality.pdop[1:]).all()
    assert list(points.quality.session) == ["", "S2", "S2"]


def test_repeated_ids_are_restakes_where_allowed() -> None:
    points, _ = read(HEAD + "1,10,20,3\n1,10.01,20,3\n")
    assert len(points) == 2


def test_repeated_ids_with_other_coordinates() -> None:
    found = problems(HEAD + "1,10,20,3\n2,11,21,3\n", HEAD + "1,10,20,\n", unique=True)
    assert [p.slug for p in found] == ["repeated-id"]
    assert str(found[0].where) == "p2.csv:2"
    assert "p1.csv:2" in found[0].message
    assert "no elevation" in found[0].message


def test_repeated_ids_with_the_same_coordinates_are_read_once_and_said() -> None:
    points, notices = read(HEAD + "1,10,20,\n2,11,21,3\n1,10.0,20.00,\n", unique=True)
    assert list(points.id) == ["1", "2"]
    assert [(n.slug, n.where.line) for n in notices] == [("same-point-again", 4)]


def test_short_rows_of_blanks_only_for_a_missing_description() -> None:
    points, _ = read("id n e z desc\n1 10 20 3\n2 11 21 4 hub\n")
    assert list(points.description) == ["", "hub"]
    assert [p.slug for p in problems("id n e z sats\n1 10 20 12\n2 11 21 4 12\n")] == ["row-width"]
    assert [p.slug for p in problems("id n e z desc\n1 10 20\n2 11 21 4 hub\n")] == ["row-width"]


def test_unused_columns_are_said() -> None:
    _, notices = read("id,n,e,crew,weather\n1,10,20,A,dry\n")
    assert [n.slug for n in notices] == ["unused-columns"]
    assert '"crew", "weather"' in notices[0].message


def test_longitude_and_latitude_need_frames() -> None:
    assert [p.slug for p in problems("id,lat,lon\n1,39,-84\n")] == ["no-frame"]


# The false easting of a UTM zone on its central meridian is 500,000 m, and the northing on the
# equator 0: the definition of UTM (common practice, no source).
def test_longitude_and_latitude_on_a_grid() -> None:
    points, notices = read(
        "id,lat,lon,height\n1,0,-81,12\n2,0N,81-00-00W,13\n", crs=("EPSG:4326", "EPSG:32617")
    )
    assert points.easting_m == pytest.approx([500_000.0, 500_000.0], abs=1e-6)
    assert points.northing_m == pytest.approx([0.0, 0.0], abs=1e-6)
    assert np.isnan(points.elevation_m).all()
    assert {n.slug for n in notices} == {"projected", "ellipsoid-height"}


def test_grids_in_us_survey_feet_come_in_metres() -> None:
    from pyproj import Transformer

    # The grid in feet has its false easting rounded to 656,166.667 ft in the EPSG register, that in
    # metres has 200,000 m; all else is one definition.
    rounding = 656_166.667 * 1200 / 3937 - 200_000

    lat, lon = 42.0, -72.0
    points, _ = read(f"id,lat,lon\n1,{lat},{lon}\n", crs=("EPSG:6318", "EPSG:6492"))
    metres = Transformer.from_crs("EPSG:6318", "EPSG:6491", always_xy=True).transform(lon, lat)
    assert points.easting_m[0] == pytest.approx(metres[0] + rounding, abs=1e-6)
    assert points.northing_m[0] == pytest.approx(metres[1], abs=1e-6)


@pytest.mark.parametrize(
    ("crs", "slug"),
    [
        (("EPSG:4326", "EPSG:4326"), "wrong-frame"),
        (("EPSG:32617", "EPSG:32617"), "wrong-frame"),
        (("nowhere", "EPSG:32617"), "unknown-frame"),
    ],
)
def test_wrong_frames(crs: tuple[str, str], slug: str) -> None:
    assert [p.slug for p in problems("id,lat,lon\n1,39,-84\n", crs=crs)] == [slug]


def test_latitude_beyond_the_pole() -> None:
    found = problems("id,lat,lon\n1,-121,39\n", crs=("EPSG:4326", "EPSG:32610"))
    assert [p.slug for p in found] == ["bad-angle"]


FEATURE = (
    '{"type": "Feature", "properties": {"name": "A1", "code": "hub", "x": 5},\n'
    '"geometry": {"type": "Point", "coordinates": [%s]}}'
)


def collection(*places: str, crs: str = "") -> str:
    member = f'"crs": {{"type": "name", "properties": {{"name": "{crs}"}}}},\n' if crs else ""
    features = ",\n".join(FEATURE % place for place in places)
    return f'{{"type": "FeatureCollection",\n{member}"features": [\n{features}\n]}}'


def test_geojson_on_a_grid() -> None:
    points, notices = read(collection("500001.5, 4000002.25, 12.5", crs="EPSG:32617"))
    assert list(points.id) == ["A1"]
    assert (points.easting_m[0], points.northing_m[0]) == (500001.5, 4000002.25)
    assert points.elevation_m[0] == 12.5
    assert list(points.description) == ["hub"]
    assert list(points.line) == [4]
    assert [n.slug for n in notices] == ["unused-columns"]


def test_geojson_in_longitude_and_latitude() -> None:
    points, _ = read(collection("-81, 0"), crs=(None, "EPSG:32617"))
    assert points.easting_m[0] == pytest.approx(500_000.0, abs=1e-6)
    assert [p.slug for p in problems(collection("-81, 0"))] == ["no-frame"]


@pytest.mark.parametrize(
    ("text", "options", "slug"),
    [
        ("{broken", {}, "not-geojson"),
        ('{"type": "Topology"}', {}, "not-geojson"),
        ('{"type": "FeatureCollection", "features": []}', {}, "not-geojson"),
        (collection("1"), {}, "not-a-point"),
        (collection('"a", 2'), {}, "not-a-point"),
        (collection("1, 2", crs="EPSG:32617"), {"unit": LengthUnit.FOOT}, "unit-contradiction"),
        (
            collection("1, 2", crs="EPSG:32617"),
            {"crs": (None, "EPSG:32618")},
            "frame-contradiction",
        ),
        ("{" * 100_000, {}, "not-geojson"),
    ],
)
def test_bad_geojson(text: str, options: dict[str, object], slug: str) -> None:
    assert [p.slug for p in problems(text, **options)] == [slug]


def test_a_hundred_thousand_points() -> None:
    rows = "".join(f"{i},{5000 + i},{6000 + i},100.5,SC{i % 9},fixed\n" for i in range(100_000))
    points, notices = read("id,n,e,z,desc,solution\n" + rows, unique=True)
    assert len(points) == 100_000
    assert points.northing_m[-1] == 104_999.0
    assert notices == ()


# ---------------------------------------------------------------- columns that nobody recognises


def test_columns_that_lack_are_one_fault_and_no_heading_is_guessed() -> None:
    (found,) = problems("Shot No,Up N,Over E,Hgt\n1,19980,44990,5.0\n2,20260,45618,-\n")
    assert found.slug == "missing-column"
    assert "the northing or the easting" in found.message
    assert found.hint == (
        'say which in the job: columns = { northing = "...", easting = "..." }; not read so far: '
        '"Up N" (19980 to 20260), "Over E" (44990 to 45618)'
    )


def test_a_heading_is_proposed_once_and_only_where_it_looks_like_the_field() -> None:
    (found,) = problems("id,northng,eastng,code\n1,10,20,hub\n")
    assert 'columns = { northing = "northng", easting = "eastng" }' in found.hint
    assert "not read" not in found.hint
    (found,) = problems("id,northng,Side,code\n1,10,20,hub\n")
    assert 'columns = { northing = "northng", easting = "..." }' in found.hint
    assert 'not read so far: "Side" (20 to 20)' in found.hint
    assert found.hint.count("northng") == 1
    (found,) = problems("id,Side,northing\n1,left,20\n2,right,21\n")
    assert '"Side" (the first: "left")' in found.hint


def test_a_table_of_another_kind_is_named_for_what_it_is() -> None:
    # With no heading that points could have, and with one.
    (found,) = problems("Occ,FS,Angle right,HD\nA,B,90-00-00,20\n")
    assert found.slug == "no-header"
    assert "looks like a traverse book, and a table of points is wanted here" in found.hint
    (found,) = problems("at,to,angle,distance,note,date\nA,B,90-00-00,20,,\n")
    assert found.slug == "missing-column"
    assert "looks like a traverse book, and a table of points is wanted here" in found.hint
    assert "columns = { ... }" in found.hint


# ---------------------------------------------------------------- rows with too few cells


ROWS = "id,northing,easting,elevation,code,fix,sats,time\n"
WHOLE = "1,10,20,3,hub,FIXED,14,2031-05-06T08:04:10Z\n"


@pytest.mark.parametrize(
    "row",
    [
        "2,10,20,hub,FIXED,14,2031-05-06T08:04:10Z",  # the elevation lacks
        "2,10,20,3,hub,14,2031-05-06T08:04:10Z",  # the solution lacks
        "2,20,3",
        "2",
        '"2",10,20,3',
    ],
)
def test_a_row_with_too_few_cells_is_one_fault(row: str) -> None:
    (found,) = problems(ROWS + WHOLE + row + "\n" + WHOLE)
    assert (found.slug, found.where.line) == ("row-width", 3)
    count = row.count(",") + 1
    cells = f"{count} {'cell' if count == 1 else 'cells'}"
    assert f"this row has {cells} and the header 8" in found.message


def test_a_dropped_northing_is_not_read_as_another_place() -> None:
    (found,) = problems(HEAD + "301,45006.002,512.308\n")
    assert found.slug == "row-width"
    assert "3 cells and the header 4" in found.message


def test_other_faults_of_the_file_are_said_beside_short_rows() -> None:
    found = problems(HEAD + "1,10,20\n2,ten,20,3\n3,10\n")
    assert [(p.slug, p.where.line) for p in found] == [
        ("row-width", 2), ("not-a-number", 3), ("row-width", 4)
    ]  # fmt: skip


def test_texts_and_unread_columns_may_be_left_out_at_the_end() -> None:
    found, _ = read("id,northing,easting,elevation,desc,who\n1,10,20,3\n2,11,21,4,hub\n3,1,2,,,\n")
    assert found.description.tolist() == ["", "hub", ""]
    assert found.elevation_m[:2].tolist() == [3.0, 4.0]
    assert np.isnan(found.elevation_m[2])


def test_empty_cells_with_their_signs_are_no_short_row() -> None:
    found, _ = read("id;northing;easting;elevation\n1;10;20;\n2;11;21;4\n")
    assert np.isnan(found.elevation_m[0])
    assert len(found) == 2


def test_two_collectors_with_headings_of_their_own_are_read_together() -> None:
    """The job maps the headings of the first; those of the second are known by themselves."""
    first = Source(path="a.csv", data=b"Nr,Up N,Over E,Lev\n1,10,20,3\n")
    second = Source(path="b.csv", data=b"Point,Northing,Easting,Elevation\n2,11,21,4\n")
    columns = {"id": "Nr", "northing": "Up N", "easting": "Over E", "elevation": "Lev"}
    for sources in ([first, second], [second, first]):
        points, notices = read_points(
            sources, unit=LengthUnit.METRE, columns=columns, role="as-measured", unique=False
        )
        assert sorted(points.id.tolist()) == ["1", "2"]
        assert sorted(points.northing_m.tolist()) == [10.0, 11.0]
        told = [notice for notice in notices if notice.slug == "heading-elsewhere"]
        assert {notice.where.file for notice in told} == {"b.csv"}
        assert len(told) == 4
    # a slip of the pen is no heading of another file
    with pytest.raises(InputError) as caught:
        read_points(
            [first, second],
            unit=LengthUnit.METRE,
            columns=columns | {"elevation": "Levl"},
            role="as-measured",
            unique=False,
        )
    assert {problem.slug for problem in caught.value.problems} == {"unknown-heading"}
