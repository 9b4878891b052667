"""Forms of roads, curbs and surfaces as other sites have them, against calculations of their own.

Formulas of the tests are textbook knowledge, from memory; integrals are taken by scipy.
"""

import math
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad

from checker.geometry.quads import split_heights
from tests.support.jobs import results
from tests.support.lines import dxf
from tests.support.shapes import by_id, faces_drawing, only_check, table, write_job

Course = Callable[[float], tuple[float, float, float]]


def course(parts: list[tuple[float, float, float]], n: float, e: float) -> Course:
    """Return northing, easting and azimuth along parts (length, curvature in, out) that run east.

    By integrating the direction, element by element.
    """
    starts = [0.0]
    for length, _, _ in parts:
        starts.append(starts[-1] + length)

    def azimuth(s: float) -> float:
        turned = 0.0
        for (length, k0, k1), begin in zip(parts, starts, strict=False):
            t = min(max(s - begin, 0.0), length)
            turned += k0 * t + (k1 - k0) * t * t / (2.0 * length)
        return math.pi / 2.0 + turned

    def at(s: float) -> tuple[float, float, float]:
        cuts = [0.0, *(each for each in starts if 0.0 < each < s), s]
        north = east = 0.0
        for a, b in pairwise(cuts):
            north += quad(lambda t: math.cos(azimuth(t)), a, b, epsabs=1e-12)[0]
            east += quad(lambda t: math.sin(azimuth(t)), a, b, epsabs=1e-12)[0]
        return n + north, e + east, azimuth(s)

    return at


def beside(at: Course, s: float, offset: float) -> tuple[float, float]:
    n, e, azimuth = at(s)
    return n - offset * math.sin(azimuth), e + offset * math.cos(azimuth)


PLACES = [(50, 3), (140, -12), (179, 20), (251, -35), (331, 15), (360, 18), (389, -22), (590, 8)]


def test_spirals_between_curves_below_zero_and_through_equations(tmp_path: Path) -> None:
    """Line, spiral, right arc, spiral of both curvatures, left arc, spiral, line."""
    r = 400.0
    at = course(
        [
            (100, 0, 0),
            (80, 0, 1 / r),
            (150, 1 / r, 1 / r),
            (60, 1 / r, -1 / 300),
            (90, -1 / 300, -1 / 300),
            (70, -1 / 300, 0),
            (50, 0, 0),
        ],
        1000.0,
        5000.0,
    )
    shots = [(f"S{i}", *beside(at, s, o), 1.0) for i, (s, o) in enumerate(PLACES)]
    found = only_check(
        write_job(
            tmp_path,
            '[alignment.A]\nelements = "el.csv"\nstart = "-0+150"\n'
            "start_point = { n = 1000, e = 5000 }\nstart_azimuth = 90\n"
            'equations = [{ back = "0+100", ahead = "0+080" }, '
            '{ back = "0+300", ahead = "0+500" }]\n'
            '[[stakeout]]\nname = "g"\nmatch = "line"\nalignment = "A"\n'
            'tolerance = { across = "1 m" }\n',
            m_csv=table(shots),
            el_csv="type;length;radius;turn\nline;100;;\nspiral;80;;\narc;150;400;right\n"
            "spiral;60;;\narc;90;300;left\nspiral;70;;\nline;50;;\n",
        )
    )
    for i, (s, offset) in enumerate(PLACES):
        station = s - 150.0
        station -= 20.0 if station > 100.0 else 0.0
        station += 200.0 if station > 300.0 else 0.0
        row = by_id(found)[f"S{i}"]
        assert row["station"] == pytest.approx(station, abs=1e-6)
        assert row["offset"] == pytest.approx(offset, abs=1e-6)


def test_a_compound_and_a_reverse_curve_as_drawn(tmp_path: Path) -> None:
    """One polyline with bulges, in survey feet: R 500, R 300 to the right, R 250 to the left."""
    arcs = [(500.0, 30.0), (300.0, 40.0), (-250.0, 50.0)]
    parts = [(200.0, 0.0, 0.0)]
    parts += [(abs(r) * math.radians(turn), 1 / r, 1 / r) for r, turn in arcs]
    parts.append((150.0, 0.0, 0.0))
    at = course(parts, 10_000.0, 20_000.0)
    begin, vertices = 0.0, []
    for length, k, _ in parts:
        n, e, _ = at(begin) if begin else (10_000.0, 20_000.0, 0.0)
        vertices.append((e, n, -math.tan(k * length / 4.0)))
        begin += length
    n, e, _ = at(begin)
    vertices.append((e, n, 0.0))
    places = [(10, 5), (199.9, -30), (300, 40), (470, -60), (500, 80), (680, -44), (800, 66)]
    shots = [(f"Q{i}", *beside(at, s, o), 1.0) for i, (s, o) in enumerate(places)]
    found = only_check(
        write_job(
            tmp_path,
            '[alignment.A]\nlayer = "CL"\nstart = "-1+50"\n'
            '[[stakeout]]\nname = "g"\nmatch = "line"\nalignment = "A"\n'
            'tolerance = { across = "99 ft" }\n',
            unit="us-survey-foot",
            m_csv=table(shots),
            d_dxf=dxf(polylines=[("CL", vertices, False)], insunits=21),
        )
    )
    for i, (s, offset) in enumerate(places):
        row = by_id(found)[f"Q{i}"]
        assert row["station"] == pytest.approx(s - 150.0, abs=1e-6)
        assert row["offset"] == pytest.approx(offset, abs=1e-6)


def sag(s: float, g1: float, g2: float, before: float, behind: float) -> float:
    """Return the elevation of a vertical curve of unequal tangents, the PVI at 1500, 100."""
    middle = before * behind * (g2 - g1) / (2.0 * (before + behind))
    on_tangent = 100.0 + (s - 1500.0) * (g1 if s <= 1500.0 else g2)
    if s <= 1500.0:
        return on_tangent + middle * max(0.0, (s - 1500.0 + before) / before) ** 2
    return on_tangent + middle * max(0.0, (1500.0 + behind - s) / behind) ** 2


def road(folder: Path, section: str, shots: list[Any], **files: str) -> dict[str, Any]:
    given = {
        "el_csv": "type,length\nline,1000\n",
        "pr_csv": "station,elevation,length_in,length_out\n"
        "10+00,115,,\n15+00,100,200,300\n20+00,110,,\n",
        **files,
    }
    return only_check(
        write_job(
            folder,
            '[alignment.A]\nelements = "el.csv"\nstart = "10+00"\nprofile = "pr.csv"\n'
            "start_point = { n = 0, e = 0 }\nstart_azimuth = 90\n" + section,
            unit="us-survey-foot",
            m_csv=table(shots),
            **given,
        )
    )


def test_a_sag_of_unequal_tangents_whose_low_point_is_its_pvi(tmp_path: Path) -> None:
    stations = [1250.0, 1300.01, 1400.0, 1500.0, 1600.0, 1700.0, 1799.99, 1900.0]
    shots = [
        (f"G{i}", 0.0, s - 1000.0, sag(s, -0.03, 0.02, 200.0, 300.0) + 0.25)
        for i, s in enumerate(stations)
    ]
    section = (
        '[[stakeout]]\nname = "g"\nmatch = "station"\nalignment = "A"\n'
        'tolerance = { vertical = "0.1 ft" }\n'
    )
    found = road(tmp_path, section, shots)
    assert [row["dz"] for row in found["rows"]] == [pytest.approx(0.25, abs=1e-9)] * len(shots)
    turning = [text for text in found["remarks"] if " point at " in text]
    assert turning == ["Profile of A: low point at 15+00.00, elevation 103.000 ft."]
    (curve,) = next(each["rows"] for each in found["tables"] if each["key"] == "vertical_curves")
    assert (curve["turn"], curve["ordinate"]) == ("low", pytest.approx(3.0))


@pytest.mark.parametrize("definition", ["arc", "chord"])
def test_the_degree_of_curve_counts_the_foot_of_the_job(tmp_path: Path, definition: str) -> None:
    """A curve of 4 degrees in survey feet has 4, not 3.999992."""
    half = math.radians(2.0)
    radius = 100.0 / (2.0 * half) if definition == "arc" else 50.0 / math.sin(half)
    length = radius * math.radians(40.0)
    section = (
        '[[stakeout]]\nname = "g"\nmatch = "line"\nalignment = "A"\n'
        'tolerance = { across = "0.1 ft" }\n'
    )
    found = road(
        tmp_path,
        section,
        [("A", 0.0, 100.0, 112.0)],
        el_csv=f"type,length,radius,turn\nline,500,,\narc,{length!r},{radius!r},right\n",
    )
    (curve,) = next(each["rows"] for each in found["tables"] if each["key"] == "curves")
    assert curve[f"degree_{definition}"] == pytest.approx(4.0, abs=1e-9)


def test_slopes_in_cut_and_fill_on_both_sides(tmp_path: Path) -> None:
    """Grade 0.01 from 100, crossfall -2 %: at 11+50 the hinges are at 101.10 and 101.02."""
    section = (
        '[[slope_stake]]\nname = "s"\nalignment = "A"\n'
        'hinge = { left = "20 ft", right = "24 ft" }\n'
        'cut = "1.5:1"\nfill = "4:1"\ntolerance = { left = "0.1 ft", right = "0.2 ft" }\n'
    )
    shots = [
        ("L", 29.0, 150.0, 107.10),
        ("R", -36.15, 150.0, 98.02),
        ("SHORT", -35.85, 150.0, 98.02),
        ("TOE", -24.0, 150.0, 101.02),
    ]
    found = road(
        tmp_path,
        section.replace("[[slope", 'crossfall = "-2 %"\n[[slope', 1),
        shots,
        pr_csv="station,elevation\n10+00,100\n20+00,110\n",
    )
    rows = by_id(found)
    assert [rows[name]["verdict"] for name in rows] == ["within", "within", "outside", "within"]
    assert rows["L"]["catch_offset"] == pytest.approx(-29.0)
    assert rows["R"]["across"] == pytest.approx(0.15)
    assert rows["TOE"]["catch_offset"] == pytest.approx(24.0, abs=1e-6)


@pytest.mark.parametrize("reverse", [False, True])
def test_a_curb_return_of_two_radii(tmp_path: Path, reverse: bool) -> None:
    """R 10 over 60 degrees, then R 20 over 30: shots on either arc are held to their own."""
    parts = [
        (20.0, 0.0, 0.0),
        (10.0 * math.radians(60.0), 0.1, 0.1),
        (20.0 * math.radians(30.0), 0.05, 0.05),
        (20.0, 0.0, 0.0),
    ]
    at = course(parts, 1000.0, 2000.0)
    begin, vertices = 0.0, []
    for length, k, _ in parts:
        n, e, _ = at(begin) if begin else (1000.0, 2000.0, 0.0)
        vertices.append((e, n, -math.tan(k * length / 4.0)))
        begin += length
    n, e, _ = at(begin)
    vertices.append((e, n, 0.0))
    stations = [5.0, 19.0, 21.0, 24.0, 27.0, 30.0, 32.0, 35.0, 40.0, 43.0]
    shots = [(f"S{i}", *beside(at, s, 0.01), 1.0) for i, s in enumerate(stations)]
    found = only_check(
        write_job(
            tmp_path,
            '[[curb_return]]\nname = "r"\ndesign = { layer = "CURB" }\ncomplete = false\n'
            f"reversed = {str(reverse).lower()}\n"
            'tolerance = { horizontal = "0.02 m", radius = "0.05 m" }\n',
            m_csv=table(shots),
            d_dxf=dxf(polylines=[("CURB", vertices, False)]),
        )
    )
    rows = by_id(found)
    sign = -1.0 if reverse else 1.0
    for number in range(len(stations)):
        row = rows[f"S{number}"]
        assert row["verdict"] == "within", row["reason"]
        assert row["offset"] == pytest.approx(sign * 0.01, abs=1e-6)
    assert rows["whole arc"]["verdict"] == "within"
    assert found["summary"]["radius"] == pytest.approx(found["summary"]["design_radius"] - 0.01)
    assert any("made of several arcs" in text for text in found["remarks"])
    assert sum("from the arc" in text for text in found["remarks"]) == 1


def test_a_lot_with_an_arc_has_its_circular_segment(tmp_path: Path) -> None:
    """A rectangle of 100 by 80 with an arc of 60 degrees outward on one short side."""
    turn = math.radians(60.0)
    corners = [(0, 0, 0), (100, 0, math.tan(turn / 4.0)), (100, 80, 0), (0, 80, 0)]
    found = only_check(
        write_job(
            tmp_path,
            '[[figure]]\nname = "f"\ndesign = { layer = "LOT" }\n'
            'tolerance = { ratio = "1:10000" }\n',
            unit="foot",
            d_dxf=dxf(polylines=[("LOT", corners, True)], insunits=2),
        )
    )
    radius = 80.0 / (2.0 * math.sin(turn / 2.0))
    segment = radius**2 / 2.0 * (turn - math.sin(turn))
    assert found["summary"]["area"] == pytest.approx(8000.0 + segment, abs=1e-6)
    assert found["summary"]["length"] == pytest.approx(280.0 + radius * turn, abs=1e-7)


# ---------------------------------------------------------------- surfaces

WARPED = [(0.0, 0.0, 10.0), (12.0, 0.0, 11.0), (10.0, 10.0, 10.0), (0.0, 10.0, 11.0)]
"""A face of four corners that are not in one plane; the diagonal from the first is the shorter."""


def surface(folder: Path, faces: list[Any], shots: list[Any], more: str = "") -> dict[str, Any]:
    section = '[[surface]]\nname = "Pad"\ndesign = { layer = "FG-TIN" }\n'
    section += 'tolerance = { vertical = "10 mm" }\n' + more
    return results(write_job(folder, section, d_dxf=faces_drawing(faces), m_csv=table(shots)))


@pytest.mark.parametrize("turned", range(4))
def test_a_warped_face_is_split_along_its_shorter_diagonal_and_said(
    tmp_path: Path, turned: int
) -> None:
    """Whatever corner comes first, the split is the same, and the other one is told."""
    face = WARPED[turned:] + WARPED[:turned]
    found = surface(tmp_path, [face], [("ON", 5.0, 5.0, 10.0), ("SIDE", 2.0, 8.0, 10.5)])
    rows = by_id(found["checks"][0])
    assert rows["ON"]["design_z"] == pytest.approx(10.0)
    # On the triangle (0, 0, 10), (12, 0, 11), (10, 10, 10): z = 10 + e/12 - n/12.
    assert rows["SIDE"]["design_z"] == pytest.approx(10.0 + 8.0 / 12.0 - 2.0 / 12.0)


def test_what_passes_on_one_split_of_a_warped_face_only_is_undecided(tmp_path: Path) -> None:
    """A square of 10, 11, 10 and 11.4 m: level along one diagonal, 11 to 11.4 along the other."""
    face = [(0.0, 0.0, 10.0), (10.0, 0.0, 11.0), (10.0, 10.0, 10.0), (0.0, 10.0, 11.4)]
    shots = [
        ("BOTH", 0.0, 0.0, 10.0),  # a corner is the same on both
        ("ONE", 5.0, 5.0, 10.0),  # 10 on the split that is taken, 11.2 on the other
        ("OFF", 5.0, 5.0, 10.5),
    ]
    (check,) = surface(tmp_path, [face], shots)["checks"]
    rows = by_id(check)
    assert rows["BOTH"]["verdict"] == "within"
    assert rows["ONE"]["verdict"] == "undecided"
    assert rows["ONE"]["reason"].startswith(
        "split along its other diagonal, its face puts it 1.200 m"
    )
    assert rows["OFF"]["verdict"] == "outside"
    assert any("not in one plane" in text and "up to 1.200 m" in text for text in check["remarks"])
    # by hand: on (10, 0, 11), (10, 10, 10), (0, 10, 11.4) at e = 6, n = 7 the other split has
    # 10 + 0.4 x 1.4 + 0.3 x 1.0
    found = split_heights(np.array([face]), np.array([[6.0, 7.0]]))
    assert found[0, 1] == pytest.approx(10.0 + 0.4 * 1.4 + 0.3 * 1.0)


@pytest.mark.parametrize("turned", range(4))
def test_a_plane_face_of_four_corners_has_no_other_split(tmp_path: Path, turned: int) -> None:
    face = [(0.0, 0.0, 10.0), (10.0, 0.0, 11.0), (10.0, 10.0, 13.0), (0.0, 10.0, 12.0)]
    (check,) = surface(tmp_path, [face[turned:] + face[:turned]], [("A", 3.0, 4.0, 11.0)])["checks"]
    assert by_id(check)["A"]["verdict"] == "within"
    assert not any("not in one plane" in text for text in check["remarks"])


def test_cut_and_fill_parted_by_the_line_of_no_cut(tmp_path: Path) -> None:
    """Subgrade 9.5 + e/10 under level shots at 13: cut up to e = 35, fill behind it."""
    faces = [
        [(0.0, 0.0, 10.0), (60.0, 0.0, 16.0), (60.0, 40.0, 16.0)],
        [(0.0, 0.0, 10.0), (60.0, 40.0, 16.0), (0.0, 40.0, 10.0)],
    ]
    corners = [(0.0, 0.0), (0.0, 60.0), (40.0, 60.0), (40.0, 0.0)]
    shots = [(str(i), n, e, 13.0) for i, (n, e) in enumerate(corners)]
    found = surface(tmp_path, faces, shots, "volume = true\nthickness = 0.5\n")
    summary = found["checks"][0]["summary"]
    assert summary["cut_volume"] == pytest.approx(40.0 * 3.5 * 35.0 / 2.0)
    assert summary["fill_volume"] == pytest.approx(40.0 * 2.5 * 25.0 / 2.0)


def test_the_volume_of_a_prismoid(tmp_path: Path) -> None:
    """A dam between end sections 40 m apart, by Simpson's rule (A + 4 M + B) L / 6, from memory.

    Trapezoids: top 4 wide, sides 2:1, heights 3 and 5; between them every edge is straight.
    """

    def section(e: float, height: float) -> list[tuple[float, float, float]]:
        half = 2.0
        toe = half + 2.0 * height
        return [(e, -toe, 0.0), (e, -half, height), (e, half, height), (e, toe, 0.0)]

    def area(height: float) -> float:
        return (4.0 + 4.0 + 4.0 * height) / 2.0 * height

    one, other = section(0.0, 3.0), section(40.0, 5.0)
    faces = []
    for a, b, c, d in zip(one, one[1:], other[1:], other, strict=False):
        faces += [[a, b, c], [a, c, d]]
    base = [(str(i), n, e, 0.0) for i, (e, n, _) in enumerate([*one, *other])]
    found = surface(tmp_path, faces, base, "volume = true\n")
    expected = 40.0 / 6.0 * (area(3.0) + 4.0 * area(4.0) + area(5.0))
    summary = found["checks"][0]["summary"]
    # The side slopes are plane, so the triangles are the prismoid's own faces.
    assert summary["fill_volume"] == pytest.approx(expected, rel=1e-9)
    assert summary["cut_volume"] == pytest.approx(0.0, abs=1e-9)


def test_on_a_sloping_surface_the_correlation_of_the_place_counts(tmp_path: Path) -> None:
    """Against draws on z = 10 + 0.3 e + 0.2 n, compared where each of them comes to lie."""
    sigma, rho, height = (0.03, 0.02), -0.7, 0.004
    corners = [(0.0, 0.0), (40.0, 0.0), (40.0, 40.0), (0.0, 40.0)]
    ring = [(e, n, 10.0 + 0.3 * e + 0.2 * n) for e, n in corners]
    shots = (
        "id,northing,easting,elevation,sigma_n,sigma_e,sigma_z,correlation_ne\n"
        f"A,20,10,17,{sigma[0]},{sigma[1]},{height},{rho}\n"
    )
    folder = write_job(
        tmp_path,
        '[[surface]]\nname = "Pad"\ndesign = { layer = "FG-TIN" }\n'
        'tolerance = { vertical = "30 mm" }\n',
        d_dxf=faces_drawing([ring[:3], [ring[0], *ring[2:]]]),
        m_csv=shots,
    )
    covariance = rho * sigma[0] * sigma[1]
    n, e = (
        np.random.default_rng(20310418)
        .multivariate_normal(
            [0.0, 0.0], [[sigma[0] ** 2, covariance], [covariance, sigma[1] ** 2]], 200_000
        )
        .T
    )
    dz = np.random.default_rng(1).normal(0.0, height, len(n)) - (0.3 * e + 0.2 * n)
    found = by_id(only_check(folder))["A"]["sigma_dz"]
    assert found == pytest.approx(dz.std(), rel=0.01)
    # as if they were independent it would be larger
    assert found < 0.9 * math.sqrt(height**2 + (0.3 * sigma[1]) ** 2 + (0.2 * sigma[0]) ** 2)
