"""The header's unit codes, against the published list and the geodetic register."""

import tomllib
from pathlib import Path

import pytest
from pyproj.database import get_units_map

from checker.read.dxf_header import HEADER_UNITS
from checker.units import M_PER_FOOT, M_PER_US_SURVEY_FOOT

LIST = Path(__file__).resolve().parents[4] / "shared/published/accuracy/unit-insunits-codes.toml"


def test_every_published_code_has_its_word() -> None:
    # DXF reference, system variable INSUNITS, as quoted by the list's own source.
    if not LIST.is_file():
        pytest.skip("the published list is not beside the repository, in shared/published")
    codes = tomllib.loads(LIST.read_text())["expected"]["codes"]
    spelled = {
        int(code): word.replace("meters", "metres").replace("foot", "feet")
        for code, word in codes.items()
        if code != "0"
    }
    plural = {"us survey inch": "inches", "us survey yard": "yards", "us survey mile": "miles"}
    spelled = {code: "us survey " + plural[w] if w in plural else w for code, w in spelled.items()}
    assert {code: word.casefold() for code, (word, _) in HEADER_UNITS.items()} == spelled


@pytest.mark.parametrize(
    ("code", "name"),
    [
        (2, "foot"),
        (3, "Statute mile"),
        (4, "millimetre"),
        (5, "centimetre"),
        (6, "metre"),
        (7, "kilometre"),
        (1, "inch"),
        (10, "yard"),
        (21, "US survey foot"),
        (22, "US survey inch"),
        (23, "US survey yard"),
        (24, "US survey mile"),
    ],
)
def test_factors_agree_with_the_geodetic_register(code: int, name: str) -> None:
    # EPSG dataset, units of measure, by way of PROJ, which prints fifteen digits: half of the last
    # one is at most 5e-15 of the value.
    register = get_units_map(category="linear")
    assert HEADER_UNITS[code][1] == pytest.approx(register[name].conv_factor, rel=5e-15)


def test_the_feet_are_exact() -> None:
    # NIST and NOAA, 85 FR 62698: 0.3048 m exactly, and 1200/3937 m exactly.
    assert HEADER_UNITS[2][1] == M_PER_FOOT == 0.3048
    assert HEADER_UNITS[21][1] == M_PER_US_SURVEY_FOOT == 1200 / 3937
