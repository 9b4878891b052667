"""Printed readings of a level, through our books: three wires, and a two-peg test."""

import tomllib
from pathlib import Path
from typing import Any

import pytest

from checker.checks.levels import measure_levels
from checker.errors import Where
from checker.model.inputs import Inputs
from checker.model.job import Levels, TwoPeg
from checker.model.measure import Measure
from checker.read.files import Source
from checker.read.level_book import read_level_book
from checker.units import LengthUnit
from tests.support.books import values

FOLDER = Path(__file__).parent / "geometry"


def case(name: str) -> tuple[dict[str, Any], dict[str, dict[str, Any]]]:
    found = tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))
    return found["inputs"], {entry["name"]: entry for entry in found["expected"]}


def run(text: str, unit: LengthUnit) -> Measure:
    book = read_level_book(Source(path="l.csv", data=text.encode()), unit=unit, columns={})
    section = Levels(
        where=Where(file="job.toml", line=1), name="L", file="l.csv", unit=unit, start=0.0
    )
    return measure_levels(section, Inputs(files=(), books={"L": book}))


def test_three_wires_of_one_sight() -> None:
    """threewire-mahun-g2 (VERIFIED): mean, interval times stadia."""
    given, expected = case("threewire-mahun-g2")
    foot = LengthUnit.FOOT
    sight = f"{given['top']},{given['mid']},{given['bottom']}"
    measure = run(
        "point,bs upper,bs middle,bs lower,fs upper,fs middle,fs lower\n"
        f"A,{sight},,,\nB,,,,{sight}\n",
        foot,
    )
    for name, value in (("mean", values(measure, "bs")[0]), ("distance", None)):
        found = values(measure, "bs_distance")[0] if value is None else value
        assert abs(found / foot.metres - expected[name]["value"]) <= expected[name]["tol"]
    assert measure.whole_undecided.startswith("the run ends on B")  # the halves agree


def test_a_two_peg_test_with_unequal_sights() -> None:
    """twopeg-25-50 (VERIFIED arithmetic): its own note gives 4.98 m in 100 m for its flawed data.

    The source takes the difference of elevations for that of readings; the peg that is higher by
    0.630 m should read less by as much.
    """
    given, expected = case("twopeg-25-50")
    assert given["rB"] - given["rA"] == pytest.approx(
        expected["observed_diff"]["value"], abs=expected["observed_diff"]["tol"]
    )
    peg = TwoPeg(
        rise_m=given["rlB"] - given["rlA"],
        end_m=(given["rA"], given["rB"]),
        sights_m=(given["dA"], given["dB"]),
    )
    assert peg.rise_m == pytest.approx(expected["true_diff_source"]["value"], abs=6e-4)
    assert 100.0 * peg.collimation == pytest.approx(4.98, abs=0.005)
    # What the source does: readings as if the staff were read downwards.
    upside = TwoPeg(rise_m=peg.rise_m, end_m=(given["rB"], given["rA"]), sights_m=(25.0, 50.0))
    assert upside.collimation == pytest.approx(
        -expected["err_per_m"]["value"], abs=expected["err_per_m"]["tol"]
    )
