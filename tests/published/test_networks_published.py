"""Published nets, written as job folders and run as a user does.

tests/published/test_closures_published.py holds the same cases against the adjustment itself; here
they go through tables, job file and results.json, so that what a reader sees is what was printed.
"""

import math
import tomllib
from pathlib import Path
from typing import Any

import pytest

from checker.run import check, document
from tests.support.netjobs import folder, observations, outcome, stations

CLOSURES = Path(__file__).parent / "closures"


def closure_case(name: str) -> tuple[dict[str, Any], dict[str, dict[str, Any]]]:
    data = tomllib.loads((CLOSURES / f"{name}.toml").read_text(encoding="utf-8"))
    return data["inputs"], {entry["name"]: entry for entry in data["expected"]}


def near(value: float, entry: dict[str, Any]) -> None:
    assert abs(value - float(entry["value"])) <= float(entry["tol"])


def test_a_level_net_with_data_snooping(tmp_path: Path) -> None:
    """stat-snooping-levelnet4 (VERIFIED): heights, residuals, w, redundancies as printed."""
    path = CLOSURES.parent / "accuracy" / "stat-snooping-levelnet4.toml"
    case = tomllib.loads(path.read_text(encoding="utf-8"))
    given, expected, slack = case["inputs"], case["expected"], case["tolerance"]
    lines = "".join(f"{a};{b};{d};{km}\n" for a, b, d, km in given["observations"])
    found = outcome(
        folder(
            tmp_path,
            'file = "lines.csv"\nfixed = ["4"]\nsigma_rise = "0.7 mm * km"\n',
            control="id,northing,easting,elevation\n4,0,0,101.345\n",
            lines="from;to;rise;distance (km)\n" + lines,
        )
    )
    rows, marks = observations(found), stations(found)
    for mark, height, spread in zip("123", expected["adjusted"], expected["sd_mm"], strict=True):
        assert marks[mark]["z"] == pytest.approx(height, abs=slack["adjusted"])
        assert 1000 * marks[mark]["sigma_z"] == pytest.approx(spread, abs=slack["sd_mm"])
    for row, v, w, r in zip(rows, expected["v_mm"], expected["U"], expected["r"], strict=True):
        assert 1000 * row["residual"] == pytest.approx(v, abs=slack["v_mm"])
        assert abs(row["standardized"]) == pytest.approx(w, abs=slack["U"])
        assert row["redundancy"] == pytest.approx(r, abs=slack["r"])
    assert found["summary"]["sigma0"] == pytest.approx(expected["m0"], abs=slack["m0"])
    assert found["summary"]["chi2"] == pytest.approx(expected["vtpv"], abs=slack["vtpv"])
    assert found["summary"]["degrees_of_freedom"] == 3


@pytest.mark.parametrize("weighted", [False, True])
def test_seven_level_lines_in_feet(tmp_path: Path, *, weighted: bool) -> None:
    """ls-level-ghilani12 (MEMORY: recalled, not seen)."""
    given, expected = closure_case("ls-level-ghilani12")
    lines = "".join(f"{o['f']},{o['t']},{o['d']},{o['len']}\n" for o in given["obs"])
    known = "".join(f"{name},0,0,{z}\n" for name, z in given["fixed"].items())
    # weights of 12 / miles: a standard deviation of sqrt(miles / 12) feet
    size = f"{math.sqrt(1 / 12)!r} ft * sqrt(mi)" if weighted else "1 ft"
    found = outcome(
        folder(
            tmp_path,
            f'file = "lines.csv"\nfixed = ["X", "Y"]\nsigma_rise = "{size}"\n',
            unit="foot",
            control="id,northing,easting,elevation\n" + known,
            lines="from,to,rise,distance (mi)\n" + lines,
        )
    )
    which = "weighted" if weighted else "unweighted"
    for mark in "ABC":
        near(stations(found)[mark]["z"], expected[f"{which}.{mark}"])
    near(found["summary"]["sigma0"], expected[f"{which}.S0"])


def test_a_traverse_to_one_station_in_feet(tmp_path: Path) -> None:
    """ls-traverse-ghilani16 (MEMORY), every row with its own standard deviation."""
    given, expected = closure_case("ls-traverse-ghilani16")
    known = "".join(f"{name},{n},{e}\n" for name, (e, n) in given["control"].items())
    rows = ""
    for one in given["obs"]:
        if one["type"] == "dist":
            rows += f"{one['a']},,{one['b']},,{one['value']},,{one['sigma']}\n"
        else:
            angle = f"{one['at']},{one['bs']},{one['fs']},{one['value']},,{one['sigma']},\n"
            rows += angle
    found = outcome(
        folder(
            tmp_path,
            'file = "sights.csv"\n',
            unit="foot",
            control="id,northing,easting\n" + known,
            sights="at,back,to,angle,distance,sigma angle,sigma distance\n" + rows,
        )
    )
    near(found["summary"]["sigma0"], expected["S0"])
    station = stations(found)["U"]
    near(station["n"], expected["N.U"])
    near(station["e"], expected["E.U"])
    near(station["sigma_n"], expected["sN.U"])
    near(station["sigma_e"], expected["sE.U"])
    near(station["orientation"], expected["ellipse_az_a"])
    for row, name in zip(observations(found), ("v.1", "v.2", "v.3", "v.4", "v.5"), strict=True):
        angular = row["residual_arcsec"] is not None
        near(row["residual_arcsec"] if angular else row["residual"], expected[name])
        if angular:
            assert row["residual"] == pytest.approx(row["residual_arcsec"] / 3600, rel=1e-12)


def test_a_trilateration(tmp_path: Path) -> None:
    """ls-trilateration-mikhail91 (SEEN; results computed): no angle, no approximate position."""
    given, expected = closure_case("ls-trilateration-mikhail91")
    known = "".join(f"{name},{n},{e}\n" for name, (e, n) in given["control"].items())
    rows = "".join(f"{o['a']},{o['b']},{o['value']}\n" for o in given["obs"])
    found = outcome(
        folder(
            tmp_path,
            'file = "sights.csv"\nsigma_distance = "1 m"\n',
            control="id,northing,easting\n" + known,
            sights="from,to,distance\n" + rows,
        )
    )
    near(stations(found)["R"]["n"], expected["N.R"])
    near(stations(found)["R"]["e"], expected["E.R"])
    near(found["summary"]["sigma0"], expected["S0"])


def test_a_free_net_of_directions_and_distances_in_gon(tmp_path: Path) -> None:
    """ls-horizontal-siki-free (SEEN; right results computed: the source has a fault of sign)."""
    given, expected = closure_case("ls-horizontal-siki-free")
    rough = "".join(f"{name},{e},{n}\n" for name, (e, n) in given["approx"].items())
    rows = "".join(f"{a},{b},{d},\n" for a, b, d in given["dist"])
    rows += "".join(f"{a},{b},,{d}\n" for a, b, d in given["dirs"])
    found = outcome(
        folder(
            tmp_path,
            'file = "sights.csv"\nangle_format = "gon"\nfixed = []\napproximate = "rough.csv"\n'
            'sigma_distance = "1 mm"\nsigma_direction = "0.0006 gon"\n',
            rough="id,easting,northing\n" + rough,
            sights="station,target,distance,direction\n" + rows,
        )
    )
    near(found["summary"]["degrees_of_freedom"], expected["dof"])
    near(found["summary"]["chi2"], expected["vPv_right"])
    near(found["summary"]["sigma0"], expected["S0_right"])
    # Least shifts: their sums are nothing.
    for axis in "ne":
        assert sum(row[f"correction_{axis}"] for row in stations(found).values()) == pytest.approx(
            0.0, abs=1e-8
        )


def test_vectors_between_two_fixed_points(tmp_path: Path) -> None:
    """gnss-link-hofmann (SEEN; closure computed; one digit of the source is very likely wrong).

    Earth-centred coordinates stand as they are for east, north and up.
    """
    given, expected = closure_case("gnss-link-hofmann")
    fixed = "".join(f"{name},{y},{x},{z}\n" for name, (x, y, z) in given["fixed"].items())
    rows = "".join(
        f"{one['f']},{one['t']},{','.join(map(str, one['d']))}\n" for one in given["vectors"]
    )
    more = (
        '[[vectors]]\nname = "link"\nfile = "v.csv"\nframe = "local"\n'
        'loops = [["SB", "KK", "LK"]]\ntolerance = { misclosure = "5 cm" }\n'
    )
    made = folder(
        tmp_path,
        'use = ["link"]\nfixed = ["SB", "LK"]\nsigma_vector = "1 cm"\n',
        more=more,
        control="id,northing,easting,elevation\n" + fixed,
        v="from,to,dx,dy,dz\n" + rows,
    )
    checks: Any = document(check(made))["checks"]
    link = next(each for each in checks if each["kind"] == "vectors")
    for axis in "xyz":
        near(link["summary"][f"misclosure_{axis}"], expected[f"c{axis}"])
    assert link["verdict"] == "outside"
    # By least squares the two vectors share it, and the blunder shows in the heights.
    network = next(each for each in checks if each["kind"] == "network")
    assert network["summary"]["degrees_of_freedom"] == 3
    assert network["verdict"] == "undecided"
    assert "cannot be told apart" in network["remarks"][0]
