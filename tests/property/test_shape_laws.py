"""Laws of surfaces, relative positions, planes and pipes, through whole job files."""

import math
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.support.jobs import results
from tests.support.shapes import Place, by_id, faces_drawing, only_check, table, write_job

pytestmark = pytest.mark.property

quick = settings(
    max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
Corner = tuple[Fraction, Fraction, Fraction]

# Sixteenths of a metre are exact in binary, so what the files hold is what is meant.
sixteenths = st.integers(-160, 160).map(lambda number: Fraction(number, 16))
ORIGIN_N, ORIGIN_E = Fraction(150_000), Fraction(600_000)


def mesh(heights: list[Fraction]) -> tuple[list[Corner], list[tuple[int, int, int]]]:
    """Return the 16 corners (easting, northing, z) of a grid of 10 m and its 18 triangles."""
    corners = [
        (ORIGIN_E + 10 * column, ORIGIN_N + 10 * row, heights[4 * row + column])
        for row in range(4)
        for column in range(4)
    ]
    faces = []
    for row in range(3):
        for column in range(3):
            a = 4 * row + column
            faces += [(a, a + 1, a + 4), (a + 1, a + 5, a + 4)]
    return corners, faces


def exact(corners: list[Corner], face: tuple[int, int, int], e: Fraction, n: Fraction) -> Fraction:
    """Return the elevation on a triangle's plane in exact arithmetic, by Cramer's rule."""
    (x0, y0, z0), (x1, y1, z1), (x2, y2, z2) = (corners[index] for index in face)
    double = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
    one = ((e - x0) * (y2 - y0) - (x2 - x0) * (n - y0)) / double
    two = ((x1 - x0) * (n - y0) - (e - x0) * (y1 - y0)) / double
    return z0 + one * (z1 - z0) + two * (z2 - z0)


@st.composite
def shots_on(
    draw: st.DrawFn, faces: list[tuple[int, int, int]], corners: list[Corner]
) -> list[tuple[Fraction, Fraction, Fraction]]:
    """Return places (easting, northing) with the exact elevation of the mesh there."""
    found = []
    for _ in range(6):
        face = draw(st.sampled_from(faces))
        a, b = draw(st.integers(0, 16)), draw(st.integers(0, 16))
        if a + b > 16:
            a, b = 16 - a, 16 - b
        x0, y0, _ = corners[face[0]]
        x1, y1, _ = corners[face[1]]
        x2, y2, _ = corners[face[2]]
        e = x0 + Fraction(a, 16) * (x1 - x0) + Fraction(b, 16) * (x2 - x0)
        n = y0 + Fraction(a, 16) * (y1 - y0) + Fraction(b, 16) * (y2 - y0)
        found.append((e, n, exact(corners, face, e, n)))
    return found


@quick
@given(data=st.data(), heights=st.lists(sixteenths, min_size=16, max_size=16))
@pytest.mark.parametrize("drawn", [False, True], ids=["tables", "drawing"])
def test_elevations_equal_exact_arithmetic(
    tmp_path: Path, data: st.DataObject, heights: list[Fraction], drawn: bool
) -> None:
    """Edges and corners included: every triangle of a continuous mesh agrees there."""
    corners, faces = mesh(heights)
    places = data.draw(shots_on(faces, corners))
    shots = [(f"S{i}", float(n), float(e), float(z)) for i, (e, n, z) in enumerate(places)]
    section = '[[surface]]\nname = "s"\ntolerance = { vertical = "1 mm" }\n'
    files: dict[str, Any] = {"m_csv": table(shots)}
    if drawn:
        section += 'design = { layer = "FG-TIN" }\n'
        files["d_dxf"] = faces_drawing(
            [tuple(tuple(map(float, corners[index])) for index in face) for face in faces]  # type: ignore[misc]
        )
    else:
        section += 'design = { points = "p.csv", faces = "f.csv" }\n'
        files["p_csv"] = table(
            [(str(i), float(n), float(e), float(z)) for i, (e, n, z) in enumerate(corners)]
        )
        files["f_csv"] = "a,b,c\n" + "".join(f"{a},{b},{c}\n" for a, b, c in faces)
    rows = by_id(only_check(write_job(tmp_path, section, **files)))
    for (_, _, z), (name, *_) in zip(places, shots, strict=True):
        assert abs(Fraction(rows[name]["design_z"]) - z) < Fraction(1, 10**9)
        assert rows[name]["verdict"] == "within"


@quick
@given(
    base=sixteenths,
    east=st.integers(-64, 64).map(lambda number: Fraction(number, 64)),
    north=st.integers(-64, 64).map(lambda number: Fraction(number, 64)),
    height=st.integers(1, 80).map(lambda number: Fraction(number, 16)),
    thickness=st.integers(0, 16).map(lambda number: Fraction(number, 16)),
)
def test_the_volume_over_a_plane_is_a_prism(
    tmp_path: Path,
    base: Fraction,
    east: Fraction,
    north: Fraction,
    height: Fraction,
    thickness: Fraction,
) -> None:
    heights = [base + east * 10 * (i % 4) + north * 10 * (i // 4) for i in range(16)]
    corners, faces = mesh(heights)
    shots = [
        (f"S{i}", float(n), float(e), float(z - thickness + height))
        for i, (e, n, z) in enumerate(corners)
    ]
    folder = write_job(
        tmp_path,
        '[[surface]]\nname = "s"\ntolerance = { vertical = "1 mm" }\nvolume = true\n'
        f"thickness = {float(thickness)}\n"
        'design = { points = "p.csv", faces = "f.csv" }\n',
        m_csv=table(shots),
        p_csv=table(
            [(str(i), float(n), float(e), float(z)) for i, (e, n, z) in enumerate(corners)]
        ),
        f_csv="a,b,c\n" + "".join(f"{a},{b},{c}\n" for a, b, c in faces),
    )
    summary = only_check(folder)["summary"]
    assert summary["volume_area"] == pytest.approx(900.0, rel=1e-9)
    assert summary["cut_volume"] == pytest.approx(900.0 * float(height), rel=1e-9)
    assert summary["fill_volume"] == pytest.approx(0.0, abs=1e-6)


# ---------------------------------------------------------------- relative

millimetres = st.integers(-40, 40).map(lambda number: number / 1000.0)
RELATIVE = (
    '[[relative]]\nname = "r"\ngroup = { id = "P*" }\n'
    'tolerance = { distance = "15.5 mm", elevation = "15.5 mm" }\n'
)


@st.composite
def groups(draw: st.DrawFn) -> tuple[list[Place], list[Place]]:
    count = draw(st.integers(3, 6))
    design, shots = [], []
    for index in range(count):
        n, e, z = 20.0 * math.cos(index), 15.0 * math.sin(2.0 * index), 10.0 + index
        design.append((f"P{index}", n, e, z))
        shots.append(
            (f"P{index}", n + draw(millimetres), e + draw(millimetres), z + draw(millimetres))
        )
    return design, shots  # type: ignore[return-value]


def turned(places: list[Place], north: float, east: float, up: float, turn: float) -> list[Place]:
    found: list[Place] = []
    for name, n, e, z in places:
        place = complex(n, e) * complex(math.cos(turn), math.sin(turn))
        assert z is not None
        found.append((name, place.real + north, place.imag + east, z + up))
    return found


@quick
@given(
    group=groups(),
    north=st.floats(-500.0, 500.0),
    east=st.floats(-500.0, 500.0),
    up=st.floats(-20.0, 20.0),
    turn=st.floats(-3.0, 3.0),
)
def test_moving_and_turning_the_group_changes_nothing_inside(
    tmp_path: Path,
    group: tuple[list[Place], list[Place]],
    north: float,
    east: float,
    up: float,
    turn: float,
) -> None:
    design, shots = group
    still = only_check(write_job(tmp_path / "a", RELATIVE, d_csv=table(design), m_csv=table(shots)))
    moved = only_check(
        write_job(
            tmp_path / "b",
            RELATIVE,
            d_csv=table(design),
            m_csv=table(turned(shots, north, east, up, turn)),
        )
    )
    for one, other in zip(still["rows"], moved["rows"], strict=True):
        assert other["d_distance"] == pytest.approx(one["d_distance"], abs=1e-9)
        assert other["dz"] == pytest.approx(one["dz"], abs=1e-9)
        assert other["verdict"] == one["verdict"]
    for key in ("left_max", "left_z_max"):
        assert moved["summary"][key] == pytest.approx(still["summary"][key], abs=1e-8)
    change = math.remainder(
        math.radians(
            (moved["summary"]["rotation_arcsec"] - still["summary"]["rotation_arcsec"]) / 3600
        )
        - turn,
        2 * math.pi,
    )
    assert change == pytest.approx(0.0, abs=1e-8)


@quick
@given(group=groups())
def test_a_pair_the_other_way_round(tmp_path: Path, group: tuple[list[Place], list[Place]]) -> None:
    design, shots = group
    section = (
        '[[relative]]\nname = "r"\npairs = [["P0", "P1"], ["P1", "P0"]]\n'
        'tolerance = { distance = "5 mm", elevation = "5 mm" }\n'
    )
    one, other = only_check(write_job(tmp_path, section, d_csv=table(design), m_csv=table(shots)))[
        "rows"
    ]
    assert other["d_distance"] == pytest.approx(one["d_distance"], abs=1e-12)
    assert other["dz"] == pytest.approx(-one["dz"], abs=1e-12)
    assert other["verdict"] == one["verdict"]


@quick
@given(group=groups(), unit=st.sampled_from(["foot", "us-survey-foot"]))
def test_units_change_no_verdict_of_a_group(
    tmp_path: Path, group: tuple[list[Place], list[Place]], unit: str
) -> None:
    scale = {"foot": 0.3048, "us-survey-foot": 1200 / 3937}[unit]

    def scaled(places: list[Place]) -> str:
        return table(
            [(i, n / scale, e / scale, z / scale) for i, n, e, z in places if z is not None]
        )

    design, shots = group
    metric = only_check(
        write_job(tmp_path / "m", RELATIVE, d_csv=table(design), m_csv=table(shots))
    )
    feet = only_check(
        write_job(tmp_path / "f", RELATIVE, unit=unit, d_csv=scaled(design), m_csv=scaled(shots))
    )
    assert [row["verdict"] for row in feet["rows"]] == [row["verdict"] for row in metric["rows"]]
    for one, other in zip(metric["rows"], feet["rows"], strict=True):
        assert other["d_distance"] * scale == pytest.approx(one["d_distance"], abs=1e-9)


# ---------------------------------------------------------------- planes and pipes


@quick
@given(
    fall=st.floats(-0.2, 0.2),
    cross=st.floats(-0.2, 0.2),
    azimuth=st.integers(0, 359),
    north=st.floats(-1000.0, 1000.0),
    bumps=st.lists(millimetres, min_size=9, max_size=9),
)
def test_a_slab_turned_with_its_direction_keeps_its_slopes(
    tmp_path: Path, fall: float, cross: float, azimuth: int, north: float, bumps: list[float]
) -> None:
    """The slab is built in its own axes, along and to the right, then turned by the azimuth."""

    def slab(turn: float) -> str:
        places = []
        for number in range(9):
            along, right = 4.0 * (number % 3), 3.0 * (number // 3)
            z = 10.0 - fall * along - cross * right + bumps[number]
            # Right of along is along turned a quarter clockwise; azimuths grow clockwise.
            place = complex(along, right) * complex(math.cos(turn), math.sin(turn))
            places.append((f"P{number}", place.real + north, place.imag, z))
        return table(places)

    def section(direction: int) -> str:
        return (
            f'[[plane]]\nname = "p"\ndirection = {direction}\nslope = "2 %"\n'
            'tolerance = { vertical = "10 mm", slope = "1 %" }\n'
        )

    at_zero = only_check(write_job(tmp_path / "a", section(0), m_csv=slab(0.0)))
    turned_by = only_check(
        write_job(tmp_path / "b", section(azimuth), m_csv=slab(math.radians(azimuth)))
    )
    for one, other in zip(at_zero["rows"], turned_by["rows"], strict=True):
        for key in ("residual", "slope_measured"):
            if one[key] is not None:
                assert other[key] == pytest.approx(one[key], abs=1e-8)


@quick
@given(upper=st.floats(10.0, 60.0), lower=st.floats(10.0, 60.0), length=st.floats(1.0, 300.0))
def test_a_pipe_read_from_its_other_end_has_the_other_sign(
    tmp_path: Path, upper: float, lower: float, length: float
) -> None:
    places: list[Place] = [("A", 0.0, 0.0, upper), ("B", 0.6 * length, 0.8 * length, lower)]
    sections = "".join(
        f'[[pipe]]\nname = "{one}"\nruns = [["{one}", "{other}"]]\n'
        for one, other in (("A", "B"), ("B", "A"))
    )
    forth, back = results(write_job(tmp_path, sections, m_csv=table(places)))["checks"]
    one, other = forth["rows"][0], back["rows"][0]
    assert one["grade_measured"] == pytest.approx(100.0 * (upper - lower) / length, abs=1e-9)
    assert other["grade_measured"] == pytest.approx(-one["grade_measured"], abs=1e-12)
    # One of the two falls backwards, unless the pipe is level.
    assert {forth["verdict"], back["verdict"]} == (
        {"within", "outside"} if abs(upper - lower) > 1e-6 * length else {"within"}
    ) or abs(upper - lower) < 1e-8 * length
