"""A drawing on ground with shots on the grid is judged like the same site without any factor.

Coordinates, dN, dE and horizontal are on the grid; stations, offsets, along, across, radii,
lengths, slopes, areas and volumes are on ground.
"""

import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.support.jobs import Document, results
from tests.support.lines import dxf
from tests.support.shapes import Place, faces_drawing, table, write_job

pytestmark = pytest.mark.property

quick = settings(
    max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)

N0, E0 = 5000.0, 2000.0
LIMIT = 0.030
ELEMENTS = f"""type,length,radius,turn,northing,easting,azimuth
line,60,,,{N0},{E0},90
arc,80,120,right,,,
line,60,,,,,
"""
PROFILE = "station,elevation,length\n0+100,50,\n0+200,54,80\n0+300,51,\n"
GRID_KEYS = frozenset(
    {"dn", "de", "horizontal", "mean_n", "mean_e", "rms_horizontal", "max_horizontal", "shift"}
    | {"shift_n", "shift_e"}
)
"""What is a difference of coordinates, and so on the grid."""
PLACES = ("design_", "measured_", "feature_")
SECTIONS = f"""
[tolerance.t]
horizontal = "{LIMIT} m"
vertical = "20 mm"
[tolerance.line]
along = "30 mm"
across = "20 mm"
vertical = "20 mm"
[alignment.CL]
elements = "cl.csv"
start = "0+100"
profile = "profile.csv"
[[stakeout]]
name = "By number"
design = {{ id = "P*" }}
measured = {{ id = "P*" }}
alignment = "CL"
tolerance = "line"
[[stakeout]]
name = "By station"
design = {{ stakes = "stakes.csv" }}
measured = {{ id = "K*" }}
match = "station"
alignment = "CL"
stake_offset = "3 m right"
tolerance = "line"
[[stakeout]]
name = "Beside the wall"
design = {{ layer = "WALL" }}
measured = {{ id = "P*" }}
match = "line"
tolerance = "t"
[[stakeout]]
name = "Grade"
match = "station"
alignment = "CL"
measured = {{ id = "K*" }}
tolerance = {{ vertical = "20 mm" }}
[[slope_stake]]
name = "Slopes"
alignment = "CL"
hinge = "6 m"
cut = "1.5:1"
fill = "2:1"
measured = {{ id = "K*" }}
tolerance = {{ across = "0.1 m" }}
[[curb_return]]
name = "Return"
design = {{ tangents = ["T1", "T2", "T3", "T4"], radius = "8 m" }}
measured = {{ id = "C*" }}
tolerance = {{ horizontal = "30 mm", radius = "30 mm" }}
[[pipe]]
name = "Sewer"
runs = [["P1", "P2", "P3"]]
tolerance = {{ slope = "0.1 %", vertical = "20 mm" }}
[[relative]]
name = "Corners"
group = {{ id = "P*" }}
plumb = [["P1", "P4"]]
tolerance = {{ distance = "30 mm", elevation = "30 mm", plumb = "5 m" }}
[[plane]]
name = "Slab"
design = {{ id = "P*" }}
measured = {{ id = "P*" }}
tolerance = {{ slope = "0.1 %", vertical = "20 mm" }}
[[plane]]
name = "Ramp"
slope = "5 %"
direction = 90
measured = {{ id = "P*" }}
tolerance = {{ slope = "0.1 %", vertical = "20 mm" }}
[[surface]]
name = "Pad"
design = {{ points = "corners.csv", faces = "faces.csv" }}
measured = {{ id = "P*" }}
volume = true
tolerance = {{ vertical = "20 mm" }}
"""
POINTS: list[Place] = [
    ("P1", N0 + 10.0, E0 + 5.0, 50.0),
    ("P2", N0 + 12.0, E0 + 55.0, 49.6),
    ("P3", N0 - 20.0, E0 + 50.0, 49.2),
    ("P4", N0 - 18.0, E0 + 8.0, 56.0),
]
TANGENTS: list[Place] = [
    ("T1", N0, E0 + 100.0, None),
    ("T2", N0, E0 + 130.0, None),
    ("T3", N0, E0 + 130.0, None),
    ("T4", N0 - 30.0, E0 + 130.0, None),
]
STAKES = "id,station,offset\n" + "".join(
    f"K{number},0+{station},{offset}\n"
    for number, (station, offset) in enumerate([(130, -9), (190, 9), (225, -12), (260, 8)])
)
CORNERS = table(
    [
        ("1", N0 - 40.0, E0 - 10.0, 48.0),
        ("2", N0 - 40.0, E0 + 90.0, 49.0),
        ("3", N0 + 40.0, E0 + 90.0, 51.0),
        ("4", N0 + 40.0, E0 - 10.0, 50.0),
    ]
)
millimetres = st.integers(-45, 45).map(lambda number: number / 1000.0)


def along_line(station: float, offset: float) -> tuple[float, float]:
    """Return northing and easting beside the road, by plane trigonometry."""
    s, radius = station - 100.0, 120.0
    if s <= 60.0:
        n, e, azimuth = N0, E0 + s, math.pi / 2
    else:
        turn = min(s - 60.0, 80.0) / radius
        n = N0 - radius * (1.0 - math.cos(turn))
        e = E0 + 60.0 + radius * math.sin(turn)
        azimuth = math.pi / 2 + turn
        rest = max(s - 140.0, 0.0)
        n, e = n + rest * math.cos(azimuth), e + rest * math.sin(azimuth)
    return n - offset * math.sin(azimuth), e + offset * math.cos(azimuth)


def shots(errors: list[tuple[float, float, float]]) -> list[Place]:
    places = [*POINTS]
    for number, (station, offset) in enumerate([(130, -6), (190, 12), (225, -9), (260, 11)]):
        places.append((f"K{number}", *along_line(station, offset), 53.0))
    for number, angle in enumerate((0.02, 0.4, 0.8, 1.2, 1.55)):
        n, e = N0 - 8.0 + 8.0 * math.cos(angle), E0 + 122.0 + 8.0 * math.sin(angle)
        places.append((f"C{number}", n, e, 50.0))
    return [
        (name, n + dn, e + de, (z or 0.0) + dz)
        for (name, n, e, z), (dn, de, dz) in zip(places, errors, strict=True)
    ]


def site(
    folder: Path, measured: list[Place], head: str, scale: float, about: tuple[float, float]
) -> dict[str, Document]:
    """Return the checks of the site by name, its shots brought to a grid."""
    n0, e0 = about
    moved = [(name, n0 + scale * (n - n0), e0 + scale * (e - e0), z) for name, n, e, z in measured]
    wall = dxf(polylines=[("WALL", [(E0 - 30.0, N0 - 5.0), (E0 + 70.0, N0 + 6.0)], False)])
    write_job(
        folder,
        head + SECTIONS,
        d_dxf=wall,
        m_csv=table(moved),
        p_csv=table([*POINTS, *TANGENTS]),
        cl_csv=ELEMENTS,
        profile_csv=PROFILE,
        stakes_csv=STAKES,
        corners_csv=CORNERS,
        faces_csv="a,b,c\n1,2,3\n1,3,4\n",
    )
    text = (folder / "job.toml").read_text()
    text = text.replace('drawing = "d.dxf"\n', 'drawing = "d.dxf"\npoints = "p.csv"\n')
    (folder / "job.toml").write_text(text)
    return {each["name"]: each for each in results(folder)["checks"]}


def expected(key: str, scale: float) -> float | None:
    """Return what a number is multiplied by on the grid; None: a coordinate, which is moved."""
    if key.startswith(PLACES) and key[-2:] in {"_n", "_e"}:
        return None
    return scale if key in GRID_KEYS else 1.0


def agree(plain: dict[str, Any], on_grid: dict[str, Any], scale: float, where: str) -> None:
    assert plain.keys() == on_grid.keys()
    for key, value in plain.items():
        other = on_grid[key]
        if isinstance(value, bool) or not isinstance(value, int | float):
            continue
        factor = expected(key, scale)
        if factor is None or (key == "bearing" and plain["horizontal"] < 1e-3):
            continue
        assert other == pytest.approx(factor * value, rel=1e-9, abs=2e-6), f"{where}: {key}"


@quick
@given(
    factor=st.sampled_from([0.999, 0.99964, 1.0008]),
    origin=st.sampled_from([(0.0, 0.0), (N0, E0), (512_000.0, -40_000.0)]),
    errors=st.lists(st.tuples(millimetres, millimetres, millimetres), min_size=13, max_size=13),
)
def test_a_site_on_ground_is_judged_like_one_without_a_factor(
    tmp_path: Path,
    factor: float,
    origin: tuple[float, float],
    errors: list[tuple[float, float, float]],
) -> None:
    measured = shots(errors)
    head = (
        f"[reference]\nground = {{ combined_factor = {factor}, "
        f"origin = {{ n = {origin[0]}, e = {origin[1]} }} }}\n"
    )
    plain = site(tmp_path / "plain", measured, "", 1.0, origin)
    on_grid = site(tmp_path / "grid", measured, head, factor, origin)
    assert plain.keys() == on_grid.keys()
    for name, check in plain.items():
        agree(check["summary"], on_grid[name]["summary"], factor, name)
        for one, other in zip(check["rows"], on_grid[name]["rows"], strict=True):
            where = f"{name}, {one['id']}"
            agree(one, other, factor, where)
            near = abs((one.get("horizontal") or 0.0) - LIMIT) < 0.002 * LIMIT
            if not near:  # only this limit is held against a length of the grid
                assert one["verdict"] == other["verdict"], where


@quick
@given(factor=st.sampled_from([0.999, 1.0004]), fall=st.integers(1, 80))
def test_a_slab_drawn_on_ground_has_its_slope(tmp_path: Path, factor: float, fall: int) -> None:
    """A slab of exactly 5 % shows 5 %, not 5.005 %, whatever the grid makes of its length."""
    places: list[Place] = [
        (f"S{i}", factor * (N0 + 5.0 * (i // 3)), factor * (E0 + 4.0 * (i % 3)), 50.0)
        for i in range(9)
    ]
    sloped = [
        (a, n, e, 50.0 - fall / 1000.0 * 4.0 * (i % 3)) for i, (a, n, e, _) in enumerate(places)
    ]
    head = f"[reference]\nground = {{ combined_factor = {factor}, origin = {{ n = 0, e = 0 }} }}\n"
    section = (
        f'[[plane]]\nname = "Slab"\nslope = "{fall / 10} %"\ndirection = 90\n'
        'measured = { id = "S*" }\ntolerance = { slope = "0.0001 %" }\n'
    )
    folder = write_job(tmp_path, head + section, m_csv=table(sloped))
    (check,) = results(folder)["checks"]
    slope = next(each for each in check["rows"] if each["id"] == "slope")
    assert slope["slope_measured"] == pytest.approx(fall / 10.0, abs=1e-6)
    assert check["verdict"] == "within"


def test_areas_and_volumes_of_a_drawing_on_ground_are_those_of_the_plan(tmp_path: Path) -> None:
    factor = 0.999
    face = [
        (E0, N0, 10.0),
        (E0 + 30.0, N0, 10.0),
        (E0 + 30.0, N0 + 20.0, 10.0),
        (E0, N0 + 20.0, 10.0),
    ]
    measured: list[Place] = [
        (f"V{i}", factor * n, factor * e, 10.5) for i, (e, n, _) in enumerate(face)
    ]
    head = f"[reference]\nground = {{ combined_factor = {factor}, origin = {{ n = 0, e = 0 }} }}\n"
    section = (
        '[[surface]]\nname = "Pad"\ndesign = { layer = "FG-TIN" }\nvolume = true\n'
        'tolerance = { vertical = "20 mm" }\n'
    )
    folder = write_job(tmp_path, head + section, d_dxf=faces_drawing([face]), m_csv=table(measured))
    (check,) = results(folder)["checks"]
    assert check["summary"]["surface_area"] == pytest.approx(600.0, abs=1e-6)
    assert check["summary"]["cut_volume"] == pytest.approx(300.0, abs=1e-5)
