"""Curves, profiles, surfaces, fits and stakes printed in courses, books and handbooks.

Every file in geometry/ is one case with its source, its status and its expected values. Two forms:
`[[expected]]` rows with a tolerance each, from the printed digits; or one `[expected]` table with a
`[tolerance]`. An expected value whose origin is "computed" is not printed in the source: it is
arithmetic, no outside evidence. One marked "misprint" is wrong in the source, and ours must differ.
Where a source rounds on the way, the same is done here from its rounded number, and said.
"""

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from checker.checks.course import Course
from checker.checks.level_runs import corrected
from checker.checks.staking import on_arcs
from checker.errors import Where
from checker.geometry.alignment import Alignment
from checker.geometry.curves import (
    CircularCurve,
    SpiraledCurve,
    spiraled_curve,
)
from checker.geometry.figure import Course as Leg
from checker.geometry.figure import Figure, run_figure
from checker.geometry.fit import fit_plane
from checker.geometry.grade import slope_stake_offset
from checker.geometry.layout import arc, from_intersections, from_parts, from_vertices
from checker.geometry.layout import line as straight
from checker.geometry.profile import Profile, profile
from checker.geometry.stations import stationing
from checker.geometry.surface import surface
from checker.model.books import LevelBook
from checker.model.job import Levels, TwoPeg
from checker.read.files import Source
from checker.read.level_book import read_level_book
from checker.units import LengthUnit

Case = dict[str, Any]
Found = dict[str, Any]

FOLDER = Path(__file__).parent
# Cases that other rooms are checked against as well stand in their folders.
ALSO = [
    FOLDER / "closures" / "area-mahun-curves.toml",
    FOLDER / "closures" / "area-mahun-h2.toml",
    FOLDER / "accuracy" / "setout-pier-piles.toml",
]
CASES: dict[str, Case] = {
    path.stem: tomllib.loads(path.read_text(encoding="utf-8"))
    for path in [*sorted((FOLDER / "geometry").glob("*.toml")), *ALSO]
}


def degrees(text: str) -> float:
    whole, minutes, seconds = (float(part) for part in text.split("-"))
    return whole + minutes / 60.0 + seconds / 3600.0


def east_north(points: list[list[Any]]) -> np.ndarray[Any, Any]:
    """Positions from rows that end in northing, easting."""
    return np.array([[row[-1], row[-2]] for row in points], dtype=np.float64)


# ---------------------------------------------------------------- horizontal


def hcurve(case: Case) -> Found:
    given = case["inputs"]
    curve = CircularCurve(radius_m=given["R"], delta_rad=np.radians(degrees(given["delta"])))
    found: Found = {
        "T": curve.tangent_m,
        "L": curve.length_m,
        "LC": curve.chord_m,
        "M": curve.middle_m,
        "E": curve.external_m,
    }
    if "pi_station" in given:
        # The source rounds the tangent to two decimals before it counts on.
        bc = given["pi_station"] - round(curve.tangent_m, given["source_rounding"]["T"])
        # Stakes at the round stations and at the end, as a job's table of stakes would have them.
        first, end = np.ceil(bc / given["interval"]), bc + curve.length_m
        stakes = np.append(np.arange(first * given["interval"], end, given["interval"]), end) - bc
        course = Course(
            name="",
            alignment=from_parts(
                [arc(curve.radius_m, curve.length_m)], start_xy_m=(0, 0), start_azimuth_rad=0.0
            ),
            profile=None,
            crossfall=None,
            ground=None,
            unit=LengthUnit.METRE,
        )
        deflection, _ = on_arcs(course, stakes)
        step = np.degrees(np.diff(deflection, prepend=0.0))
        found |= {
            "bc": bc,
            "first_sub": stakes[0],
            "last_sub": stakes[-1] - stakes[-2],
            "ec": end,
            "d_first": step[0],
            "d_std": step[1],
            "d_last": step[-1],
        }
        # The source adds up angles that it has rounded to the second.
        seconds = np.round(step * 3600.0)
        found["d_sum"] = float(np.sum(seconds)) / 3600.0
    return found


def tangents(case: Case) -> Found:
    given = case["inputs"]
    names = [row[0] for row in given["pis"]]
    xy = east_north(given["pis"])
    xy[-1, 0] = given["corrected"]["JD5_E"]
    line = from_vertices(xy)
    found: Found = {}
    for index, azimuth in enumerate(line.elements.azimuth_rad):
        leg = f"{names[index]}-{names[index + 1]}"
        length = float(line.elements.length_m[index])
        found[f"dist.{leg}"] = length
        found[f"az.{leg}"] = np.degrees(azimuth)
        begin, end = given["tangent"][names[index]], given["tangent"].get(names[index + 1], [0.0])
        found[f"gap.{leg}"] = length - begin[-1] - end[0]
    for defect in line.defects():
        found[f"defl.{names[defect.element + 1]}"] = abs(np.degrees(defect.amount))
    return found


def spiral(case: Case) -> Found:
    given = case["inputs"]
    xy = east_north([given["prev"], given["pi"], given["next"]])
    legs = np.diff(xy, axis=0)
    turn = np.diff(np.arctan2(legs[:, 0], legs[:, 1]))[0]
    turn = float(np.remainder(turn + np.pi, 2.0 * np.pi) - np.pi)
    assert (turn > 0.0) == (given["turn"] == "right")
    curve: SpiraledCurve = spiraled_curve(abs(turn), given["R"], given["Ls"], given["Ls"])
    road: Alignment = from_intersections(
        xy, given["R"], given["Ls"], given["Ls"], stationing=stationing(0.0)
    )
    # The stations come from the alignment as built, counted from the PI less the tangent.
    begin = given["pi_station"] - curve.tangent_in_m
    straight = float(road.elements.length_m[0])
    ends = begin + road.starts_m[1:5] - straight
    assert road.defects() == ()
    middle = road.point_at(straight + curve.length_m / 2.0)[0]
    assert np.hypot(*(middle - xy[1])) == pytest.approx(curve.external_m, abs=1e-6)
    return {
        "delta": np.degrees(abs(turn)),
        "T": curve.tangent_in_m,
        "L": curve.length_m,
        "Ly": curve.arc_m,
        "E": curve.external_m,
        "J": curve.tangent_in_m + curve.tangent_out_m - curve.length_m,
        "st.TS": ends[0],
        "st.SC": ends[1],
        "st.MID": ends[0] + curve.length_m / 2.0,
        "st.CS": ends[2],
        "st.ST": ends[3],
    }


# ---------------------------------------------------------------- areas and deeds


def area_polygon(case: Case) -> Found:
    xy = east_north(case["inputs"]["points"])
    figure = closed_figure(xy)
    east, north = xy.T
    down = float(np.sum(north * np.roll(east, -1)))
    up = float(np.sum(east * np.roll(north, -1)))
    return {
        "area": figure.area_m2,
        "sum_down": down,
        "sum_up": up,
        "sum_a": min(down, up),
        "sum_b": max(down, up),
    }


def closed_figure(xy: np.ndarray[Any, Any]) -> Figure:
    legs = np.roll(xy, -1, axis=0) - xy
    return run_figure(
        [
            Leg(azimuth_rad=float(np.arctan2(leg[0], leg[1])), distance_m=float(np.hypot(*leg)))
            for leg in legs
        ]
    )


def corner_fillet(case: Case) -> Found:
    """A rectangle with one corner rounded: run as a deed."""
    given = case["inputs"]
    turn = np.radians(degrees(given["central_angle"]))
    a, b, radius = given["a"], given["b"], given["R"]
    figure = run_figure(
        [
            Leg(azimuth_rad=0.0, distance_m=a - radius),
            Leg(turn=1, radius_m=radius, arc_m=radius * turn, chord_azimuth_rad=turn / 2.0),
            Leg(azimuth_rad=turn, distance_m=b - radius),
            Leg(azimuth_rad=np.pi, distance_m=a),
            Leg(azimuth_rad=1.5 * np.pi, distance_m=b),
        ]
    )
    assert figure.misclosure_length_m == pytest.approx(0.0, abs=1e-9)
    return {"area": figure.area_m2}


def wedge(case: Case) -> Found:
    """Two arcs joined by two sides that stand square on them: run as a deed."""
    given = case["inputs"]
    theta, far = given["arc1"] / given["R1"], given["arc2"] / given["R2"]
    figure = run_figure(
        [
            Leg(azimuth_rad=0.0, distance_m=given["side"]),
            Leg(
                turn=1,
                radius_m=given["R2"],
                arc_m=given["arc2"],
                chord_azimuth_rad=np.pi / 2 + far / 2,
            ),
            Leg(azimuth_rad=far + np.pi, distance_m=given["side"]),
            Leg(
                turn=-1,
                radius_m=given["R1"],
                arc_m=given["arc1"],
                chord_azimuth_rad=far - theta / 2 - np.pi / 2,
            ),
        ]
    )
    sectors = (given["R2"] ** 2 * far - given["R1"] ** 2 * theta) / 2.0
    assert figure.area_m2 == pytest.approx(sectors, abs=1.0)
    return {
        "theta_rad": theta,
        "side_check": given["R2"] - given["R1"],
        "closure": figure.misclosure_length_m,
        "area": figure.area_m2,
    }


# ---------------------------------------------------------------- vertical


def vertical(case: Case) -> Found:
    given = case["inputs"]
    g1, g2 = given["g1"] / 100.0, given["g2"] / 100.0
    if "L" in given:
        before = behind = given["L"] / 2.0
        pvi = given["bvc_station"] + before
        elevation = given["bvc_elev"] + g1 * before
    else:
        before, behind = given["L1"], given["L2"]
        pvi, elevation = given["pvi_station"], given["pvi_elev"]
    line: Profile = profile(
        [pvi - before, pvi, pvi + behind],
        [elevation - g1 * before, elevation, elevation + g2 * behind],
        [0.0, before, 0.0],
        [0.0, behind, 0.0],
    )
    (turn,) = line.turns()
    found: Found = {
        "bvc_elev": float(line.elevation(pvi - before)),
        "cvc_elev": float(line.elevation(pvi)),
        "pvi_elev": elevation,
        "pvi_offset": abs(elevation - float(line.elevation(pvi))),
        "extreme_station": turn.station_m,
        "extreme_elev": turn.elevation_m,
        "low_station": turn.station_m,
        "low_elev": turn.elevation_m,
    }
    for row in case["expected"]:
        kind, _, station = row["name"].partition(".")
        if station and kind == "elev":
            found[row["name"]] = float(line.elevation(float(station)))
        if station and kind == "grade":
            found[row["name"]] = 100.0 * float(line.grade_at(float(station)))
    return found


# ---------------------------------------------------------------- surfaces


def plane(case: Case) -> Found:
    given = case["inputs"]
    xyz = np.array(given["points"])
    fitted = fit_plane(xyz[:, :2], xyz[:, 2])
    a, b, c = xyz
    d = np.array(given["fourth"])
    drawn = surface([[a, b, d], [a, d, c]])
    east, north = given["query"]
    at = drawn.look_up([(0.0, north), (10.0, north), (east, north), (d[0], d[1])])
    places = np.array([(0.0, north), (10.0, north), (east, north), (d[0], d[1])])
    np.testing.assert_allclose(at.elevation_m, fitted.at(places), atol=1e-12)
    left, right, z, fourth = at.elevation_m
    return {"left_edge": left, "right_edge": right, "z": z, "fourth": fourth}


# ---------------------------------------------------------------- stakes


def slope_stakes(case: Case) -> Found:
    given = case["inputs"]
    return {
        f"{side}.{row['st']}": float(
            slope_stake_offset(given["base"] / 2.0, given["slope"], row[side])
        )
        for row in given["cuts"]
        for side in ("left", "right")
    }


def wires(case: Case) -> Found:
    given = case["inputs"]
    reading = f"{given['top']},{given['mid']},{given['bottom']}"
    page = f"point,{_wires('bs')},{_wires('fs')}\nA,{reading},,,\nB,,,,{reading}\n"
    source = Source(path="page.csv", data=page.encode())
    book = read_level_book(source, unit=LengthUnit.METRE, columns={})
    assert isinstance(book, LevelBook)
    section = Levels(
        where=Where(file="job.toml"),
        name="",
        file="page.csv",
        unit=LengthUnit.METRE,
        start="A",
        stadia=given["stadia"],
    )
    found, _ = corrected(book, section)
    assert found.sights_m is not None
    mean, sight = float(found.bs_m[0]), float(found.sights_m[0, 0])
    return {
        "mean": mean,
        "sum": 3.0 * mean,
        "interval": sight / given["stadia"],
        "distance": sight,
    }


def _wires(sight: str) -> str:
    return ",".join(f"{sight}_{wire}" for wire in ("upper", "middle", "lower"))


def two_pegs(case: Case) -> Found:
    given = case["inputs"]
    # The source takes B less A of the elevations for that of the readings, which has the other
    # sign: its arithmetic is followed here, as the case's notes say.
    true = given["rlB"] - given["rlA"]
    test = TwoPeg(
        rise_m=-true, end_m=(given["rA"], given["rB"]), sights_m=(given["dA"], given["dB"])
    )
    return {
        "observed_diff": test.end_m[1] - test.end_m[0],
        "true_diff_source": -test.rise_m,
        "err_per_m": test.collimation,
        "err_per_100m": abs(100.0 * test.collimation),
    }


KINDS: dict[str, Callable[[Case], Found]] = {
    "alignment_tangents": tangents,
    "area_corner_fillet": corner_fillet,
    "area_polygon": area_polygon,
    "deed_wedge": wedge,
    "hcurve": hcurve,
    "plane_interpolation": plane,
    "slope_stakes": slope_stakes,
    "spiral_curve": spiral,
    "three_wire": wires,
    "two_peg_known": two_pegs,
    "vcurve": vertical,
    "vcurve_unequal": vertical,
}
ROWS = [
    pytest.param(name, row, id=f"{name}-{row['name']}")
    for name, case in CASES.items()
    if isinstance(case["expected"], list)
    for row in case["expected"]
]


@pytest.mark.parametrize(("name", "row"), ROWS)
def test_printed_value(name: str, row: Case) -> None:
    case = CASES[name]
    found = float(KINDS[case["kind"]](case)[row["name"]])
    if row.get("misprint"):
        assert abs(found - row["value"]) > row["tol"]
        return
    tolerance = row["tol"]
    if row.get("differs"):
        # The case says that the source's last digit is one off: it added up rounded lengths.
        # Ours must be within that one unit, and must not be within half of it.
        assert abs(found - row["value"]) > tolerance
        tolerance = 10.0 ** -len(row["printed"].partition(".")[2])
    assert found == pytest.approx(row["value"], abs=tolerance, rel=0.0)


# ---------------------------------------------------------------- cases with one table of values


def table(name: str) -> tuple[Case, Case, Case]:
    case = CASES[name]
    return case["inputs"], case["expected"], case["tolerance"]


def test_deflection_that_the_source_copied_from_the_line_above() -> None:
    # Its azimuths give 5-32-54 at JD2.
    found = tangents(CASES["align-cn-tangents"])
    assert found["defl.JD2"] == pytest.approx(degrees("5-32-54"), abs=0.5 / 3600.0)


def test_slope_table() -> None:
    given, expected, tolerance = table("stake-slope-table-1p5")
    found = slope_stake_offset(0.0, given["slope"], given["heights"])
    assert found == pytest.approx(expected["distances"], abs=tolerance["abs"])


def test_corner_between_contours() -> None:
    given, expected, tolerance = table("interp-linear-corner")
    line = profile([0.0, given["total"]], [given["low"], given["high"]])
    assert line.elevation(given["partial"]) == pytest.approx(expected["elev"], abs=tolerance["abs"])


def test_piles_of_a_pier() -> None:
    given, expected, tolerance = table("setout-pier-piles")
    azimuth = np.radians(given["azimuth_deg"])
    pier = from_parts(
        [straight(100.0)],
        start_xy_m=(given["e0"] - 50.0 * np.sin(azimuth), given["n0"] - 50.0 * np.cos(azimuth)),
        start_azimuth_rad=azimuth,
    )
    along, offset = np.array(given["chainage_offset_m"]), given["lateral_offset_m"]
    piles = east_north(expected["piles"])
    found = pier.point_at(50.0 + along, offset)
    np.testing.assert_allclose(found, piles, atol=tolerance["abs"], rtol=0.0)
    feet = pier.station_offset(piles)
    np.testing.assert_allclose(feet.distance_m - 50.0, along, atol=tolerance["abs"])
    np.testing.assert_allclose(feet.offset_m, offset, atol=tolerance["abs"])
