"""Curves, profiles, surfaces, volumes, fits and stakes printed in courses, books and handbooks.

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

from checker.checks.level_runs import corrected
from checker.errors import Where
from checker.geometry.alignment import Alignment
from checker.geometry.curves import (
    CircularCurve,
    SpiraledCurve,
    corner_area,
    deflections,
    sector_area,
    spiraled_curve,
)
from checker.geometry.figure import Course, Figure, run_figure
from checker.geometry.fit import fit_plane, fit_space
from checker.geometry.grade import (
    cut_of_rods,
    pipe_run,
    rod_from_hub,
    slope_stake_offset,
)
from checker.geometry.layout import from_intersections, from_parts, from_vertices
from checker.geometry.layout import line as straight
from checker.geometry.profile import Profile, profile
from checker.geometry.stations import format_station, stationing
from checker.geometry.surface import surface
from checker.geometry.volume import (
    bank_volume,
    end_area_volume,
    level_section_area,
    loose_volume,
    prismoidal_volume,
)
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
        stakes = deflections(curve, bc, given["interval"])
        found |= {
            "bc": bc,
            "first_sub": stakes.arc_m[0],
            "last_sub": stakes.arc_m[-1],
            "ec": bc + curve.length_m,
            "d_first": np.degrees(stakes.deflection_rad[0]),
            "d_std": np.degrees(stakes.deflection_rad[1] - stakes.deflection_rad[0]),
            "d_last": np.degrees(stakes.deflection_rad[-1] - stakes.deflection_rad[-2]),
        }
        # The source adds up angles that it has rounded to the second.
        seconds = np.round(np.degrees(np.diff(stakes.deflection_rad, prepend=0.0)) * 3600.0)
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
        "J": curve.saved_m,
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
            Course(azimuth_rad=float(np.arctan2(leg[0], leg[1])), distance_m=float(np.hypot(*leg)))
            for leg in legs
        ]
    )


def corner_fillet(case: Case) -> Found:
    given = case["inputs"]
    angle = np.radians(degrees(given["central_angle"]))
    return {"area": given["a"] * given["b"] - float(corner_area(given["R"], angle))}


def wedge(case: Case) -> Found:
    """Two arcs joined by two sides that stand square on them: run as a deed."""
    given = case["inputs"]
    theta, far = given["arc1"] / given["R1"], given["arc2"] / given["R2"]
    figure = run_figure(
        [
            Course(azimuth_rad=0.0, distance_m=given["side"]),
            Course(
                turn=1,
                radius_m=given["R2"],
                arc_m=given["arc2"],
                chord_azimuth_rad=np.pi / 2 + far / 2,
            ),
            Course(azimuth_rad=far + np.pi, distance_m=given["side"]),
            Course(
                turn=-1,
                radius_m=given["R1"],
                arc_m=given["arc1"],
                chord_azimuth_rad=far - theta / 2 - np.pi / 2,
            ),
        ]
    )
    sectors = sector_area([given["R2"], given["R1"]], [far, theta])
    assert figure.area_m2 == pytest.approx(float(sectors[0] - sectors[1]), abs=1.0)
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


# ---------------------------------------------------------------- surfaces and volumes


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


def level_sections(case: Case) -> Found:
    given = case["inputs"]
    cuts = np.array(given["cuts"])
    area = level_section_area(given["base"], given["slope"], cuts)
    middle = level_section_area(given["base"], given["slope"], (cuts[1:] + cuts[:-1]) / 2.0)
    # The source cuts areas down to whole square feet before it takes their means.
    printed = np.floor(area)
    found: Found = {f"area.{cut:g}": float(whole) for cut, whole in zip(cuts, printed, strict=True)}
    found["total"] = end_area_volume(printed, given["spacing"])
    found["total_exact"] = end_area_volume(area, given["spacing"])
    found["prismoidal_exact"] = float(
        np.sum(prismoidal_volume(area[:-1], middle, area[1:], given["spacing"]))
    )
    return found


def end_areas(case: Case) -> Found:
    return {
        each["id"]: end_area_volume(each["areas"], each["spacing"])
        for each in case["inputs"]["cases"]
    }


def swell(case: Case) -> Found:
    given = case["inputs"]
    return {
        "trips": loose_volume(given["bank"], given["swell"]) / given["truck"],
        "needed": bank_volume(given["fill"], given["shrink"]),
    }


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
    "volume_end_area_set": end_areas,
    "volume_level_sections": level_sections,
    "volume_swell": swell,
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


def test_checking_grade_from_a_hub() -> None:
    given, expected, tolerance = table("stake-checking-grade")
    rods = rod_from_hub(
        [each["hub_rod"] for each in given["cases"]], [each["stake_cut"] for each in given["cases"]]
    )
    assert rods == pytest.approx(expected["target_rod"], abs=tolerance["abs"])
    remaining = cut_of_rods(rods, [each["ground_rod"] for each in given["cases"]])
    assert remaining == pytest.approx(expected["remaining"], abs=tolerance["abs"])


def test_sewer_inverts_and_cuts() -> None:
    given, expected, tolerance = table("stake-sewer-invert-cuts")
    first, last = given["stations"][0], given["stations"][-1]
    run = pipe_run(given["invert_upstream"], given["grade_pct"] / 100.0, first - last)
    inverts = run.invert_at([first - station for station in given["stations"]])
    assert inverts == pytest.approx(expected["inverts"], abs=tolerance["abs"])
    cuts = np.array(given["hub_tops"]) - inverts
    assert cuts == pytest.approx(expected["cuts"], abs=tolerance["abs"])
    assert [f"C {cut:.2f}" for cut in cuts] == expected["marks"]
    assert format_station(first) == "9+00.00"


def test_gradient_as_a_ratio() -> None:
    # The source rounds the miles first; 5280 ft to the mile.
    given, expected, tolerance = table("stake-gradient-ratio")
    feet = given["map_inches"] * given["scale"] / 12.0
    assert feet / 5280.0 == pytest.approx(expected["miles"], abs=tolerance["miles"])
    rounded = expected["miles"] * 5280.0
    run = pipe_run(given["elev_a"], (given["elev_a"] - given["elev_b"]) / rounded, rounded)
    assert run.grade * 5280.0 == pytest.approx(
        expected["ft_per_mile"], abs=tolerance["ft_per_mile"]
    )
    assert 5280.0 / expected["ft_per_mile"] == pytest.approx(
        expected["ratio"], abs=tolerance["ratio"]
    )
    assert np.degrees(np.arctan(run.grade)) == pytest.approx(
        expected["degrees"], abs=tolerance["degrees"]
    )


def test_slope_table() -> None:
    given, expected, tolerance = table("stake-slope-table-1p5")
    found = slope_stake_offset(0.0, given["slope"], given["heights"])
    assert found == pytest.approx(expected["distances"], abs=tolerance["abs"])


def test_spot_elevations_on_a_slope() -> None:
    given, expected, tolerance = table("stake-spot-elevation-2pct")
    down = pipe_run(expected["elev_A"], given["slope"], given["dist_AC"])
    assert given["elev_E"] + given["slope"] * given["dist_AE"] == pytest.approx(
        expected["elev_A"], abs=tolerance["abs"]
    )
    assert down.fall_m == pytest.approx(expected["dV_AC"], abs=tolerance["abs"])
    assert down.invert_out_m == pytest.approx(expected["elev_C"], abs=tolerance["abs"])


def test_corner_between_contours() -> None:
    given, expected, tolerance = table("interp-linear-corner")
    line = profile([0.0, given["total"]], [given["low"], given["high"]])
    assert line.elevation(given["partial"]) == pytest.approx(expected["elev"], abs=tolerance["abs"])


def test_ten_points_in_space() -> None:
    given, expected, tolerance = table("xform-3d-rigid-10pt")
    move = fit_space(given["source"], given["target"], scaled=True)
    np.testing.assert_allclose(move.rotation, expected["R"], atol=tolerance["R"], rtol=0.0)
    rigid = fit_space(given["source"], given["target"])
    np.testing.assert_allclose(rigid.shift_m, expected["t"], atol=tolerance["t"], rtol=0.0)
    assert move.scale == pytest.approx(expected["scale"], abs=tolerance["scale"])
    # Computed by the case, not printed: an agreement of two computations.
    square = np.sum(rigid.residual_m**2, axis=1)
    assert np.sqrt(square.mean()) == pytest.approx(expected["rmse_3d"], abs=tolerance["rmse_3d"])
    assert np.abs(rigid.residual_m).max() == pytest.approx(
        expected["max_abs_residual"], abs=tolerance["max_abs_residual"]
    )


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
